//! A recipe as both formats have it: what a brew day needs, and words for the rest.

use crate::files::{Problem, ProblemKind};
use std::ops::Range;

/// A recipe, all-grain.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Recipe {
    /// Its name.
    pub name: String,
    /// Wort into the fermenter, L.
    pub batch_l: f64,
    /// Wort before the boil, L, if given.
    pub pre_boil_l: Option<f64>,
    /// Length of the boil, s.
    pub boil_s: f64,
    /// Malt in the mash, kg.
    pub grain_kg: f64,
    /// Its temperature, degrees Celsius, if given.
    pub grain_c: Option<f64>,
    /// Rests, in order.
    pub rests: Vec<Rest>,
    /// Strike water, L, if given.
    pub strike_l: Option<f64>,
    /// Sparge water's temperature, degrees Celsius, if given.
    pub sparge_c: Option<f64>,
    /// What goes into the boil.
    pub additions: Vec<Addition>,
    /// What the recipe holds that no sheet does, in words.
    pub left_out: Vec<String>,
}

/// A rest of the mash.
#[derive(Debug, Clone, PartialEq)]
pub struct Rest {
    /// Its name; may be empty.
    pub name: String,
    /// Its temperature, degrees Celsius.
    pub at_c: f64,
    /// How long, s.
    pub lasts_s: f64,
}

/// An addition to the boil.
#[derive(Debug, Clone, PartialEq)]
pub struct Addition {
    /// What.
    pub name: String,
    /// How much, as text.
    pub amount: String,
    /// Time left on the boil timer, s.
    pub left_s: f64,
}

/// Where something stands: bytes of the text, or a path of keys where the reader knows no bytes.
#[derive(Debug, Clone, PartialEq)]
pub enum Place {
    /// Bytes.
    Bytes(Range<usize>),
    /// `beerjson.recipes[0].boil.boil_time`.
    Path(String),
}

/// Collects what is wrong.
#[derive(Debug, Default)]
pub struct Problems(pub Vec<Problem>);

impl Problems {
    /// Adds one.
    pub fn add(&mut self, kind: ProblemKind, place: &Place, message: &str, expected: &str, remedy: &str) {
        self.0.push(match place {
            Place::Bytes(span) => Problem::at(kind, span.clone(), message, expected, remedy),
            Place::Path(path) => Problem::whole(kind, format!("at {path}: {message}; expected {expected}"), remedy),
        });
    }

    /// Adds a rest, and a problem if it is colder than the one before. `written`: its temperature for the message, degrees Celsius.
    pub fn rest(&mut self, rests: &mut Vec<Rest>, place: &Place, written: &str, rest: Rest) {
        if rests.last().is_some_and(|before| rest.at_c < before.at_c) {
            let message = format!("a mash step at {written} C after a warmer one");
            let remedy = "a coil warms a mash and cannot cool it: reorder the steps";
            self.add(ProblemKind::StepOrder, place, &message, "steps that rise", remedy);
        }
        rests.push(rest);
    }

    /// The value, if it lies within the range (ends included). `unit` is for the message.
    pub fn within(&mut self, place: &Place, what: &str, value: f64, (least, most): (f64, f64), unit: &str) -> Option<f64> {
        if value.is_finite() && (least..=most).contains(&value) {
            return Some(value);
        }
        let (message, expected) = (format!("{what} of {value} {unit} is out of range"), format!("{least} to {most} {unit}"));
        self.add(
            ProblemKind::OutOfRange,
            place,
            &message,
            &expected,
            "correct the recipe where it was written, and export it again",
        );
        None
    }
}

/// Volumes of a batch or of a boil, L.
pub const LITRES: (f64, f64) = (1.0, 1000.0);
/// Masses of one ingredient, kg.
pub const KILOGRAMS: (f64, f64) = (0.0, 500.0);
/// Temperatures of a mash, degrees Celsius.
pub const MASH_C: (f64, f64) = (20.0, 100.0);
/// Times of a rest or a boil, min.
pub const MINUTES: (f64, f64) = (0.0, 360.0);

/// A mass in words: `24 g`, `1.2 kg`.
pub fn mass_text(kg: f64) -> String {
    let tidy = |value: f64| (value * 100.0).round() / 100.0;
    if kg < 1.0 { format!("{} g", tidy(kg * 1000.0)) } else { format!("{} kg", tidy(kg)) }
}
