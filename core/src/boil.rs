//! Coming to the boil by itself: full power to the edge, less through the hot break, then done.
//!
//! Terms: the *edge* is a little below the boiling point; the *climb* is how fast the reading rises; the *plateau* is a reading that no
//! longer climbs although the element gives more than the kettle loses; the *hot break* is the first foam, the moment of boil-over.
//!
//! ```text
//!   Approach --(heat for the edge is in)--> Edge --(plateau)--> HotBreak --(its time is over)--> Rolling
//! ```
//!
//! An open kettle near its boiling point loses a large share of a small element's power as vapour, so a fixed reduced share might never
//! boil. What it loses is known at the edge: full power climbs by `k` less the loss. From the edge on the element gives the loss and a
//! little more, enough for a steady climb that ends sharply at the boil. The plateau is judged by the climb alone, so a probe that reads
//! a kelvin or two low, or a day of low air pressure, does not hide the boil.
//!
//! Readings taken while the element has less than a third of full power (somebody else has it, a hold, a stop) say nothing about a
//! plateau and are thrown away.

use crate::units::{Celsius, Duty, Kelvin, Slope, Span};
use crate::wide::{Product, Sum};
use fixed::types::{I8F24, I16F16};

/// The edge lies this far below the boiling point.
pub const EDGE: Kelvin = Kelvin::from_milli(2_500);
/// Least and greatest share of full power between the edge and the plateau.
pub const EDGE_DUTY: (Duty, Duty) = (Duty::from_basis_points(1_000), Duty::FULL);
/// The shares at the edge and in the hot break where the climb is not known: little for most kettles, and raised if it does not climb.
pub const UNKNOWN_DUTY: (Duty, Duty) = (Duty::from_basis_points(4_000), Duty::from_basis_points(3_500));
/// Climb aimed at from the edge on, beyond making good the loss: 0.6 K a minute, or an eighth of what full power gives a small kettle. What
/// turns to vapour before the boil is noticed is this little: the foam has nothing to rise on.
pub const EDGE_CLIMB: Slope = Slope::from_micro(10_000);
/// Through the hot break the share is what makes good the loss and would give this climb: the boil is kept, not driven.
pub const BREAK_CLIMB: Slope = Slope::from_micro(6_500);
/// The loss grows by about this much from the edge to the boil (vapour pressure of water, 3 K).
const LOSS_GROWS: I16F16 = I16F16::lit("1.12");
/// Share that is added where the climb falls short and full power's is not known.
const RAISE_UNKNOWN: I16F16 = I16F16::lit("0.1");
/// Full power's climb without loss, by what is seen of it with loss.
const WITHOUT_LOSS: I16F16 = I16F16::lit("1.1");
/// How long the hot break is watched (common practice, no source).
pub const BREAK_LASTS: Span = Span::from_mins(4);
/// A plateau is looked for only within this distance of the boiling point.
const PLATEAU_BAND: Kelvin = Kelvin::from_milli(4_000);
/// A climb below this, or below a third of the climb aimed at, is a plateau.
const PLATEAU_CLIMB: Slope = Slope::from_micro(2_000);
/// No probe is off by more than this; a plateau further below the boiling point may be a lack of heat ...
const PROBE_OFF: Kelvin = Kelvin::from_milli(1_200);
/// ... and so many raises without a climb prove that it is none.
const MOST_RAISES: u8 = 2;
/// Spacing of the five means a climb is taken from: the last two against the first two.
const EVERY: Span = Span::from_secs(10);
/// Time between the two pairs.
const APART: Span = Span::from_secs(30);

/// Where the approach stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// Full power to the edge.
    Approach,
    /// Reduced power until the plateau.
    Edge {
        /// Share of full power.
        duty: Duty,
        /// Share for the hot break.
        kept: Duty,
        /// The climb aimed at.
        aim: Slope,
        /// How often more heat was given because it did not climb.
        raised: u8,
    },
    /// Boiling: reduced power while the foam rises and falls.
    HotBreak {
        /// Share of full power.
        duty: Duty,
        /// Time left.
        left: Span,
    },
    /// The hot break is over.
    Rolling {
        /// Share of full power that keeps the boil.
        duty: Duty,
    },
}

