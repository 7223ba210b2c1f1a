//! Gravity of wort, and what its instruments say.
//!
//! SG is the apparent specific gravity 20/20 C, as a hydrometer calibrated at 20 C shows it; Plato is the mass percentage of extract, and
//! equal to Brix for these purposes (the two tables differ by less than 0.002 below 15 P).

use crate::plant::water;

/// Density of water at 20 C, kg/m3: IAPWS-95.
pub const WATER_20C_KG_PER_M3: f64 = 998.2072;
/// Density of air that a hydrometer's or balance's calibration counts with, kg/m3: the customary 1.2.
const AIR_KG_PER_M3: f64 = 1.2;
/// Temperature at which gravities are stated, degrees Celsius.
pub const REFERENCE_C: f64 = 20.0;
/// Lowest and highest SG that the inverse searches.
const SEARCHED_SG: (f64, f64) = (0.98, 1.20);

/// Extract in Plato from SG, 1.000 to 1.120.
///
/// ASBC: `P = 135.997 S^3 - 630.272 S^2 + 1111.14 S - 616.868`, fitted to the ASBC table. Water gives -0.003.
pub fn plato(sg: f64) -> f64 {
    ((135.997 * sg - 630.272) * sg + 1111.14) * sg - 616.868
}

/// SG from Plato, 0 to 30 P: the inverse of [`plato`], by bisection.
pub fn sg(plato: f64) -> f64 {
    invert(self::plato, plato)
}

/// Sugar in Brix from SG, 1.000 to 1.179: NBS Circular 440 (Bates 1942).
///
/// `Bx = 182.46007 S^3 - 775.68212 S^2 + 1262.7794 S - 669.56218`, within 0.0009 Bx (RMS) of the table. Above 25 it is the better one.
pub fn brix(sg: f64) -> f64 {
    ((182.46007 * sg - 775.68212) * sg + 1262.7794) * sg - 669.56218
}

/// SG from Brix, 0 to 40: the inverse of [`brix`].
pub fn sg_of_brix(brix: f64) -> f64 {
    invert(self::brix, brix)
}

