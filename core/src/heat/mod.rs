//! Heat control of one vessel: from a demand and a reading to a duty.

pub mod demand;
pub mod lag;
pub mod learned;
pub mod pid;

use fixed::types::I16F16;

pub use demand::Demand;
pub use learned::Learned;

use crate::units::{Celsius, Duty, Slope, Span};
use lag::LagChain;

/// What is known of a rig before any heat-up, checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HeatConfig {
    max_slope: Slope,
}

/// Why a configuration was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum HeatConfigError {
    /// The steepest climb must be 0.001 to 1 K/s.
    MaxSlope(Slope),
}

impl HeatConfig {
    /// `max_slope`: the steepest climb the element could give the smallest fill, 0.001 to 1 K/s. A generous figure costs
    /// a little caution early in a heat-up; a figure below the truth may cost overshoot.
    pub fn new(max_slope: Slope) -> Result<HeatConfig, HeatConfigError> {
        if !(Slope::from_micro(1_000)..=Slope::from_micro(1_000_000)).contains(&max_slope) {
            return Err(HeatConfigError::MaxSlope(max_slope));
        }
        Ok(HeatConfig { max_slope })
    }
}

/// What the control is doing, for the display and the logbook.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// No heat is asked for.
    Off,
    /// A fixed share is passed through.
    Fixed,
    /// Full power; the settled temperature is still below the target.
    Ramp,
    /// Power is below full and the reading still has to arrive.
    Coast,
    /// At the target.
    Hold,
}

/// Heat control of one vessel.
#[derive(Debug, Clone, Copy)]
pub struct HeatControl {
    config: HeatConfig,
    learned: Option<Learned>,
    phase: Phase,
    settled: Celsius,
    work: i64,
    chain: LagChain,
}

impl HeatControl {
    /// A control at rest. `learned`: what an earlier heat-up taught, used at once and learned anew.
    pub fn new(config: HeatConfig, learned: Option<Learned>) -> HeatControl {
        HeatControl { config, learned, phase: Phase::Off, settled: Celsius::default(), work: 0, chain: LagChain::settled(3, 0) }
    }

    /// One control tick of `dt` (nominal 0.25 s; 0.01 to 1 s). `reading` is the vessel's thermometer; `applied` is the mean share of full
    /// power that really conducted since the last tick. Returns the duty to ask for.
    pub fn tick(&mut self, dt: Span, reading: Celsius, applied: Duty, demand: Demand) -> Duty {
        let dt_us = i64::try_from(dt.as_micros().min(1_000_000)).unwrap_or(0);
        let (slope, lag_us) = match self.learned {
            Some(l) => (l.slope(), i64::try_from(l.lag().as_micros()).unwrap_or(0)),
            None => (self.config.max_slope, 60_000_000),
        };
        // Work in microseconds at full power.
        self.work = self.work.saturating_add((i64::from(applied.bits()).saturating_mul(dt_us)) >> 16);
        let out = self.chain.tick(dt_us, lag_us, self.work);
        let behind = Span::from_micros(u64::try_from(self.work.saturating_sub(out)).unwrap_or(0));
        self.settled = reading.plus(slope.over(behind));
        match demand {
            Demand::Off => {
                self.phase = Phase::Off;
                Duty::ZERO
            }
            Demand::Percent(duty) => {
                self.phase = Phase::Fixed;
                duty
            }
            Demand::Hold(target) => {
                let band = slope.over(Span::from_micros(u64::try_from(lag_us / 4).unwrap_or(0))).fixed().max(I16F16::DELTA);
                let share = target.above(self.settled).fixed().saturating_div(band);
                let duty = Duty::from_fixed(share.saturating_add(self.learned.map_or(I16F16::ZERO, |l| l.hold().fixed())));
                self.phase = if duty == Duty::FULL { Phase::Ramp } else { Phase::Hold };
                duty
            }
        }
    }

    /// What the vessel has taught so far; `None` before the first heat-up worth the name.
    pub fn learned(&self) -> Option<Learned> {
        self.learned
    }

    /// Where the reading would settle if the power went off now.
    pub fn settled(&self) -> Celsius {
        self.settled
    }

    /// What the control is doing.
    pub fn phase(&self) -> Phase {
        self.phase
    }

    /// After a trip or a long rest: forgets the present run, keeps what was learned.
    pub fn reset(&mut self) {
        *self = HeatControl::new(self.config, self.learned);
    }
}
