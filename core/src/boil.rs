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
use fixed::types::I16F16;
use heapless::Deque;

/// The edge lies this far below the boiling point.
pub const EDGE: Kelvin = Kelvin::from_milli(3_000);
/// Least and greatest share of full power between the edge and the plateau (common practice, no source).
pub const EDGE_DUTY: (Duty, Duty) = (Duty::from_basis_points(5_000), Duty::from_basis_points(8_500));
/// The share where the climb is not known.
pub const EDGE_DUTY_UNKNOWN: Duty = Duty::from_basis_points(6_500);
/// Climb aimed at from the edge on, beyond making good the loss: 0.45 K a minute.
pub const EDGE_CLIMB: Slope = Slope::from_micro(7_500);
/// Through the hot break the share is lower than at the edge by what gives this climb: the boil is kept, not driven.
pub const BREAK_CLIMB: Slope = Slope::from_micro(4_000);
/// The loss grows by about this much from the edge to the boil (vapour pressure of water, 3 K).
const LOSS_GROWS: I16F16 = I16F16::lit("1.12");
/// The same, where the climb is not known.
const LOWER_UNKNOWN: I16F16 = I16F16::lit("0.1");
/// How long the hot break is watched (common practice, no source).
pub const BREAK_LASTS: Span = Span::from_mins(4);
/// A plateau is looked for only within this distance of the boiling point.
const PLATEAU_BAND: Kelvin = Kelvin::from_milli(4_000);
/// A climb below this is a plateau: a third of the climb aimed at.
const PLATEAU_CLIMB: Slope = Slope::from_micro(2_500);
/// Spacing and number of the readings a climb is taken from: the mean of the last three against that of the first three.
const EVERY: Span = Span::from_secs(10);
const COUNT: usize = 7;
/// Time between the two means.
const APART: Span = Span::from_secs(40);
/// With less than this share of full power a reading says nothing about a plateau.
const LEAST_HEAT: Duty = Duty::from_basis_points(3_000);

/// Where the approach stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// Full power to the edge.
    Approach,
    /// Reduced power until the plateau.
    Edge {
        /// Share of full power.
        duty: Duty,
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
pub struct Boil {
    boiling: Celsius,
    phase: Phase,
    readings: Deque<Celsius, COUNT>,
    since_reading: Span,
    /// Full-power time since the last reading.
    heated: Span,
}

impl Boil {
    /// `boiling`: the boiling point at the rig's altitude.
    pub const fn new(boiling: Celsius) -> Boil {
        Boil { boiling, phase: Phase::Approach, readings: Deque::new(), since_reading: Span::ZERO, heated: Span::ZERO }
    }

    /// Where it stands.
    pub const fn phase(&self) -> Phase {
        self.phase
    }

    /// The share of full power for the next control tick. `settled`: where the kettle would settle if power went off now; `slope`: what
    /// full power does without loss, if known; `applied`: the share of full power it really had since the last tick.
    pub fn tick(&mut self, elapsed: Span, reading: Celsius, settled: Celsius, slope: Option<Slope>, applied: Duty) -> Duty {
        self.remember(elapsed, reading, applied);
        self.phase = match self.phase {
            Phase::Approach if self.on_plateau() => Phase::HotBreak { duty: EDGE_DUTY.0, left: BREAK_LASTS },
            Phase::Approach if settled.max(reading) >= self.boiling.less(EDGE) => {
                let duty = self.edge_duty(slope);
                self.readings.clear();
                Phase::Edge { duty }
            }
            Phase::Edge { duty } if self.on_plateau() => Phase::HotBreak { duty: lower(duty, slope), left: BREAK_LASTS },
            Phase::HotBreak { duty, left } if left <= elapsed => Phase::Rolling { duty },
            Phase::HotBreak { duty, left } => Phase::HotBreak { duty, left: left.less(elapsed) },
            Phase::Approach | Phase::Edge { .. } | Phase::Rolling { .. } => self.phase,
        };
        match self.phase {
            Phase::Approach => Duty::FULL,
            Phase::Edge { duty } | Phase::HotBreak { duty, .. } | Phase::Rolling { duty } => duty,
        }
    }

    fn remember(&mut self, elapsed: Span, reading: Celsius, applied: Duty) {
        self.since_reading = self.since_reading.plus(elapsed);
        self.heated = self.heated.plus(elapsed.share(applied));
        if self.since_reading >= EVERY {
            if self.heated < EVERY.share(LEAST_HEAT) {
                self.readings.clear();
            }
            self.since_reading = Span::ZERO;
            self.heated = Span::ZERO;
            if self.readings.is_full() {
                self.readings.pop_front();
            }
            // The ring was full or had room: it has room now.
            let _ = self.readings.push_back(reading);
        }
    }

    /// How fast the reading rises; `None` until enough readings are in.
    fn climb(&self) -> Option<Slope> {
        if !self.readings.is_full() {
            return None;
        }
        let sum = |skip: usize| self.readings.iter().skip(skip).take(3).fold(I16F16::ZERO, |sum, c| sum.saturating_add(c.fixed()));
        let thrice = Kelvin::from_fixed(sum(COUNT.saturating_sub(3)).saturating_sub(sum(0)));
        Slope::of(thrice, APART.times(3))
    }

    /// What makes good the loss and climbs as aimed at: `(k - climb at full power) grown to the boil + aim`, over `k`.
    fn edge_duty(&self, slope: Option<Slope>) -> Duty {
        let (Some(slope), Some(climb)) = (slope, self.climb()) else { return EDGE_DUTY_UNKNOWN };
        let loss = slope.fixed().saturating_sub(climb.fixed()).max(Slope::ZERO.fixed());
        let loss_grown = I16F16::saturating_from_num(share(loss, slope)).saturating_mul(LOSS_GROWS);
        let aim = share(EDGE_CLIMB.fixed(), slope);
        Duty::from_fixed(loss_grown.saturating_add(aim)).clamp(EDGE_DUTY.0, EDGE_DUTY.1)
    }

    fn on_plateau(&self) -> bool {
        let near = self.readings.back().is_some_and(|&last| last >= self.boiling.less(PLATEAU_BAND));
        near && self.climb().is_some_and(|climb| climb < PLATEAU_CLIMB)
    }
}

/// `part / slope` as a share.
fn share(part: fixed::types::I8F24, slope: Slope) -> I16F16 {
    // 2^-24 over 2^-24, scaled to 2^-16.
    let bits = (i64::from(part.to_bits()) << 16).checked_div(i64::from(slope.fixed().to_bits())).unwrap_or(0);
    I16F16::from_bits(i32::try_from(bits).unwrap_or(i32::MAX))
}

/// The share for the hot break.
fn lower(duty: Duty, slope: Option<Slope>) -> Duty {
    let by = slope.map_or(LOWER_UNKNOWN, |slope| share(BREAK_CLIMB.fixed(), slope));
    Duty::from_fixed(duty.fixed().saturating_sub(by)).max(Duty::from_basis_points(3_000))
}

#[cfg(test)]
mod tests;