/// Brings one kettle to the boil.
#[derive(Debug, Clone)]
// In this order: a Cortex-M0+ reaches the first bytes of a structure with less code.
#[repr(C)]
pub struct Boil {
    boiling: Celsius,
    phase: Phase,
    /// Sum of reading x time since the last mean, Q16 C us.
    sum: i64,
    summed: Span,
    /// Full-power time since the last mean.
    heated: Span,
    /// Means of the reading, the latest last.
    means: [Option<Celsius>; 5],
}

impl Boil {
    /// `boiling`: the boiling point at the rig's altitude.
    pub const fn new(boiling: Celsius) -> Boil {
        Boil { boiling, phase: Phase::Approach, means: [None; 5], sum: 0, summed: Span::ZERO, heated: Span::ZERO }
    }

    /// Where it stands.
    pub const fn phase(&self) -> Phase {
        self.phase
    }

    /// The share of full power for the next control tick. `settled`: where the kettle would settle if power went off now; `slope`: what
    /// full power does without loss, if known; `applied`: the share of full power it really had since the last tick.
    #[inline(never)]
    pub fn tick(&mut self, elapsed: Span, reading: Celsius, settled: Celsius, slope: Option<Slope>, applied: Duty) -> Duty {
        self.remember(elapsed, reading, applied);
        self.phase = match self.phase {
            Phase::Approach if self.on_plateau(PLATEAU_CLIMB) => Phase::HotBreak { duty: UNKNOWN_DUTY.1, left: BREAK_LASTS },
            Phase::Approach if settled.max(reading) >= self.boiling.less(EDGE) => self.edge(slope),
            Phase::Edge { duty, kept, aim, raised } => self.climb_on(duty, kept, aim, raised, slope),
            Phase::HotBreak { duty, left } if left <= elapsed => Phase::Rolling { duty },
            Phase::HotBreak { duty, left } => Phase::HotBreak { duty, left: left.less(elapsed) },
            Phase::Approach | Phase::Rolling { .. } => self.phase,
        };
        self.duty()
    }

    fn duty(&self) -> Duty {
        match self.phase {
            Phase::Approach => Duty::FULL,
            Phase::Edge { duty, .. } | Phase::HotBreak { duty, .. } | Phase::Rolling { duty } => duty,
        }
    }

    fn remember(&mut self, elapsed: Span, reading: Celsius, applied: Duty) {
        let dt_us = i64::try_from(elapsed.as_micros()).unwrap_or(i64::MAX);
        self.sum = self.sum.plus(i64::from(reading.fixed().to_bits()).product(dt_us));
        self.summed = self.summed.plus(elapsed);
        self.heated = self.heated.plus(elapsed.share(applied));
        if self.summed >= EVERY {
            // With half the heat or less that was asked for, a reading says nothing about a plateau.
            if self.heated.times(2) < self.summed.share(self.duty()) {
                self.means = [None; 5];
            }
            let over_us = i64::try_from(self.summed.as_micros()).unwrap_or(i64::MAX).max(1);
            let mean = i32::try_from(self.sum / over_us).unwrap_or(i32::MAX);
            (self.sum, self.summed, self.heated) = (0, Span::ZERO, Span::ZERO);
            let [_, a, b, c, d] = self.means;
            self.means = [a, b, c, d, Some(Celsius::from_fixed(I16F16::from_bits(mean)))];
        }
    }

    const fn latest(&self) -> Option<Celsius> {
        let [_, _, _, _, latest] = self.means;
        latest
    }

    /// How fast the reading rises; `None` until enough means are in.
    fn climb(&self) -> Option<Slope> {
        let [Some(a), Some(b), _, Some(c), Some(d)] = self.means else { return None };
        Slope::of(c.above(a).plus(d.above(b)), APART.times(2))
    }

