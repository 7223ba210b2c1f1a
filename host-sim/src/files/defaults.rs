//! What a rig file need not say: each figure derived from those that were given, by a rule that a person can check.
//!
//! The reference brewery is a 40 L one. Conductances and pumps grow with the two-thirds power of the size, as surfaces do, so that the
//! offset between tank and mash in a steady hold is about the same at any size: 1 to 2.5 K, which a test of the shipped rigs holds.

use crate::rig::ProbeKind;
use std::f64::consts::PI;

/// Mains voltage, V.
pub const MAINS_V: f64 = 240.0;
/// Air temperature, degrees Celsius.
pub const AIR_C: f64 = 20.0;
/// Relative humidity.
pub const HUMIDITY: f64 = 0.5;
/// Tap water, degrees Celsius.
pub const TAP_C: f64 = 12.0;
/// Tap flow, L/min.
pub const TAP_L_PER_MIN: f64 = 12.0;
/// Capacity of a brewery whose file gives neither a capacity nor an element, L.
pub const CAPACITY_L: f64 = 40.0;
/// Outer emissivity of dull stainless steel; tables give 0.2 to 0.35 for it as delivered.
pub const EMISSIVITY: f64 = 0.25;
/// Mixing lag of tank and kettle, s.
pub const MIXING_S: f64 = 18.0;
/// Mixing lag of the mash, which the pump stirs but the grain hinders, s.
pub const MASH_MIXING_S: f64 = 25.0;

/// Share of the bare wall's loss that a default tun's insulation stops.
pub const TUN_INSULATION: f64 = 0.2;
/// Share of the bare wall's loss that a default tank's insulation stops.
pub const TANK_INSULATION: f64 = 0.5;
/// A kettle stands bare by default.
pub const KETTLE_INSULATION: f64 = 0.0;

/// Mains frequency, Hz: 50 where the voltage is one of those used with it (220 to 235 V), else 60.
pub fn mains_hertz(volts: f64) -> u8 {
    if (220.0..=235.0).contains(&volts) { 50 } else { 60 }
}

/// Capacity of a vessel from its element, L: 100 W/L, which takes tap water to strike heat in 45 to 60 minutes.
pub fn capacity_l(element_w: f64) -> f64 {
    element_w / 100.0
}

/// Inner diameter of a vessel as high as it is wide, m.
pub fn diameter_m(capacity_l: f64) -> f64 {
    (4.0 * capacity_l / 1000.0 / PI).cbrt()
}

/// Mass of a 1 mm stainless bottom and wall (8000 kg/m3) of that capacity and diameter, kg.
pub fn wall_kg(capacity_l: f64, diameter_m: f64) -> f64 {
    let bottom_m2 = PI * diameter_m * diameter_m / 4.0;
    let side_m2 = 4.0 * capacity_l / 1000.0 / diameter_m;
    (bottom_m2 + side_m2) * 0.001 * 8000.0
}

/// Volume that covers the element, L: 15 % of the capacity.
pub fn element_top_l(capacity_l: f64) -> f64 {
    0.15 * capacity_l
}

/// Volume left behind by the outlet, L: 3 % of the capacity.
pub fn dead_space_l(capacity_l: f64) -> f64 {
    0.03 * capacity_l
}

/// Conductance from sheath to liquid, W/K: the sheath runs 25 K over the liquid at full power.
pub fn sheath_w_per_k(power_w: f64) -> f64 {
    power_w / 25.0
}

/// Heat capacity of the sheath, J/K: a time constant of 4 s with its conductance.
pub fn sheath_j_per_k(conductance_w_per_k: f64) -> f64 {
    4.0 * conductance_w_per_k
}

/// Lag of a probe in its well (s), transport delay (s) and noise (K) by kind.
pub fn probe_figures(kind: ProbeKind) -> (f64, f64, f64) {
    match kind {
        ProbeKind::Pt100 => (5.0, 1.0, 0.01),
        ProbeKind::Ntc10k => (8.0, 1.0, 0.03),
        ProbeKind::Ds18b20 => (12.0, 1.0, 0.02),
    }
}

/// How surfaces of a brewery of that size compare with those of the 40 L one.
fn surface_scale(size_l: f64) -> f64 {
    (size_l / 40.0).powf(2.0 / 3.0)
}

/// Conductance of the coil, W/K: 500 at 40 L.
pub fn coil_w_per_k(size_l: f64) -> f64 {
    500.0 * surface_scale(size_l)
}

/// Flow of any of the pumps, L/min: 8 at 40 L.
pub fn pump_l_per_min(size_l: f64) -> f64 {
    8.0 * surface_scale(size_l)
}

/// Run-off of the sparge, L/min: 0.6 at 40 L, which drains a full kettle's wort in about an hour.
pub fn run_off_l_per_min(size_l: f64) -> f64 {
    0.6 * size_l / 40.0
}

/// Volume of the recirculation hoses and the coil, L: 1 at 40 L.
pub fn hose_l(size_l: f64) -> f64 {
    size_l / 40.0
}

/// Heat loss of the recirculation hoses, W/K: 9 at 40 L, about 8 m of bare silicone hose with pump heads and unions.
pub fn hose_w_per_k(size_l: f64) -> f64 {
    9.0 * surface_scale(size_l)
}

/// Conductance of the chiller, W/K: 1200 at 40 L.
pub fn chiller_w_per_k(size_l: f64) -> f64 {
    1200.0 * surface_scale(size_l)
}

/// Cooling water of the chiller, L/min: 10 at 40 L.
pub fn chiller_water_l_per_min(size_l: f64) -> f64 {
    10.0 * surface_scale(size_l)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cylinder_of_the_default_diameter_holds_its_capacity() {
        for litres in [20.0, 40.0, 110.0] {
            let d = diameter_m(litres);
            assert!((PI * d * d / 4.0 * d * 1000.0 - litres).abs() < 1e-9);
        }
        // 40 L: d = 0.3707 m, so bottom + side = 5/4 pi d^2 = 0.5396 m2, and 1 mm of steel on it weighs 4.32 kg.
        assert!((wall_kg(40.0, diameter_m(40.0)) - 4.317).abs() < 0.01);
    }

    #[test]
    fn the_sheath_runs_15_to_40_k_over_the_liquid_and_follows_in_seconds() {
        for power in [1500.0, 2800.0, 5500.0, 11_000.0] {
            let conductance = sheath_w_per_k(power);
            assert!((15.0..=40.0).contains(&(power / conductance)));
            assert!((2.0..=10.0).contains(&(sheath_j_per_k(conductance) / conductance)));
        }
    }
}
