//! Malt: the heat, water, room and extract it holds.

use super::gravity::{extract_kg_per_l, interpolate, points, sg_of_extract};

/// Moisture of malt as bought, mass share. Common practice, no source: 0.03 to 0.05.
pub const MOISTURE: f64 = 0.04;
/// Extract of base malt, share of its dry mass. Palmer, How to Brew, 1st edition, chapter 12: 80 % of sucrose.
pub const EXTRACT_DRY_BASIS: f64 = 0.80;
/// Litres of one point of gravity per US gallon and pound: `8.3454 = 3.785411784 L / 0.45359237 kg`.
pub const POINTS_L_PER_KG_PER_PPG: f64 = 3.785_411_784 / 0.453_592_37;
/// Gravity points that a pound of sucrose gives to a US gallon, as the trade rounds it. Palmer, chapter 12.
pub const SUCROSE_PPG: f64 = 46.0;

const MOISTURES: [f64; 7] = [0.0, 0.01, 0.02, 0.03, 0.04, 0.06, 0.08];
/// Relative to water, so cal/(g C).
const SPECIFIC_HEATS: [f64; 7] = [0.38, 0.38, 0.39, 0.40, 0.40, 0.41, 0.42];
/// At 3 % the table prints 2.3 C and 3.5 F, which is 1.9 C: 2.1 stands between them.
const SLAKING_K: [f64; 7] = [3.0, 2.8, 2.3, 2.1, 1.5, 1.3, 1.0];
/// The thermochemical calorie, J.
const CALORIE_J: f64 = 4.184;

/// Specific heat of malt, J/(kg K), by its moisture (mass share, 0 to 0.08, held at the ends).
///
/// Pauls and Whites Brewing Room Book 1984/85, as reproduced by Murphy and Son; straight lines between its rows.
pub fn specific_heat(moisture: f64) -> f64 {
    interpolate(&MOISTURES, &SPECIFIC_HEATS, moisture) * CALORIE_J * 1000.0
}

/// How much warmer a mash gets because dry malt takes up water, K, by its moisture (mass share, 0 to 0.08, held at the ends).
///
/// Pauls and Whites Brewing Room Book 1984/85, as reproduced by Murphy and Son, for a mash of its usual thickness.
pub fn slaking_rise_k(moisture: f64) -> f64 {
    interpolate(&MOISTURES, &SLAKING_K, moisture)
}

/// Extract in malt, kg: `mass (1 - moisture) extract_dry_basis`. Shares are 0 to 1.
pub fn potential_kg(grain_kg: f64, moisture: f64, extract_dry_basis: f64) -> f64 {
    grain_kg * (1.0 - moisture) * extract_dry_basis
}

/// Gravity points per pound and US gallon of a grain whose extract is this share (0 to 1) of its mass, on sucrose's 46.
pub fn ppg(extract_share: f64) -> f64 {
    extract_share * SUCROSE_PPG
}

/// Gravity points that a kilogram of extract gives to a litre, at the gravity where it ends up: 387 at 1.010 falling to 384 at 1.080.
/// Exact by mass and density; the trade takes 384 to 386 throughout.
pub fn points_l_per_kg(sg: f64) -> f64 {
    points(sg) / extract_kg_per_l(sg)
}

/// Points of gravity when so much extract is made up to so many litres at 20 C.
pub fn points_of(extract_kg: f64, litres: f64) -> f64 {
    points(sg_of_extract(extract_kg / litres))
}
