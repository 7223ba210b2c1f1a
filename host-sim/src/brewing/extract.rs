//! Extract: where it is, what gravity it gives, and how much of it each stage kept.

use super::gravity::{extract_kg_per_l, plato, points, sg_of_extract};

/// Extract in wort, kg, from its volume at 20 C and its gravity: volume times density times Plato.
pub fn extract_kg(litres: f64, sg: f64) -> f64 {
    litres * extract_kg_per_l(sg)
}

/// Gravity of so much extract in so many litres at 20 C, 1.000 to 1.150. Conservation of extract by mass.
pub fn gravity(extract_kg: f64, litres: f64) -> f64 {
    sg_of_extract(extract_kg / litres)
}

/// Gravity after wort of one volume has become another by boiling or diluting; volumes at 20 C. Conservation of extract by mass.
pub fn concentrated(litres: f64, sg: f64, to_litres: f64) -> f64 {
    gravity(extract_kg(litres, sg), to_litres)
}

/// The same by the trade's rule that points times volume stay the same: within 0.0001 in a usual boil.
pub fn concentrated_by_points(litres: f64, sg: f64, to_litres: f64) -> f64 {
    1.0 + points(sg) / 1000.0 * litres / to_litres
}

/// Share of the grain's extract that is in a wort: of 1 when it is the kettle before the boil (mash efficiency, conversion and run-off
/// together) or the fermenter (brewhouse efficiency). By mass.
pub fn efficiency(litres: f64, sg: f64, potential_kg: f64) -> f64 {
    extract_kg(litres, sg) / potential_kg
}

/// Share of the grain's extract that the mash dissolved, from the first wort's gravity before any sparge.
///
/// All water in the mash, the malt's own moisture included, holds the extract evenly: `E = W P / (100 - P)`. Conservation of mass.
pub fn conversion(first_wort_sg: f64, strike_kg: f64, grain_kg: f64, moisture: f64, potential_kg: f64) -> f64 {
    let p = plato(first_wort_sg);
    (strike_kg + grain_kg * moisture) * p / (100.0 - p) / potential_kg
}

/// Efficiency by the trade's points: points times volume over grain times its points per mass, any one set of units. Share of 1.
pub fn efficiency_by_points(volume: f64, sg: f64, grain: f64, points_per_mass: f64) -> f64 {
    volume * points(sg) / (grain * points_per_mass)
}

/// Gravity by the trade's points, any one set of units; `efficiency` is a share of 1.
pub fn gravity_by_points(grain: f64, points_per_mass: f64, efficiency: f64, volume: f64) -> f64 {
    1.0 + grain * points_per_mass * efficiency / volume / 1000.0
}

/// How a day's efficiency came about, shares of 1. `None` where nothing was measured.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Stages {
    /// Dissolved in the mash, of what the grain has.
    pub conversion: Option<f64>,
    /// In the kettle before the boil, of what the grain has.
    pub mash: Option<f64>,
    /// In the kettle after the boil, of what the grain has: as before the boil, if both were measured well.
    pub kettle: Option<f64>,
    /// In the fermenter, of what the grain has.
    pub brewhouse: Option<f64>,
}

impl Stages {
    /// What run-off and sparge brought over, of what the mash dissolved.
    pub fn lauter(&self) -> Option<f64> {
        Some(self.mash? / self.conversion?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn full_conversion_gives_the_first_wort_that_the_mass_balance_asks_for() {
        // 5 kg at 4 % moisture and 80 % dry basis hold 3.84 kg; with 15 kg of water and 0.2 kg of moisture: 3.84 / 19.04 = 20.168 P.
        let first_wort = super::super::gravity::sg(100.0 * 3.84 / 19.04);
        assert!((conversion(first_wort, 15.0, 5.0, 0.04, 3.84) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn lautering_is_the_mash_over_the_conversion() {
        let stages = Stages { conversion: Some(0.96), mash: Some(0.84), ..Stages::default() };
        assert!((stages.lauter().unwrap() - 0.875).abs() < 1e-12);
        assert_eq!(Stages { mash: Some(0.8), ..Stages::default() }.lauter(), None);
    }
}
