//! Water through the day. Volumes are cold (20 C) unless a name says hot.

use crate::plant::network::{GRAIN_DISPLACES_L_PER_KG, GRAIN_HOLDS_L_PER_KG};
use crate::plant::water;

/// Hop matter and break that stay in the kettle with their wort, L per L of wort. Common practice, no source: 2 to 5 %.
pub const TRUB_SHARE: f64 = 0.03;

/// What a litre at 20 C becomes at another temperature, 0 to 100 C: 1.041 at 99 C. Water's density, Kell 1975; wort expands a little more.
pub fn expansion(t_c: f64) -> f64 {
    water::density(20.0) / water::density(t_c)
}

/// What a litre at `t_c` loses on cooling to 20 C, as a share: 0.040 at 99 C, the trade's 4 %.
pub fn shrinkage(t_c: f64) -> f64 {
    1.0 - 1.0 / expansion(t_c)
}

/// The waters and losses of a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Process {
    /// Malt, kg.
    pub grain_kg: f64,
    /// What drained malt keeps, L/kg.
    pub grain_holds_l_per_kg: f64,
    /// Room that malt takes up, L/kg.
    pub grain_displaces_l_per_kg: f64,
    /// Strike water, L.
    pub strike_l: f64,
    /// Sparge water, L.
    pub sparge_l: f64,
    /// What stays under the false bottom and in hoses, L.
    pub tun_dead_l: f64,
    /// What the boil takes, L.
    pub boil_off_l: f64,
    /// What stays in the kettle when it is drained, L.
    pub kettle_dead_l: f64,
    /// Break and hops with the wort they keep, L.
    pub trub_l: f64,
}

impl Process {
    /// No water yet; grain as usual (common practice, no source).
    pub fn empty() -> Process {
        Process {
            grain_kg: 0.0,
            grain_holds_l_per_kg: GRAIN_HOLDS_L_PER_KG,
            grain_displaces_l_per_kg: GRAIN_DISPLACES_L_PER_KG,
            strike_l: 0.0,
            sparge_l: 0.0,
            tun_dead_l: 0.0,
            boil_off_l: 0.0,
            kettle_dead_l: 0.0,
            trub_l: 0.0,
        }
    }

    /// Room the mash takes in the tun, L: water and grain.
    pub fn mash_l(&self) -> f64 {
        self.strike_l + self.grain_kg * self.grain_displaces_l_per_kg
    }

    /// What the grain keeps, L.
    pub fn absorbed_l(&self) -> f64 {
        self.grain_kg * self.grain_holds_l_per_kg
    }

    /// First wort that can be drawn before the sparge, dead space left out of account, L.
    pub fn first_runnings_l(&self) -> f64 {
        (self.strike_l - self.absorbed_l()).max(0.0)
    }

    /// Wort in the kettle before the boil, L.
    pub fn pre_boil_l(&self) -> f64 {
        (self.strike_l + self.sparge_l - self.absorbed_l() - self.tun_dead_l).max(0.0)
    }

    /// Wort in the kettle after the boil, once cold, L.
    pub fn post_boil_l(&self) -> f64 {
        (self.pre_boil_l() - self.boil_off_l).max(0.0)
    }

    /// Wort into the fermenter, L.
    pub fn fermenter_l(&self) -> f64 {
        (self.post_boil_l() - self.kettle_dead_l - self.trub_l).max(0.0)
    }

    /// Sparge water that gives this much wort before the boil, L; 0 if the strike water alone is enough.
    pub fn sparge_for(&self, pre_boil_l: f64) -> f64 {
        (pre_boil_l + self.tun_dead_l - self.first_runnings_l()).max(0.0)
    }
}

/// All the water of a day, L: `(batch + trub) / (1 - shrinkage) + boil-off + retained`. The trade's form, which counts boil-off and what the
/// grain retains hot.
pub fn total_water_l(batch_l: f64, trub_l: f64, shrinkage: f64, boil_off_l: f64, retained_l: f64) -> f64 {
    (batch_l + trub_l) / (1.0 - shrinkage) + boil_off_l + retained_l
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_litre_is_somewhere() {
        let day = Process {
            grain_kg: 6.8,
            strike_l: 20.5,
            sparge_l: 19.0,
            tun_dead_l: 1.5,
            boil_off_l: 3.5,
            kettle_dead_l: 1.8,
            trub_l: 0.8,
            ..Process::empty()
        };
        let kept = day.absorbed_l() + day.tun_dead_l + day.boil_off_l + day.kettle_dead_l + day.trub_l;
        assert!((day.fermenter_l() + kept - 39.5).abs() < 1e-9);
        assert!((day.sparge_for(day.pre_boil_l()) - day.sparge_l).abs() < 1e-9);
    }

    #[test]
    fn wort_at_the_boil_stands_four_percent_higher() {
        // Ratio of IAPWS densities, 998.207 and 959.1 kg/m3 at 99 C.
        assert!((expansion(99.0) - 1.0408).abs() < 2e-4);
        assert!((shrinkage(99.0) - 0.0392).abs() < 2e-4);
        assert_eq!(expansion(20.0), 1.0);
    }
}
