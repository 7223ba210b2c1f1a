//! What a vessel has taught: the record the firmware stores between brew days.

use crate::units::{Duty, Slope, Span};

/// What a heat-up taught about a vessel, bounded. Plain integers, to be stored and read back as they are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Learned {
    slope_micro_k_per_s: u32,
    lag_ms: u32,
    stages: u8,
    hold_bits: u32,
}

impl Learned {
    /// The steepest climb that is believed, K/s.
    const STEEPEST_MICRO: u32 = 1_000_000;
    /// The flattest climb that is believed, K/s.
    const FLATTEST_MICRO: u32 = 500;
    /// The longest lag that is believed.
    const LONGEST_MS: u32 = 240_000;
    /// The shortest lag that is believed.
    const SHORTEST_MS: u32 = 2_000;

    /// From its parts, each brought within its bounds: climb at full power without loss (0.0005 to 1 K/s), total lag (2 to 240 s), stages
    /// that share the lag (1 to 6), duty that held the last target.
    pub fn new(slope: Slope, lag: Span, stages: u8, hold: Duty) -> Learned {
        let micro = u32::try_from(slope.micro()).unwrap_or(0);
        let lag_ms = u32::try_from(lag.as_millis()).unwrap_or(u32::MAX);
        Learned {
            slope_micro_k_per_s: micro.clamp(Learned::FLATTEST_MICRO, Learned::STEEPEST_MICRO),
            lag_ms: lag_ms.clamp(Learned::SHORTEST_MS, Learned::LONGEST_MS),
            stages: stages.clamp(1, 6),
            hold_bits: hold.bits(),
        }
    }

    /// Climb at full power before any loss.
    pub fn slope(&self) -> Slope {
        Slope::from_micro(i32::try_from(self.slope_micro_k_per_s).unwrap_or(i32::MAX))
    }

    /// Total lag from element to thermometer.
    pub fn lag(&self) -> Span {
        Span::from_millis(u64::from(self.lag_ms))
    }

    /// Stages that share the lag.
    pub fn stages(&self) -> u8 {
        self.stages
    }

    /// Duty that held the last target.
    pub fn hold(&self) -> Duty {
        Duty::from_fixed(fixed::types::I16F16::from_bits(i32::try_from(self.hold_bits).unwrap_or(0)))
    }
}
