//! What is known of a rig before any heat-up.

use crate::units::Slope;

/// A usual filling climbs this many halves as fast as the fullest.
const USUAL_TIMES_TWO: i32 = 3;
/// A brimful volume says nothing of the usual one if the steepest climb is more than this many times its own.
const TELLS: i32 = 20;

/// What is known of a rig before any heat-up, checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HeatConfig {
    max_slope: Slope,
    least_slope: Slope,
    usual_slope: Slope,
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
        Ok(HeatConfig { max_slope, least_slope: Slope::ZERO, usual_slope: max_slope })
    }

    /// The same with `brimful`, the climb of the fullest vessel at the nominal voltage. A lower voltage, wall and sheath take up to a third off
    /// it, which bounds what is believed; a figure that says something of the vessel makes a usual filling the first guess.
    #[must_use]
    pub fn with_brimful(self, brimful: Slope) -> HeatConfig {
        let micro = brimful.micro().max(0);
        let usual = Slope::from_micro(micro.saturating_mul(USUAL_TIMES_TWO) / 2);
        let tells = micro.saturating_mul(TELLS) >= self.max_slope.micro();
        let usual_slope = if tells { usual.min(self.max_slope) } else { self.max_slope };
        HeatConfig { least_slope: Slope::from_micro(micro / 3 * 2).min(self.max_slope), usual_slope, ..self }
    }

    /// The least climb that is believed.
    pub fn least_slope(&self) -> Slope {
        self.least_slope
    }

    /// The climb to begin with before anything is learned.
    pub fn usual_slope(&self) -> Slope {
        self.usual_slope
    }

    /// The steepest climb.
    pub fn max_slope(&self) -> Slope {
        self.max_slope
    }
}
