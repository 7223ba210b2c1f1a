//! The order of a brew day: which step may follow which.

use super::diagnose::{Problem, ProblemKind};
use super::quantity::Dimension;
use super::sheet_file::NamedStep;
use super::sheet_keys::WORDS;
use crate::day::Units;
use copperhold_core::sheet::Step;
use copperhold_core::units::Celsius;

/// What stands against this step after those before it. Each kind of step has its place in the day, and only a rest may come again.
pub fn out_of_order(named: &NamedStep, before: &[NamedStep], units: Units) -> Option<Problem> {
    let (rank, needs) = place_in_day(&named.step);
    let refuse = |message, expected: String, remedy| Some(named.problem(ProblemKind::StepOrder, "do", message, expected, remedy));
    let later = before.iter().find(|b| {
        let other = place_in_day(&b.step).0;
        other > rank || (other == rank && !matches!(named.step, Step::Rest { .. }))
    });
    if let Some(later) = later {
        let other = place_in_day(&later.step).0;
        let message = if other == rank {
            format!("a second \"{}\"; the first is on line {}", word(rank), later.line)
        } else {
            format!("\"{}\" comes after \"{}\" (line {})", word(rank), word(other), later.line)
        };
        let remedy = format!("keep the order of the day: {}; only a rest may be repeated", WORDS.join(", "));
        return refuse(message, "out of order".to_owned(), remedy);
    }
    if let Some(needed) = needs.filter(|n| !before.iter().any(|b| place_in_day(&b.step).0 == *n)) {
        return refuse(
            format!("\"{}\" without \"{}\" before it", word(rank), word(needed)),
            format!("needs \"{}\" first", word(needed)),
            format!("add a step above this one: do = \"{}\"", word(needed)),
        );
    }
    cooler(named, before, units)
}

/// The coil warms the mash; nothing cools it.
fn cooler(named: &NamedStep, before: &[NamedStep], units: Units) -> Option<Problem> {
    let now = mash_target(&named.step)?;
    let last = before.iter().rev().find_map(|b| mash_target(&b.step))?;
    let show = |c: Celsius| Dimension::Temperature.show(f64::from(c.milli()) / 1000.0, units, 1);
    (now < last).then(|| {
        named.problem(
            ProblemKind::StepOrder,
            "at",
            format!("a rest at {} after one at {}: the mash can be warmed, not cooled", show(now), show(last)),
            format!("at least {}", show(last)),
            "put the rests in rising order".to_owned(),
        )
    })
}

const fn mash_target(step: &Step) -> Option<Celsius> {
    match step {
        Step::Rest { at, .. } | Step::MashOut { at, .. } => Some(*at),
        Step::HeatStrike { .. }
        | Step::DoughIn { .. }
        | Step::Sparge { .. }
        | Step::BringToBoil
        | Step::Boil { .. }
        | Step::KnockOut
        | Step::Whirlpool { .. }
        | Step::Chill { .. } => None,
    }
}

/// The step's place in the day, which is its place in [`WORDS`], and the step it cannot do without.
const fn place_in_day(step: &Step) -> (usize, Option<usize>) {
    match step {
        Step::HeatStrike { .. } => (0, None),
        Step::DoughIn { .. } => (1, Some(0)),
        Step::Rest { .. } => (2, Some(1)),
        Step::MashOut { .. } => (3, Some(1)),
        Step::Sparge { .. } => (4, Some(1)),
        Step::BringToBoil => (5, Some(4)),
        Step::Boil { .. } => (6, Some(5)),
        Step::KnockOut => (7, Some(6)),
        Step::Whirlpool { .. } => (8, Some(7)),
        Step::Chill { .. } => (9, Some(7)),
    }
}

fn word(rank: usize) -> &'static str {
    WORDS.get(rank).copied().unwrap_or("this step")
}
