//! Coming to the boil by itself: full power to the edge, less through the hot break, then done.
//!
//! Terms: the *edge* is a little below the boiling point; the *plateau* is a reading that no longer climbs although the element heats; the
//! *hot break* is the first foam, the moment of boil-over.
//!
//! ```text
//!   Approach --(reading at the edge)--> Edge --(plateau)--> HotBreak --(its time is over)--> Rolling
//! ```
//!
//! The plateau is judged against what the same power would do to liquid below its boiling point, so a probe that reads a kelvin or
//! two low, or a day of low air pressure, does not keep the boil from being seen.

use crate::units::{Celsius, Duty, Kelvin, Slope, Span};
use heapless::Deque;

/// The edge lies this far below the boiling point.
pub const EDGE: Kelvin = Kelvin::from_milli(3_000);
/// Share of full power from the edge to the plateau: enough to get there, too little to lift the foam (common practice, no source).
pub const EDGE_DUTY: Duty = Duty::from_basis_points(6_000);
/// Share of full power through the hot break.
pub const BREAK_DUTY: Duty = Duty::from_basis_points(4_000);
/// How long the hot break is watched (common practice, no source).
pub const BREAK_LASTS: Span = Span::from_mins(4);
/// A plateau is looked for only within this distance of the boiling point.
const PLATEAU_BAND: Kelvin = Kelvin::from_milli(4_000);
/// Spacing and number of the readings a plateau is judged by: one minute.
const PLATEAU_EVERY: Span = Span::from_secs(10);
const PLATEAU_COUNT: usize = 7;
/// A plateau climbs by less than this share of what the edge's power would do below the boiling point.
const PLATEAU_SHARE: fixed::types::I16F16 = fixed::types::I16F16::lit("0.25");
/// Where the slope is not known, less than this in a minute is a plateau: 100 L on 3 kW climb 0.4 K.
const PLATEAU_RISE: Kelvin = Kelvin::from_milli(200);

/// Where the approach stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// Full power to the edge.
    Approach,
    /// Reduced power until the plateau.
    Edge,
    /// Boiling: reduced power while the foam rises and falls.
    HotBreak {
        /// Time left.
        left: Span,
    },
    /// The hot break is over.
    Rolling,
}

/// Brings one kettle to the boil.
#[derive(Debug, Clone)]
pub struct Boil {
    boiling: Celsius,
    phase: Phase,
    readings: Deque<Celsius, PLATEAU_COUNT>,
    since_reading: Span,
}

impl Boil {
    /// `boiling`: the boiling point at the rig's altitude.
    pub const fn new(boiling: Celsius) -> Boil {
        Boil { boiling, phase: Phase::Approach, readings: Deque::new(), since_reading: Span::ZERO }
    }

    /// Where it stands.
    pub const fn phase(&self) -> Phase {
        self.phase
    }

    /// The share of full power for the next control tick. `settled`: where the kettle would settle if power went off now; `slope`: what
    /// full power does, if known.
    pub fn tick(&mut self, elapsed: Span, reading: Celsius, settled: Celsius, slope: Option<Slope>) -> Duty {
        self.remember(elapsed, reading);
        self.phase = match self.phase {
            Phase::Approach if settled.max(reading) >= self.boiling.less(EDGE) => Phase::Edge,
            Phase::Approach | Phase::Edge if self.on_plateau(slope) => Phase::HotBreak { left: BREAK_LASTS },
            Phase::HotBreak { left } if left <= elapsed => Phase::Rolling,
            Phase::HotBreak { left } => Phase::HotBreak { left: left.less(elapsed) },
            Phase::Approach | Phase::Edge | Phase::Rolling => self.phase,
        };
        match self.phase {
            Phase::Approach => Duty::FULL,
            Phase::Edge => EDGE_DUTY,
            Phase::HotBreak { .. } | Phase::Rolling => BREAK_DUTY,
        }
    }

    fn remember(&mut self, elapsed: Span, reading: Celsius) {
        self.since_reading = self.since_reading.plus(elapsed);
        if self.since_reading >= PLATEAU_EVERY {
            self.since_reading = Span::ZERO;
            if self.readings.is_full() {
                self.readings.pop_front();
            }
            // The ring was full or had room: it has room now.
            let _ = self.readings.push_back(reading);
        }
    }

    fn on_plateau(&self, slope: Option<Slope>) -> bool {
        let (Some(&first), Some(&last)) = (self.readings.front(), self.readings.back()) else { return false };
        if !self.readings.is_full() || last < self.boiling.less(PLATEAU_BAND) {
            return false;
        }
        let minute = PLATEAU_EVERY.times(PLATEAU_COUNT as u64 - 1);
        let expected = slope.map(|slope| slope.over(minute).times(EDGE_DUTY.fixed()).times(PLATEAU_SHARE));
        last.above(first) < expected.unwrap_or(PLATEAU_RISE).clamp(Kelvin::from_milli(60), Kelvin::from_milli(500))
    }
}
