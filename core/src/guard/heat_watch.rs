//! Two detectors for one element, by energy: heat that nobody asked for, and heat that does not arrive.
//!
//! Terms: *work* is time at full power, as commanded. The *climb* is what full power does to the vessel, K/s; it is known between bounds
//! that follow from the rig, and better once a heat-up has been learned. *On its way* is heat that was commanded and has not reached the
//! thermometer yet.
//!
//! - **Unasked heat** (a shorted relay, the other vessel's wire): the *ceiling* is the highest temperature that commanded heat explains.
//!   It follows the reading down, and rises only with commanded work. A reading a margin above it was heated by something else. Pumps
//!   can do that too, but never beyond the hottest other vessel.
//! - **No rise** (probe out of the liquid, element open, probe frozen or swapped): a *debt* of rise. Power above half of full, smoothed over
//!   the lag, runs it up; power below half and every rise of the reading pay it off. A hold, however its heat is sliced, never owes; full
//!   power that moves nothing owes the limit after the work for [`EXPECTED_RISE`] of the largest filling. A fall pays too, as cold water
//!   takes the heat, but only out of a *purse* that rises fill: a probe that hangs in the air falls for many minutes.
//!
//! Both judge by what was really fired, not by what anybody wanted, so every kind of demand is watched alike. Evidence is a sum in kelvin: a
//! climb or a lag that is learned in between changes how it grows from there, and takes none of it away. A large cold vessel is given the time
//! it needs and a small one is not given more. Near the boil, where energy no longer raises the temperature, no debt is made. What neither
//! can see: a relay that shorts while full power is asked for anyway, and a dry element, whose sheath is red hot long before a thermometer in
//! the liquid could tell.

use crate::heat::lag::LagChain;
use crate::units::{Celsius, Duty, Kelvin, Slope, Span};
use crate::wide::{Bound, Product, Sum};
use fixed::types::I16F16;

/// A reading this far above its ceiling was heated by something else. Ten times the noise of a poor probe, after the median filter.
pub const UNASKED_MARGIN: Kelvin = Kelvin::from_milli(1_000);
/// Full power is found out once it should have raised the largest filling by this much.
pub const EXPECTED_RISE: Kelvin = Kelvin::from_milli(2_000);
/// The debt that trips: the share of that rise which full power must show at least. A coil that carries the heat into a mash leaves a half.
pub const DEBT: Kelvin = Kelvin::from_milli(600);
/// A vessel may lose this share of what full power gives, in parts per million: a hold that needs less is never judged.
const LOST_PPM: i64 = 500_000;
/// What full power must show, of what is left after that: three fifths.
const SHOWN: (i64, i64) = (3, 5);
/// The climb is believed to be at least this share of what was learned: the filling changes between heat-ups.
const CLIMB_SHARE: I16F16 = I16F16::lit("0.5");
/// No rise is not judged nearer to the boiling point than this: evaporation takes a growing share.
const NEAR_BOIL: Kelvin = Kelvin::from_milli(8_000);
/// A reading that turns back by less than this is noise: eight standard deviations of a poor probe's after the median filter. Less, and
/// noise alone would pay every debt.
const NOISE: Kelvin = Kelvin::from_milli(600);
/// What a purse holds. Full power on a brimful 40 L and 5.5 kW is then forgiven for fifty seconds of cold water.
pub const PURSE: Kelvin = Kelvin::from_milli(500);
/// Faster than this many times the steepest climb, and by more than this in one tick, is a pour; it settles within this time.
const LEAP_FACTOR: I16F16 = I16F16::lit("4");
const LEAP: Kelvin = Kelvin::from_milli(400);
const POUR_SETTLES: Span = Span::from_secs(60);
/// What the smoothed share counts in.
const SECOND: Span = Span::from_secs(1);
/// A tick counts as no longer than this.
const LONGEST_TICK: Span = Span::from_mins(60);
/// Lag where none was learned, and the least that is believed of one that was.
const UNKNOWN_LAG: Span = Span::from_secs(60);
const LEAST_LAG: Span = Span::from_secs(30);

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
    /// Share of full power that was fired since the last tick.
    pub applied: Duty,
    /// Climb and lag that a heat-up taught.
    pub learned: Option<(Slope, Span)>,
    /// The hottest other vessel, if its heat may have come here: a pump runs, or this element has been quiet for long.
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
    /// The steepest climb and the longest lag that were ever learned: one lesson may be wrong, and too short a lag would call heat that was
    /// asked for unasked.
    taught: Option<(Slope, Span)>,
    /// Work in microseconds, and what of it has surely arrived.
    work_us: i64,
    arrived: LagChain<2>,
    ceiling: Option<Celsius>,
    last: Option<Celsius>,
    /// Time without a reading since then.
    away: Span,
    poured: Span,
    /// The reading without its noise: it follows every rise at once, and a fall that is more than noise.
    mark: Option<Celsius>,
    /// Rise that is owed, in 2^-24 K/s for a microsecond.
    debt: i64,
    /// What falls may still pay, in the same unit.
    purse: i64,
    /// Smoothed share of full power, parts per million.
    usual: LagChain<1>,
}

impl HeatWatch {
    /// Nothing seen yet.
    pub const fn new(bounds: Bounds) -> HeatWatch {
        HeatWatch {
            bounds,
            taught: None,
            work_us: 0,
            arrived: LagChain::settled(0),
            ceiling: None,
            last: None,
            away: Span::ZERO,
            poured: Span::ZERO,
            mark: None,
            debt: 0,
            purse: PURSE_FULL,
            usual: LagChain::settled(0),
        }
    }

