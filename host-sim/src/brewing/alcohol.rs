//! Attenuation and alcohol, from original and final gravity (SG at 20 C).
//!
//! Four published formulas, because none is the truth: in beers of ordinary strength they lie within 3 % of each other. [`balling`] is
//! the brewing chemists' own; the others are what labels and textbooks use.

use super::gravity::{plato, points};

/// Relative density of ethanol 20/20 C: OIML tables.
pub const ETHANOL: f64 = 0.7907;

/// Real extract, Plato: what is left, with alcohol's lightness taken out of account. Balling: `0.1808 OE + 0.8192 AE`.
pub fn real_extract(original_sg: f64, final_sg: f64) -> f64 {
    0.1808 * plato(original_sg) + 0.8192 * plato(final_sg)
}

/// Alcohol by mass, percent. Balling: `(OE - RE) / (2.0665 - 0.010665 OE)`; form discussed by Cutaia, Reid and Speers, J. Inst. Brew. 115
/// (2009) 318.
pub fn balling_by_mass(original_sg: f64, final_sg: f64) -> f64 {
    let original = plato(original_sg);
    (original - real_extract(original_sg, final_sg)) / (2.0665 - 0.010665 * original)
}

/// Alcohol by volume, percent, by Balling: mass percent times the beer's gravity over ethanol's.
pub fn balling(original_sg: f64, final_sg: f64) -> f64 {
    balling_by_mass(original_sg, final_sg) * final_sg / ETHANOL
}

/// Upper ends (points lost) and factors of the excise table.
const EXCISE: [(f64, f64); 11] = [
    (6.9, 0.125),
    (10.4, 0.126),
    (17.2, 0.127),
    (26.1, 0.128),
    (36.0, 0.129),
    (46.5, 0.130),
    (57.1, 0.131),
    (67.9, 0.132),
    (78.8, 0.133),
    (89.7, 0.134),
    (100.7, 0.135),
];

/// Alcohol by volume, percent, as British excise reckons it: points lost times a factor that grows with them, to 100.7 points.
/// HM Revenue and Customs, Excise Notice 226; factors from memory. `None` beyond the table.
pub fn excise(original_sg: f64, final_sg: f64) -> Option<f64> {
    let lost = points(original_sg) - points(final_sg);
    EXCISE.iter().find(|(to, _)| lost <= *to).map(|(_, factor)| lost * factor)
}

/// Alcohol by volume, percent: `131.25 (OG - FG)`, the trade's approximation, from memory.
pub fn linear(original_sg: f64, final_sg: f64) -> f64 {
    131.25 * (original_sg - final_sg)
}

/// Alcohol by volume, percent: `76.08 (OG - FG) / (1.775 - OG) (FG / 0.794)`, usually credited to M. Hall, 1995; from memory.
pub fn hall(original_sg: f64, final_sg: f64) -> f64 {
    76.08 * (original_sg - final_sg) / (1.775 - original_sg) * (final_sg / 0.794)
}

/// Apparent attenuation, percent: `100 (OE - AE) / OE`. ASBC Beer-6.
pub fn apparent_attenuation(original_sg: f64, final_sg: f64) -> f64 {
    let original = plato(original_sg);
    100.0 * (original - plato(final_sg)) / original
}

/// Real degree of fermentation, percent: `100 (OE - RE) / OE / (1 - 0.005161 RE)`. ASBC Beer-6.
pub fn real_fermentation(original_sg: f64, final_sg: f64) -> f64 {
    let (original, real) = (plato(original_sg), real_extract(original_sg, final_sg));
    100.0 * (original - real) / original / (1.0 - 0.005161 * real)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_excise_table_ends_where_it_ends() {
        assert!(excise(1.110, 1.010).is_some());
        assert_eq!(excise(1.112, 1.010), None);
    }
}
