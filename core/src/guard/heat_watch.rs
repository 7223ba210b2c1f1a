//! Two detectors for one element, by energy: heat that nobody asked for, and heat that does not arrive.
//!
//! Terms: *work* is time at full power, as commanded. The *climb* is what full power does to the vessel, K/s; it is known between bounds
//! that follow from the rig, and better once a heat-up has been learned. *On its way* is heat that was commanded and has not reached the
//! thermometer yet.
//!
//! - **Unasked heat** (a shorted relay, the other vessel's wire): the *ceiling* is the highest temperature that commanded heat explains.
//!   It follows the reading down, and rises only with commanded work. A reading a margin above it was heated by something else. Pumps
//!   can do that too, but never beyond the hottest other vessel.
//! - **No rise** (probe out of the liquid, element open, probe frozen or swapped): after work enough for a clear rise of the largest
//!   filling, the reading has risen by less than a third of it.
//!
//! Both judge by delivered energy, so a large cold vessel is given the time it needs and a small one is not given more. Near the boil, where
//! energy no longer raises the temperature, no rise is not judged. What neither can see: a relay that shorts while full power is asked for
//! anyway, and a dry element, whose sheath is red hot long before a thermometer in the liquid could tell.

use crate::heat::lag::LagChain;
use crate::units::{Celsius, Duty, Kelvin, Slope, Span};
use fixed::types::I16F16;

/// A reading this far above its ceiling was heated by something else. Ten times the noise of a poor probe, after the median filter.
pub const UNASKED_MARGIN: Kelvin = Kelvin::from_milli(1_000);
/// Work is judged once it should have raised the largest filling by this much.
pub const EXPECTED_RISE: Kelvin = Kelvin::from_milli(2_000);
/// Of the expected rise, less than this share is no rise: a coil that carries the heat into a mash leaves about a half.
const RISE_SHARE: I16F16 = I16F16::lit("0.3");
/// The climb is believed to be at least this share of what was learned: the filling changes between heat-ups.
const CLIMB_SHARE: I16F16 = I16F16::lit("0.5");
/// Work counts towards a rise only at this share of full power or more; holding needs less and raises nothing.
const WORKING: Duty = Duty::from_basis_points(5_000);
/// No rise is not judged nearer to the boiling point than this: evaporation takes a growing share.
const NEAR_BOIL: Kelvin = Kelvin::from_milli(8_000);
/// A new low within this of the old one is noise.
const NOISE: Kelvin = Kelvin::from_milli(150);
/// Faster than this many times the steepest climb, and by more than this in one tick, is a pour; it settles within this time.
const LEAP_FACTOR: I16F16 = I16F16::lit("4");
const LEAP: Kelvin = Kelvin::from_milli(400);
const POUR_SETTLES: Span = Span::from_secs(60);
/// What the smoothed share counts in.
const SECOND: Span = Span::from_secs(1);
/// Lag where none was learned.
const UNKNOWN_LAG: Span = Span::from_secs(60);

/// What is known of the vessel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bounds {
    /// Climb of the largest filling at full power.
    pub slowest: Slope,
    /// Climb of the least filling at full power.
    pub fastest: Slope,
    /// Boiling point.
    pub boiling: Celsius,
}

/// The facts of one control tick.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HeatFacts {
    /// Time since the last one.
    pub elapsed: Span,
    /// The vessel's reading.
    pub reading: Celsius,
    /// Share of full power that was commanded since the last tick.
    pub applied: Duty,
    /// Share of full power that heat control wanted: a hold that shares the element is paid in slices of full power and wants little.
    pub wanted: Duty,
    /// Climb and lag that a heat-up taught.
    pub learned: Option<(Slope, Span)>,
    /// The hottest other vessel, if its heat may have come here: a pump runs, or nobody asked anything of this vessel.
    pub may_come_from: Option<Celsius>,
    /// A pump carries its heat on to a colder vessel: no rise is not judged, as the coil may take all that the element gives.
    pub drained: bool,
}

/// What was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Finding {
    /// The vessel is heated by something that was not commanded.
    UnaskedHeat,
    /// The reading does not follow the heat that was commanded.
    NoRise,
}

/// Watches one element.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeatWatch {
    bounds: Bounds,
    /// Work in microseconds, and what of it has surely arrived.
    work_us: i64,
    arrived: LagChain<2>,
    ceiling: Option<Celsius>,
    last: Option<Celsius>,
    poured: Span,
    lowest: Option<Celsius>,
    worked: Span,
    /// It has risen as it should: heat is on its way already, and no time is given for it.
    follows: bool,
    idle: Span,
    /// Smoothed share of full power, in microseconds per second.
    usual: LagChain<1>,
    /// The lag that `worked` was counted with.
    lag: Span,
}

impl HeatWatch {
    /// Nothing seen yet.
    pub const fn new(bounds: Bounds) -> HeatWatch {
        HeatWatch {
            bounds,
            work_us: 0,
            arrived: LagChain::settled(0),
            ceiling: None,
            last: None,
            poured: Span::ZERO,
            lowest: None,
            worked: Span::ZERO,
            follows: false,
            idle: Span::ZERO,
            usual: LagChain::settled(0),
            lag: UNKNOWN_LAG,
        }
    }