    /// Forgets the evidence: after a trip, or while nothing has power.
    pub const fn forget(&mut self) {
        self.ceiling = None;
        self.last = None;
        self.mark = None;
        self.debt = 0;
        self.purse = PURSE_FULL;
        self.usual = LagChain::settled(0);
    }

    /// A tick without a reading: nothing to judge, and nothing that was seen is lost.
    pub const fn look_away(&mut self, elapsed: Span) {
        self.away = self.away.plus(elapsed);
    }

    /// Looks at one tick.
    pub fn tick(&mut self, facts: &HeatFacts) -> Option<Finding> {
        let lag = self.longest_lag(facts);
        let way = self.on_its_way(facts, lag);
        if self.is_unasked(facts, way) {
            Some(Finding::UnaskedHeat)
        } else if self.does_not_rise(facts, lag) {
            Some(Finding::NoRise)
        } else {
            None
        }
    }

    /// Takes note of what was learned.
    fn longest_lag(&mut self, facts: &HeatFacts) -> Span {
        if let Some((climb, lag)) = facts.learned {
            let (steepest, longest) = self.taught.unwrap_or((climb, LEAST_LAG));
            self.taught = Some((steepest.max(climb), longest.max(lag)));
        }
        self.taught.map_or(UNKNOWN_LAG, |(_, lag)| lag)
    }

    /// The most that commanded heat may still raise the reading.
    fn on_its_way(&mut self, facts: &HeatFacts, lag: Span) -> Kelvin {
        let work = facts.elapsed.share(facts.applied);
        self.work_us = self.work_us.plus(micros(work));
        let longest = one_and_a_half(lag);
        let arrived_us = self.arrived.tick(micros(facts.elapsed), micros(longest), self.work_us);
        let way_us = u64::try_from(self.work_us.minus(arrived_us)).unwrap_or(0);
        // Half as steep again as was learned: the filling changes between heat-ups.
        let steepest = self.taught.map_or(self.bounds.fastest, |(climb, _)| half_as_steep_again(climb).min(self.bounds.fastest));
        steepest.over(Span::from_micros(way_us))
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
        let since_last = core::mem::take(&mut self.away).plus(facts.elapsed);
        let most = self.bounds.fastest.over(since_last).times(LEAP_FACTOR).plus(LEAP);
        self.poured = if leap > most { POUR_SETTLES } else { self.poured.less(facts.elapsed) };
        self.poured > Span::ZERO
    }

    fn does_not_rise(&mut self, facts: &HeatFacts, lag: Span) -> bool {
        let dt_us = micros(facts.elapsed.min(LONGEST_TICK));
        let usual_ppm = self.usual.tick(dt_us, micros(lag), micros(SECOND.share(facts.applied)));
        let above_half = usual_ppm.minus(LOST_PPM);
        let blind = facts.drained || facts.reading >= self.bounds.boiling.less(NEAR_BOIL);
        let owed = if blind { above_half.at_most(0) } else { above_half };
        let climb = i64::from(self.flattest(facts).fixed().to_bits());
        let owed = climb.product(owed).product(SHOWN.0) / (SHOWN.1 * 1_000_000);
        self.debt = self.debt.plus(owed.product(dt_us)).max(0);
        self.pay(facts.reading);
        self.debt >= finely(DEBT)
    }

    /// Takes off what the reading's movement since the last tick pays, noise apart.
    fn pay(&mut self, reading: Celsius) {
        let mark = *self.mark.get_or_insert(reading);
        let low = mark.less(NOISE);
        if reading > mark {
            let rise = finely(reading.above(mark));
            self.mark = Some(reading);
            self.debt = self.debt.minus(rise).max(0);
            self.purse = self.purse.plus(rise).at_most(PURSE_FULL);
        } else if reading < low {
            let fall = finely(low.above(reading)).at_most(self.purse).at_most(self.debt);
            self.mark = Some(reading.plus(NOISE));
            self.debt = self.debt.minus(fall);
            self.purse = self.purse.minus(fall);
        }
    }

    fn flattest(&self, facts: &HeatFacts) -> Slope {
        facts.learned.map_or(self.bounds.slowest, |(climb, _)| scaled(climb, CLIMB_SHARE).max(self.bounds.slowest))
    }
}

fn scaled(slope: Slope, by: I16F16) -> Slope {
    let bits = (i64::from(slope.fixed().to_bits()).product(i64::from(by.to_bits()))) >> 16;
    Slope::from_fixed(fixed::types::I8F24::from_bits(i32::try_from(bits).unwrap_or(i32::MAX)))
}

/// A full purse.
const PURSE_FULL: i64 = finely(PURSE);

/// A difference in the unit of the debt.
const fn finely(kelvin: Kelvin) -> i64 {
    (kelvin.fixed().to_bits() as i64).saturating_mul(1_000_000 << 8)
}

fn half_as_steep_again(slope: Slope) -> Slope {
    let bits = slope.fixed().to_bits();
    Slope::from_fixed(fixed::types::I8F24::from_bits(bits.saturating_add(bits / 2)))
}

fn one_and_a_half(span: Span) -> Span {
    span.plus(Span::from_micros(span.as_micros() / 2))
}

fn micros(span: Span) -> i64 {
    i64::try_from(span.as_micros()).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests;
