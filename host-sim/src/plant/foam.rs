//! Foam in the kettle: the hot break.
//!
//! Common practice, no source: the first foam comes when fresh wort first boils; it is fed by vapour, climbs the faster the harder the
//! boil, falls back within a minute when the power is cut, and is spent after some minutes of boiling. Water does not foam. The figures
//! are chosen so that a 5.5 kW element left at full power in a 0.4 m kettle with 0.1 m of headspace boils over in less than a minute, and
//! 60 % does not.

use super::vessel::Pot;

/// Vapour power per surface below which foam does not build, W/m2.
const QUIET_W_PER_M2: f64 = 15e3;
/// Foam height that a fresh wort holds in the long run, per vapour power above the quiet one, m per W/m2.
const HEIGHT_PER_FLUX: f64 = 9e-6;
/// Time in which foam builds and subsides, s.
const FOAM_S: f64 = 45.0;
/// Vapour energy per surface that spends the break matter to 1/e, J/m2: about five minutes at 20 kW/m2.
const SPENT_J_PER_M2: f64 = 6e6;

/// The kettle's foam.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Foam {
    height_m: f64,
    fresh: f64,
    level: f64,
    boiled_over: bool,
}

impl Foam {
    /// Fresh wort came in: its break matter is whole again.
    pub fn freshen(&mut self) {
        self.fresh = 1.0;
    }

    /// Moves on by `dt_s` with `vapour_w` of vapour power from a kettle filled with `litres`.
    pub fn step(&mut self, dt_s: f64, vapour_w: f64, litres: f64, pot: &Pot) {
        let flux = vapour_w / pot.surface_m2;
        let target_m = self.fresh * HEIGHT_PER_FLUX * (flux - QUIET_W_PER_M2).max(0.0);
        let pace = dt_s / FOAM_S;
        self.height_m += (target_m - self.height_m) * (pace / (1.0 + pace));
        self.fresh *= 1.0 - (flux.max(0.0) * dt_s / SPENT_J_PER_M2).min(1.0);
        // What has decayed to nothing is nothing: numbers near the smallest slow the arithmetic down.
        self.height_m = if self.height_m < 1e-9 { 0.0 } else { self.height_m };
        self.fresh = if self.fresh < 1e-9 { 0.0 } else { self.fresh };
        let headspace_m = ((pot.capacity_l - litres) * 1e-3 / pot.surface_m2).max(1e-3);
        self.level = (self.height_m / headspace_m).min(1.0);
        self.boiled_over |= self.height_m >= headspace_m;
    }

    /// Foam's height as a share of the headspace, 0 to 1.
    pub fn level(&self) -> f64 {
        self.level
    }

    /// Whether it has ever reached the rim.
    pub fn boiled_over(&self) -> bool {
        self.boiled_over
    }
}