    /// Forgets the evidence: after a trip, or while there is no reading.
    pub fn forget(&mut self) {
        self.ceiling = None;
        self.last = None;
        self.lowest = None;
        self.worked = Span::ZERO;
        self.follows = false;
    }

    /// Looks at one tick.
    pub fn tick(&mut self, facts: &HeatFacts) -> Option<Finding> {
        let lag = facts.learned.map_or(UNKNOWN_LAG, |(_, lag)| lag);
        let way = self.on_its_way(facts, lag);
        if self.is_unasked(facts, way) {
            Some(Finding::UnaskedHeat)
        } else if self.does_not_rise(facts, lag) {
            Some(Finding::NoRise)
        } else {
            None
        }
    }

    /// The most that commanded heat may still raise the reading.
    fn on_its_way(&mut self, facts: &HeatFacts, lag: Span) -> Kelvin {
        let work = facts.elapsed.share(facts.applied);
        self.work_us = self.work_us.saturating_add(micros(work));
        let longest = one_and_a_half(lag);
        let arrived_us = self.arrived.tick(micros(facts.elapsed), micros(longest), self.work_us);
        let way_us = u64::try_from(self.work_us.saturating_sub(arrived_us)).unwrap_or(0);
        self.bounds.fastest.over(Span::from_micros(way_us))
    }

    fn is_unasked(&mut self, facts: &HeatFacts, way: Kelvin) -> bool {
        let credit = self.bounds.fastest.over(facts.elapsed.share(facts.applied));
        let explained = facts.reading.plus(way);
        if self.is_poured(facts) {
            self.ceiling = Some(explained);
            return false;
        }
        let ceiling = self.ceiling.map_or(explained, |ceiling| ceiling.plus(credit).min(explained));
        // What another vessel's heat explains stays explained: an empty kettle fills with hot wort, then its own element goes on.
        let fed = facts.may_come_from.map_or(ceiling, |other| facts.reading.min(other));
        let ceiling = ceiling.max(fed);
        self.ceiling = Some(ceiling);
        facts.reading > ceiling.plus(UNASKED_MARGIN)
    }

    /// A reading that leaps faster than any element could drive it was poured: no evidence while that settles.
    fn is_poured(&mut self, facts: &HeatFacts) -> bool {
        let leap = self.last.map_or(Kelvin::ZERO, |last| facts.reading.above(last));
        self.last = Some(facts.reading);
        let most = self.bounds.fastest.over(facts.elapsed).times(LEAP_FACTOR).plus(LEAP);
        self.poured = if leap > most { POUR_SETTLES } else { self.poured.less(facts.elapsed) };
        self.poured > Span::ZERO
    }

    fn does_not_rise(&mut self, facts: &HeatFacts, lag: Span) -> bool {
        // One tick says little: a hold may come as single ticks of full power, or as slices between another vessel's.
        let usual = self.usual.tick(micros(facts.elapsed), micros(lag), micros(SECOND.share(facts.applied)));
        let near_boil = facts.reading >= self.bounds.boiling.less(NEAR_BOIL);
        let working = facts.applied >= WORKING && facts.wanted >= WORKING;
        self.idle = if working { Span::ZERO } else { self.idle.plus(facts.elapsed) };
        // A pause of a lag or two (a changeover, a slice for the other vessel) does not wipe out what was seen.
        let rested = self.idle > lag.plus(lag);
        let fell = self.lowest.is_none_or(|lowest| facts.reading < lowest.less(NOISE));
        // What was counted with another lag cannot be judged with this one.
        let relearned = lag != self.lag;
        self.lag = lag;
        if near_boil || rested || fell || facts.drained || relearned {
            self.lowest = Some(facts.reading);
            self.worked = Span::ZERO;
            self.follows = false;
            return false;
        }
        if working && usual >= micros(SECOND.share(WORKING)) {
            self.worked = self.worked.plus(facts.elapsed.share(facts.applied));
        }
        // Until the usual share passes half, most of a lag has gone by already.
        let judged = if self.follows { self.worked } else { self.worked.less(lag) };
        let expected = self.flattest(facts).over(judged);
        let rise = self.lowest.map_or(Kelvin::ZERO, |lowest| facts.reading.above(lowest));
        if rise >= expected.times(RISE_SHARE) && expected >= EXPECTED_RISE {
            // It follows: begin anew, so that a later fault is judged by its own time.
            self.lowest = Some(facts.reading);
            self.worked = Span::ZERO;
            self.follows = true;
        }
        expected >= EXPECTED_RISE && rise < expected.times(RISE_SHARE)
    }

    fn flattest(&self, facts: &HeatFacts) -> Slope {
        facts.learned.map_or(self.bounds.slowest, |(climb, _)| scaled(climb, CLIMB_SHARE).max(self.bounds.slowest))
    }
}

fn scaled(slope: Slope, by: I16F16) -> Slope {
    let bits = (i64::from(slope.fixed().to_bits()).saturating_mul(i64::from(by.to_bits()))) >> 16;
    Slope::from_fixed(fixed::types::I8F24::from_bits(i32::try_from(bits).unwrap_or(i32::MAX)))
}

fn one_and_a_half(span: Span) -> Span {
    span.plus(Span::from_micros(span.as_micros() / 2))
}

fn micros(span: Span) -> i64 {
    i64::try_from(span.as_micros()).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests;
