//! What is known of a rig before any heat-up.

use crate::units::Slope;

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

    /// The steepest climb.
    pub fn max_slope(&self) -> Slope {
        self.max_slope
    }
}
