//! The published curves in floating point, to compare with. The rows of the tables confirm their coefficients.

use copperhold_core::probe::thermistor::Curve;

// IEC 60751, for comparison: the rows of the table confirm these coefficients.
pub(crate) const CVD_A: f64 = 3.9083e-3;
pub(crate) const CVD_B: f64 = -5.775e-7;
pub(crate) const CVD_C: f64 = -4.183e-12;

pub(crate) fn pt100_ohm(t: f64) -> f64 {
    let cubic = if t < 0.0 { CVD_C * (t - 100.0) * t.powi(3) } else { 0.0 };
    100.0 * (1.0 + CVD_A * t + CVD_B * t * t + cubic)
}

/// The temperature where a falling or rising curve takes a value, by bisection: no formula shared with the code under test.
pub(crate) fn solve(curve: impl Fn(f64) -> f64, value: f64, mut low: f64, mut high: f64) -> f64 {
    let rising = curve(high) > curve(low);
    for _ in 0..80 {
        let middle = (low + high) / 2.0;
        if (curve(middle) < value) == rising {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low + high) / 2.0
}

/// Steinhart-Hart coefficients A, B, C: confirmed by the rows of the table.
pub(crate) const TEN_K3: [f64; 3] = [1.129241e-3, 2.341077e-4, 8.775468e-8];
pub(crate) const BETA_3435: [f64; 3] = [8.7852049e-4, 2.52991837e-4, 1.86227803e-7];

pub(crate) fn coefficients(curve: Curve) -> [f64; 3] {
    match curve {
        Curve::TenK3 => TEN_K3,
        Curve::Beta3435 => BETA_3435,
    }
}

pub(crate) fn steinhart_hart_c([a, b, c]: [f64; 3], ohm: f64) -> f64 {
    let x = ohm.ln();
    1.0 / (a + b * x + c * x.powi(3)) - 273.15
}

pub(crate) fn thermistor_ohm(curve: Curve, t: f64) -> f64 {
    solve(|x| steinhart_hart_c(coefficients(curve), x.exp()), t, 1.0, 20.0).exp()
}

pub(crate) fn centiohm(ohm: f64) -> u32 {
    (ohm * 100.0).round() as u32
}
