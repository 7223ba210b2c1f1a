//! The rivals' laws: from a reading to a share of full power, once per control tick.

use super::trial::tick_s;
use crate::plant::Figures;

/// Gains of a PI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gains {
    /// Proportional gain: share of full power per kelvin.
    pub per_k: f64,
    /// Integral time, s.
    pub integral_s: f64,
}

/// SIMC for an integrating process with the closed-loop time equal to the lag: `Kc = 1 / (k (tc + L))`, `Ti = 4 (tc + L)`
/// (Skogestad, J. Process Control 13 (2003) 291).
pub fn simc(plant: &Figures) -> Gains {
    Gains { per_k: 0.5 / (plant.climb_k_per_s * plant.lag_s), integral_s: 8.0 * plant.lag_s }
}

/// Ziegler and Nichols' step-response rule for a PI: `Kc = 0.9 / (k L)`, `Ti = L / 0.3` (Trans. ASME 64 (1942) 759).
pub fn ziegler_nichols(plant: &Figures) -> Gains {
    Gains { per_k: 0.9 / (plant.climb_k_per_s * plant.lag_s), integral_s: plant.lag_s / 0.3 }
}

/// A PI that does not integrate while its output is at a limit and the error would push it further.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pi {
    target_c: f64,
    gains: Gains,
    integral: f64,
}

impl Pi {
    /// At rest, the integral at zero.
    pub fn new(target_c: f64, gains: Gains) -> Pi {
        Pi { target_c, gains, integral: 0.0 }
    }

    /// One tick.
    pub fn duty(&mut self, reading_c: f64) -> f64 {
        let error_k = self.target_c - reading_c;
        let share = self.gains.per_k * error_k + self.integral;
        let pushes = (share >= 1.0 && error_k > 0.0) || (share <= 0.0 && error_k < 0.0);
        if !pushes {
            self.integral += self.gains.per_k * error_k * tick_s() / self.gains.integral_s;
        }
        share.clamp(0.0, 1.0)
    }
}

/// The `pid` crate's controller.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CratePid(pid::Pid<f64>);

impl CratePid {
    /// The crate counts its integral gain per call and bounds each term by itself; `integral_limit` is its means against windup.
    pub fn new(target_c: f64, gains: Gains, integral_limit: f64) -> CratePid {
        let mut pid = pid::Pid::new(target_c, 1.0);
        pid.p(gains.per_k, f64::MAX);
        pid.i(gains.per_k * tick_s() / gains.integral_s, integral_limit);
        CratePid(pid)
    }

    /// One tick.
    pub fn duty(&mut self, reading_c: f64) -> f64 {
        self.0.next_control_output(reading_c).output.max(0.0)
    }
}

/// On below the target by half a kelvin, off at the target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thermostat {
    target_c: f64,
    on: bool,
}

impl Thermostat {
    /// Below the target it comes on by itself this far down, K.
    pub const DIFFERENTIAL_K: f64 = 0.5;

    /// Off.
    pub fn new(target_c: f64) -> Thermostat {
        Thermostat { target_c, on: false }
    }

    /// One tick.
    pub fn duty(&mut self, reading_c: f64) -> f64 {
        if reading_c >= self.target_c {
            self.on = false;
        } else if reading_c <= self.target_c - Thermostat::DIFFERENTIAL_K {
            self.on = true;
        }
        f64::from(u8::from(self.on))
    }
}
