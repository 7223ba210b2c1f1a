//! Reads a sheet file. Whether a rig can brew it is another question: see [`SheetFile::compile`].

use super::diagnose::{Diagnostic, Problem, ProblemKind};
use super::quantity::Dimension;
use super::rig_file::units;
use super::sheet_keys as keys;
use super::walk::{Reader, Section};
use crate::day::Units;
use copperhold_core::boil_power::BoilPower;
use copperhold_core::sheet::{MAX_ADDITIONS, Step};
use copperhold_core::units::{Celsius, Duty, Litres, Span, Watts};
use std::ops::Range;
use toml::de::DeValue;

/// Grain lies in the house: its temperature if the sheet does not say, degrees Celsius.
const GRAIN_C: f64 = 20.0;

/// A sheet as its file gives it.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetFile {
    /// What the brewer calls it.
    pub name: String,
    /// Anything worth keeping; may be empty.
    pub notes: String,
    /// Dry grain, kg; 0 if the sheet has no mash.
    pub grain_kg: f64,
    /// Temperature of the dry grain, degrees Celsius.
    pub grain_c: f64,
    /// The steps, in order. At least one.
    pub steps: Vec<NamedStep>,
    /// Units the brewer prefers.
    pub units: Units,
    pub(super) path: String,
    pub(super) source: String,
}

/// A step with the words and the place that the core does not keep.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedStep {
    /// Its name: as given, or what it does.
    pub name: String,
    /// What it does. A boil asked in watts or boil-off has no duty until [`SheetFile::compile`] knows the element.
    pub step: Step,
    /// How hard a boil is asked for.
    pub boil: Option<BoilPower>,
    /// Timed additions of a boil, longest time left first, as in the step.
    pub additions: Vec<AdditionText>,
    /// Time the sheet gives it, s; `None` where it sets none (a heat-up, a transfer).
    pub planned_s: Option<f64>,
    /// Its line in the file, from 1.
    pub line: usize,
    pub(super) span: Range<usize>,
    /// Where the values stand, by key.
    pub(super) places: Vec<(&'static str, Range<usize>)>,
}

impl NamedStep {
    /// A problem with the value of one of the step's keys, or with the step as a whole if it does not have the key.
    pub(super) fn problem(&self, kind: ProblemKind, key: &str, message: String, expected: String, remedy: String) -> Problem {
        let place = self.places.iter().find(|(name, _)| *name == key).map_or(&self.span, |(_, place)| place);
        Problem::at(kind, place.clone(), message, expected, remedy)
    }
}

/// What to add to a boil.
#[derive(Debug, Clone, PartialEq)]
pub struct AdditionText {
    /// What it is.
    pub name: String,
    /// How much, in the brewer's words; may be empty.
    pub amount: String,
    /// Time left on the boil timer, s.
    pub left_s: f64,
}

/// Reads a sheet from text. `path` is for messages only.
///
/// # Errors
/// Everything that is wrong with it on its own, in one go.
pub fn parse_sheet(path: &str, source: &str) -> Result<SheetFile, Diagnostic> {
    let mut reader = Reader::new(path, source);
    let document = reader.document()?;
    let root = reader.root(&document, "a sheet", keys::SHEET);
    let name = reader.text(&root, &keys::NAME).unwrap_or_else(|| "unnamed sheet".to_owned());
    let notes = reader.text(&root, &keys::NOTES).unwrap_or_default();
    let grain = reader.quantity(&root, &keys::GRAIN);
    let grain_c = reader.quantity(&root, &keys::GRAIN_AT).unwrap_or(GRAIN_C);
    let entries = reader.tables(&root, &keys::STEP, "a step");
    if entries.is_empty() && reader.clean() {
        let what = "add a first step:\n[[step]]\ndo = \"heat strike\"\nfill = \"38 L\"\nto = \"72 C\"";
        reader.fault(ProblemKind::MissingKey, 0..0, "the sheet has no steps", "at least one [[step]]", what);
    }
    let steps: Vec<NamedStep> = entries.iter().filter_map(|entry| step(&mut reader, entry)).collect();
    if grain.is_none() && root.value(&keys::GRAIN).is_none() && steps.iter().any(|s| matches!(s.step, Step::DoughIn { .. })) {
        reader.missing(&root, &keys::GRAIN);
    }
    let units = units(&mut reader, &root);
    reader.finish()?;
    Ok(SheetFile {
        name,
        notes,
        grain_kg: grain.unwrap_or(0.0),
        grain_c,
        steps,
        units,
        path: path.to_owned(),
        source: source.to_owned(),
    })
}