    /// At the edge full power climbs by `k` less the loss: the shares are what makes good the loss, grown to the boil, and climbs as aimed.
    fn edge(&mut self, slope: Option<Slope>) -> Phase {
        let climb = self.climb();
        self.means = [None; 5];
        // Before heat control is sure of what full power does, the climb itself says most of it.
        let slope = slope.or(climb.map(|climb| times(climb, WITHOUT_LOSS)));
        let (Some(slope), Some(climb)) = (slope, climb) else {
            let (duty, kept) = UNKNOWN_DUTY;
            return Phase::Edge { duty, kept, aim: EDGE_CLIMB, raised: 0 };
        };
        let aim = EDGE_CLIMB.max(part(slope, 8));
        let keep = BREAK_CLIMB.max(part(slope, 14));
        let loss = slope.fixed().saturating_sub(climb.fixed()).max(Slope::ZERO.fixed());
        let loss = I16F16::saturating_from_num(share(loss, slope)).saturating_mul(LOSS_GROWS);
        let makes = |climb: Slope| Duty::from_fixed(loss.saturating_add(share(climb.fixed(), slope)));
        let duty = makes(aim).clamp(EDGE_DUTY.0, EDGE_DUTY.1);
        // A weak element climbs by what is left of it.
        let left = times(slope, duty.fixed().saturating_sub(loss)).max(PLATEAU_CLIMB);
        Phase::Edge { duty, kept: makes(keep).min(duty), aim: aim.min(left), raised: 0 }
    }

    /// Between edge and boil: a reading that no longer climbs boils, unless it is so far below the boil that no fair probe explains it. Then
    /// the loss may have been taken too low, and more heat tells.
    fn climb_on(&mut self, duty: Duty, kept: Duty, aim: Slope, raised: u8, slope: Option<Slope>) -> Phase {
        let stay = Phase::Edge { duty, kept, aim, raised };
        let low = self.latest().is_some_and(|last| last < self.boiling.less(PROBE_OFF));
        let plateau = PLATEAU_CLIMB.max(part(aim, 3));
        let Some(climb) = self.climb() else { return stay };
        let weak = climb < Slope::from_micro(aim.micro() / 3 * 2);
        if low && weak && raised < MOST_RAISES {
            self.means = [None; 5];
            let more = slope.map_or(RAISE_UNKNOWN, |slope| share(aim.fixed().saturating_sub(climb.fixed()), slope));
            let raise = |duty: Duty| Duty::from_fixed(duty.fixed().saturating_add(more)).min(EDGE_DUTY.1);
            return Phase::Edge { duty: raise(duty), kept: raise(kept), aim, raised: raised.saturating_add(1) };
        }
        if self.on_plateau(plateau) { Phase::HotBreak { duty: kept, left: BREAK_LASTS } } else { stay }
    }

    fn on_plateau(&self, plateau: Slope) -> bool {
        let near = self.latest().is_some_and(|last| last >= self.boiling.less(PLATEAU_BAND));
        near && self.climb().is_some_and(|climb| climb < plateau)
    }
}

/// One part of `of`, in whole millionths of a kelvin per second.
#[inline(never)]
fn part(slope: Slope, of: i32) -> Slope {
    Slope::from_micro(slope.micro().checked_div(of).unwrap_or(0))
}

/// `slope x share`.
fn times(slope: Slope, share: I16F16) -> Slope {
    let bits = i64::from(slope.fixed().to_bits()).product(i64::from(share.to_bits())) >> 16;
    Slope::from_fixed(I8F24::from_bits(i32::try_from(bits).unwrap_or(i32::MAX)))
}

/// `part / slope` as a share.
fn share(part: I8F24, slope: Slope) -> I16F16 {
    // 2^-24 over 2^-24, scaled to 2^-16.
    let bits = (i64::from(part.to_bits()) << 16).checked_div(i64::from(slope.fixed().to_bits())).unwrap_or(0);
    I16F16::from_bits(i32::try_from(bits).unwrap_or(i32::MAX))
}

#[cfg(test)]
mod tests;