/// Bisection of a rising function of SG: 60 halvings leave less than 1e-18.
fn invert(of: impl Fn(f64) -> f64, wanted: f64) -> f64 {
    let (mut low, mut high) = SEARCHED_SG;
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if of(middle) < wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Points of a gravity: `1000 (SG - 1)`.
pub fn points(sg: f64) -> f64 {
    (sg - 1.0) * 1000.0
}

/// True density of wort at 20 C, kg/m3, from SG. An apparent gravity is weighed in air: `SG (rho_w - rho_air) + rho_air`.
pub fn density_20c(sg: f64) -> f64 {
    sg * (WATER_20C_KG_PER_M3 - AIR_KG_PER_M3) + AIR_KG_PER_M3
}

/// Extract in a litre of wort at 20 C, kg: density times Plato.
pub fn extract_kg_per_l(sg: f64) -> f64 {
    density_20c(sg) / 1000.0 * plato(sg) / 100.0
}

/// SG of wort that holds so much extract per litre at 20 C, 0 to 0.33 kg/L: the inverse of [`extract_kg_per_l`].
pub fn sg_of_extract(kg_per_l: f64) -> f64 {
    invert(extract_kg_per_l, kg_per_l)
}

/// SG at 20 C from a hydrometer read at another temperature, 0 to 100 C.
///
/// First order: `SG20 = SG_read rho_w(T_cal) / rho_w(T)`, water's density by Kell 1975; `calibrated_c` is the hydrometer's own temperature
/// (20, or 15.56 C = 60 F). Takes wort to expand as water does; real wort expands a little more: within 0.001 up to 60 C, and no more than
/// a hint above.
pub fn hydrometer(read_sg: f64, at_c: f64, calibrated_c: f64) -> f64 {
    read_sg * water::density(calibrated_c) / water::density(at_c)
}

/// Temperatures of the refractometer table, degrees Celsius.
const REFRACTOMETER_C: [f64; 5] = [10.0, 15.0, 20.0, 25.0, 30.0];
/// Concentrations of the refractometer table, Brix.
const REFRACTOMETER_BX: [f64; 5] = [0.0, 5.0, 10.0, 15.0, 20.0];
/// What to add to a reading, Brix, by temperature and then by concentration.
const REFRACTOMETER_ADD: [[f64; 5]; 5] = [
    [-0.50, -0.54, -0.58, -0.61, -0.64],
    [-0.27, -0.29, -0.31, -0.33, -0.34],
    [0.0, 0.0, 0.0, 0.0, 0.0],
    [0.33, 0.35, 0.36, 0.37, 0.38],
    [0.72, 0.74, 0.77, 0.78, 0.79],
];

/// Brix at 20 C from a refractometer without temperature compensation, 10 to 30 C (held at the ends), 0 to 20 Brix.
///
/// The international temperature correction table of 1936 (in AOAC and ICUMSA methods), from memory, straight lines between its rows
/// (within 0.02 Brix of it). At 0 Brix it agrees with the refractive index of water; a test holds that.
pub fn refractometer(read_brix: f64, at_c: f64) -> f64 {
    let row = |add: &[f64; 5]| interpolate(&REFRACTOMETER_BX, add, read_brix);
    let column = REFRACTOMETER_ADD.map(|add| row(&add));
    read_brix + interpolate(&REFRACTOMETER_C, &column, at_c)
}

/// Straight lines through points with rising `x`, held at the ends.
pub(super) fn interpolate(x: &[f64], y: &[f64], at: f64) -> f64 {
    let mut points = x.iter().zip(y);
    let Some((mut x0, mut y0)) = points.next() else { return 0.0 };
    if at <= *x0 {
        return *y0;
    }
    for (x1, y1) in points {
        if at <= *x1 {
            return y0 + (y1 - y0) * (at - x0) / (x1 - x0);
        }
        (x0, y0) = (x1, y1);
    }
    *y0
}

/// Specific heat of wort, J/(kg K), 0 to 30 P and 0 to 100 C.
///
/// Choi and Okos 1986: carbohydrate `1548.8 + 1.9625 T - 5.9399e-3 T^2`, mixed by mass with water's. 2 to 3.3 % below the sugar trade's form
/// for hot strong wort.
pub fn specific_heat(plato: f64, t_c: f64) -> f64 {
    let share = plato / 100.0;
    let carbohydrate = 1548.8 + t_c * (1.9625 - 5.9399e-3 * t_c);
    share * carbohydrate + (1.0 - share) * water::specific_heat(t_c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_inverses_undo_the_polynomials() {
        for p in 0..=30 {
            assert!((plato(sg(f64::from(p))) - f64::from(p)).abs() < 1e-9);
            assert!((brix(sg_of_brix(f64::from(p))) - f64::from(p)).abs() < 1e-9);
        }
        assert!((sg_of_extract(extract_kg_per_l(1.05)) - 1.05).abs() < 1e-12);
    }

    /// Refractive index of water at 589 nm (IAPWS; handbook values from memory) over sugar's 0.00143 per Brix near zero.
    #[test]
    fn the_refractometer_table_at_zero_brix_is_waters_refractive_index() {
        for (t_c, index) in [(10.0, 1.33369), (15.0, 1.33339), (25.0, 1.33250), (30.0, 1.33194)] {
            let optical = (1.33299 - index) / 0.00143;
            assert!((refractometer(0.0, t_c) - optical).abs() < 0.02, "{t_c} C: {} and {optical}", refractometer(0.0, t_c));
        }
    }

    #[test]
    fn the_refractometer_is_straight_between_rows_and_held_at_the_ends() {
        assert!((refractometer(12.5, 17.5) - (12.5 - 0.16)).abs() < 1e-9);
        assert_eq!(refractometer(12.0, 20.0), 12.0);
        assert_eq!(refractometer(10.0, -5.0), refractometer(10.0, 10.0));
        assert_eq!(refractometer(25.0, 45.0), 25.0 + 0.79);
    }
}
