//! The page's colours can be read and told apart.

use copperhold::report::palette::{Colour, DARK, LIGHT};
use copperhold_core::vessel::Vessel;

type Matrix = [[f64; 3]; 3];

/// What protanopia, deuteranopia and tritanopia make of linear RGB (Machado, Oliveira and Fernandes 2009, severity 1), and full vision.
const VISIONS: [(&str, Matrix); 4] = [
    ("protanopia", [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]),
    ("deuteranopia", [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]),
    ("tritanopia", [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]),
    ("full", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
];

/// sRGB to CIE XYZ, white D65.
const XYZ: Matrix = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]];
const WHITE: [f64; 3] = [0.9505, 1.0, 1.089];

fn linear(colour: Colour) -> [f64; 3] {
    [colour.0, colour.1, colour.2].map(|value| {
        let share = f64::from(value) / 255.0;
        if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
    })
}

fn apply(matrix: &Matrix, vector: [f64; 3]) -> [f64; 3] {
    matrix.map(|row| row.iter().zip(vector).map(|(factor, value)| factor * value).sum())
}

/// CIE L*a*b* of a colour as someone sees it.
fn lab(colour: Colour, vision: &Matrix) -> [f64; 3] {
    let seen = apply(vision, linear(colour)).map(|value| value.clamp(0.0, 1.0));
    let xyz = apply(&XYZ, seen);
    let part = |index: usize| {
        let share: f64 = xyz[index] / WHITE[index];
        if share > 0.008856 { share.cbrt() } else { 7.787 * share + 16.0 / 116.0 }
    };
    [116.0 * part(1) - 16.0, 500.0 * (part(0) - part(1)), 200.0 * (part(1) - part(2))]
}

fn difference(one: Colour, other: Colour, vision: &Matrix) -> f64 {
    let squares = lab(one, vision).into_iter().zip(lab(other, vision)).map(|(a, b)| (a - b) * (a - b));
    squares.sum::<f64>().sqrt()
}

/// Contrast of two colours as WCAG 2 defines it.
fn contrast(one: Colour, other: Colour) -> f64 {
    let luminance = |colour: Colour| apply(&XYZ, linear(colour))[1];
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

#[test]
fn text_has_contrast_in_light_and_dark() {
    assert!((contrast(Colour(0, 0, 0), Colour(255, 255, 255)) - 21.0).abs() < 1e-9);
    for palette in [LIGHT, DARK] {
        for colour in palette.text_colours() {
            for ground in [palette.paper, palette.band] {
                let ratio = contrast(colour, ground);
                assert!(ratio >= 4.5, "{} on {}: {ratio:.2}", colour.hex(), ground.hex());
            }
        }
    }
}

#[test]
fn inverted_text_has_contrast_too() {
    // The bar of a lost link, the button that answers a prompt, and what is chosen of two.
    for palette in [LIGHT, DARK] {
        let ratio = contrast(palette.paper, palette.ink);
        assert!(ratio >= 7.0, "{} on {}: {ratio:.2}", palette.paper.hex(), palette.ink.hex());
    }
}

#[test]
fn the_vessels_stay_apart_for_every_kind_of_colour_vision() {
    let black_and_white = difference(Colour(0, 0, 0), Colour(255, 255, 255), &VISIONS[3].1);
    assert!((black_and_white - 100.0).abs() < 0.1, "{black_and_white}");
    for palette in [LIGHT, DARK] {
        for (name, vision) in &VISIONS {
            for (one, other) in [(0, 1), (0, 2), (1, 2)] {
                let (one, other) = (palette.vessel(Vessel::ALL[one]), palette.vessel(Vessel::ALL[other]));
                let apart = difference(one, other, vision);
                assert!(apart > 30.0, "{name}: {} and {} are {apart:.0} apart", one.hex(), other.hex());
            }
        }
    }
}
