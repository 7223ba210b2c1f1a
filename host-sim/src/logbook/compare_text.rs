//! The comparison as text for a terminal.

use super::compare::{Comparison, Pair};
use crate::day::StepRecord;
use crate::report::measure::{Measure, NONE, duration, fixed, fixed_or_none, plain};
use crate::report::text::{COLUMNS, wrap};
use unicode_width::UnicodeWidthStr;

/// The whole comparison.
pub fn page(comparison: &Comparison<'_>) -> String {
    let mut out = String::new();
    for day in [comparison.first, comparison.second] {
        let kind = if day.rehearsed { "rehearsed" } else { "brewed" };
        let (sheet, rig) = (plain(&day.day.sheet), plain(&day.day.rig));
        paragraph(&mut out, "", &format!("Day {}, {kind} {}: {sheet} on {rig}", day.number, day.begun_utc));
    }
    out.push_str("\nWhat differed\n");
    let words = comparison.words();
    for text in &words {
        paragraph(&mut out, "  - ", &plain(text));
    }
    if words.is_empty() {
        out.push_str("  Nothing beyond the brewer's pace and the thermometers' grain.\n");
    }
    steps(&mut out, comparison);
    figures(&mut out, comparison);
    out
}

fn paragraph(out: &mut String, lead: &str, text: &str) {
    let indent = " ".repeat(lead.width());
    for (index, piece) in wrap(text, COLUMNS - lead.width()).iter().enumerate() {
        out.push_str(if index == 0 { lead } else { &indent });
        out.push_str(piece);
        out.push('\n');
    }
}

fn steps(out: &mut String, comparison: &Comparison<'_>) {
    let units = Measure(comparison.first.day.units);
    let (first, second) = (format!("day {}", comparison.first.number), format!("day {}", comparison.second.number));
    out.push_str(&format!("\nSteps (over and hold in {})\n", units.degrees()));
    let pairs = comparison.pairs();
    let width = pairs.iter().map(|pair| plain(pair.name()).width()).max().unwrap_or(4).clamp(4, 30);
    let line = |out: &mut String, name: &str, cells: [String; 8]| {
        let mut text = format!("  {name}{}", " ".repeat(width.saturating_sub(name.width())));
        for (cell, wide) in cells.iter().zip([11, 11, 6, 6, 6, 6, 6, 6]) {
            text.push_str(&format!("  {}{cell}", " ".repeat(usize::saturating_sub(wide, cell.width()))));
        }
        out.push_str(text.trim_end());
        out.push('\n');
    };
    let head = ["took", "", "over", "", "hold", "", "kWh", ""].map(str::to_owned);
    line(out, "", head);
    line(out, "step", [&first, &second, &first, &second, &first, &second, &first, &second].map(Clone::clone));
    for pair in &pairs {
        let name: String = wrap(&plain(pair.name()), width).into_iter().next().unwrap_or_default();
        line(out, &name, cells(pair, units));
    }
}

fn cells(pair: &Pair<'_>, units: Measure) -> [String; 8] {
    let of = |step: Option<&StepRecord>, show: &dyn Fn(&StepRecord) -> String| step.map_or_else(|| NONE.to_owned(), show);
    let took = |s: &StepRecord| duration(s.ended_s - s.started_s);
    let over = |s: &StepRecord| fixed_or_none(s.overshoot_k.map(|k| units.difference(k)), 2);
    let hold = |s: &StepRecord| fixed_or_none(s.hold_rms_k.map(|k| units.difference(k)), 2);
    let kwh = |s: &StepRecord| fixed(s.energy_kwh, 2);
    let (a, b) = (pair.first, pair.second);
    [of(a, &took), of(b, &took), of(a, &over), of(b, &over), of(a, &hold), of(b, &hold), of(a, &kwh), of(b, &kwh)]
}

fn figures(out: &mut String, comparison: &Comparison<'_>) {
    out.push_str("\nThe day as a whole\n");
    let none = || NONE.to_owned();
    let heads = (format!("day {}", comparison.first.number), format!("day {}", comparison.second.number));
    out.push_str(&format!("  {:<30}  {:>12}  {:>12}\n", "", heads.0, heads.1));
    for figure in comparison.figures() {
        let (first, second) = (figure.first.unwrap_or_else(none), figure.second.unwrap_or_else(none));
        let pad = |text: &str| " ".repeat(12_usize.saturating_sub(text.width()));
        out.push_str(&format!("  {:<30}  {}{first}  {}{second}\n", figure.name, pad(&first), pad(&second)));
    }
}