fn step(reader: &mut Reader<'_>, entry: &Section<'_>) -> Option<NamedStep> {
    if entry.value(&keys::DO).is_none() {
        reader.missing(entry, &keys::DO);
        return None;
    }
    let word = reader.word(entry, &keys::DO)?;
    let mut entry = entry.clone();
    entry.name = format!("a {word:?} step");
    let entry = &entry;
    reader.check_keys(entry, keys::of_step(word));
    let name = reader.text(entry, &keys::STEP_NAME).unwrap_or_else(|| capital(word));
    let mut additions = Vec::new();
    let mut boil = None;
    let step = match word {
        "heat strike" => {
            let (fill, to) = (reader.needed(entry, &keys::FILL), reader.needed(entry, &keys::TO));
            Step::HeatStrike { fill: litres(fill?), to: celsius(to?) }
        }
        "dough in" => {
            let (strike, refill) = (reader.needed(entry, &keys::STRIKE), reader.quantity(entry, &keys::REFILL));
            Step::DoughIn { strike: litres(strike?), refill: litres(refill.unwrap_or(0.0)) }
        }
        "rest" | "mash out" => {
            let (at, lasts) = (reader.needed(entry, &keys::AT), reader.needed(entry, &keys::REST_FOR));
            let (at, lasts) = (celsius(at?), span(lasts?));
            if word == "rest" { Step::Rest { at, lasts } } else { Step::MashOut { at, lasts } }
        }
        "sparge" => {
            let (water, at) = (reader.needed(entry, &keys::WATER), reader.needed(entry, &keys::AT));
            let hold = reader.yes_no(entry, &keys::HOLD).unwrap_or(false);
            Step::Sparge { water: litres(water?), at: celsius(at?), hold }
        }
        "bring to boil" => Step::BringToBoil,
        "boil" => {
            let (at, lasts) = (boil_at(reader, entry), reader.needed(entry, &keys::BOIL_FOR));
            additions = self::additions(reader, entry, lasts);
            boil = Some(at?);
            let duty = if let Some(BoilPower::Share(duty)) = boil { duty } else { Duty::ZERO };
            let left = additions.iter().take(MAX_ADDITIONS).map(|a| span(a.left_s)).collect();
            Step::Boil { duty, lasts: span(lasts?), additions: left }
        }
        "knock out" => Step::KnockOut,
        "whirlpool" => Step::Whirlpool { lasts: span(reader.needed(entry, &keys::WHIRLPOOL_FOR)?) },
        _ => Step::Chill { to: celsius(reader.needed(entry, &keys::TO)?) },
    };
    let planned_s = match &step {
        Step::Rest { lasts, .. } | Step::MashOut { lasts, .. } | Step::Boil { lasts, .. } | Step::Whirlpool { lasts } => {
            Some(lasts.as_millis() as f64 / 1000.0)
        }
        Step::HeatStrike { .. }
        | Step::DoughIn { .. }
        | Step::Sparge { .. }
        | Step::BringToBoil
        | Step::KnockOut
        | Step::Chill { .. } => None,
    };
    let line = reader.line(&entry.span);
    let places = entry.places(keys::of_step(word));
    Some(NamedStep { name, step, boil, additions, planned_s, line, span: entry.span.clone(), places })
}

/// A boil's `at`: a percentage, watts, or boil-off per time.
fn boil_at(reader: &mut Reader<'_>, entry: &Section<'_>) -> Option<BoilPower> {
    let Some(value) = entry.value(&keys::BOIL_SHARE) else {
        reader.missing(entry, &keys::BOIL_SHARE);
        return None;
    };
    if let DeValue::String(text) = value.get_ref() {
        if Dimension::Power.parse(text).is_ok() {
            return reader.quantity_of(&keys::BOIL_POWER, value).map(|watts| BoilPower::Power(Watts::new(to_u32(watts))));
        }
        if Dimension::Flow.parse(text).is_ok() {
            return reader.quantity_of(&keys::BOIL_OFF, value).map(|l_per_min| BoilPower::BoilOff(litres(l_per_min * 60.0)));
        }
        if Dimension::Temperature.parse(text).is_ok() {
            reader.fault(
                ProblemKind::WrongUnit,
                value.span(),
                format!("a boil cannot be held at {:?}", text.as_ref()),
                "a percentage of full power in %, a power in W or kW, or a boil-off in L/h or gal/h",
                "write at = \"60 %\", at = \"3300 W\" or at = \"4 L/h\"",
            );
            return None;
        }
    }
    reader.quantity_of(&keys::BOIL_SHARE, value).map(|share| BoilPower::Share(Duty::from_basis_points(to_u32(share * 10_000.0))))
}

fn additions(reader: &mut Reader<'_>, entry: &Section<'_>, lasts: Option<f64>) -> Vec<AdditionText> {
    let entries = reader.tables(entry, &keys::ADDITIONS, "an addition");
    if let Some(extra) = entries.get(MAX_ADDITIONS) {
        let message = format!("the boil has {} additions", entries.len());
        let expected = format!("the first one too many; the controller holds {MAX_ADDITIONS}");
        reader.fault(ProblemKind::TooMany, extra.span.clone(), message, expected, "join additions that share a time into one");
    }
    let mut list = Vec::new();
    for entry in &entries {
        reader.check_keys(entry, keys::ADDITION);
        if entry.value(&keys::ADD).is_none() {
            reader.missing(entry, &keys::ADD);
        }
        let name = reader.text(entry, &keys::ADD);
        let amount = reader.text(entry, &keys::AMOUNT).unwrap_or_default();
        let Some(left_s) = reader.needed(entry, &keys::LEFT) else { continue };
        if let Some(lasts) = lasts.filter(|l| left_s > *l) {
            reader.fault(
                ProblemKind::LateAddition,
                entry.place_of(&keys::LEFT),
                format!("an addition {} min before the end of a boil of {} min", minutes(left_s), minutes(lasts)),
                format!("at most {} min, the length of the boil", minutes(lasts)),
                "lower `left`, or make the boil longer with `for`",
            );
        }
        if let Some(name) = name {
            list.push(AdditionText { name, amount, left_s });
        }
    }
    list.sort_by(|a, b| b.left_s.total_cmp(&a.left_s));
    list
}

fn minutes(seconds: f64) -> f64 {
    (seconds / 6.0).round() / 10.0
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

// The readers' ranges lie well inside the core's, so these conversions never saturate.

fn celsius(degrees: f64) -> Celsius {
    Celsius::from_milli((degrees * 1000.0).round() as i32)
}

fn litres(litres: f64) -> Litres {
    Litres::from_millilitres((litres * 1000.0).round() as i32)
}

fn span(seconds: f64) -> Span {
    Span::from_millis((seconds * 1000.0).round() as u64)
}

pub(super) fn to_u32(value: f64) -> u32 {
    value.round() as u32
}
