//! The campaign as a table for a terminal.

use super::figures::{Quiet, figures, rule_of_three};
use super::kind::{ELSEWHERE, Kind};
use super::scene::Phase;
use super::{Expected, Outcome};
use std::fmt::Write;

/// What one cell of the matrix holds: all outcomes of a fault in a phase.
#[derive(Debug, Clone, Default)]
pub struct Cell {
    /// Drills run.
    pub run: usize,
    /// As expected.
    pub passed: usize,
    /// Trips.
    pub tripped: usize,
    /// Longest time to the trip, or to the end of all power, s.
    pub slowest_s: f64,
    /// The greatest share of its own limit that an answer took, where there is a limit.
    pub nearest: Option<f64>,
    /// All power gone is what counts, not a trip.
    pub off: bool,
    /// Hottest water, degrees Celsius.
    pub water_c: f64,
    /// Hottest sheath, degrees Celsius.
    pub sheath_c: f64,
    /// Why software cannot see it.
    pub unseen: Option<&'static str>,
}

/// Gathers the outcomes of a fault in a phase; `None` if there are none.
pub fn cell(outcomes: &[Outcome], kind: Kind, phase: Phase) -> Option<Cell> {
    let mut cell = Cell { water_c: f64::NEG_INFINITY, sheath_c: f64::NEG_INFINITY, ..Cell::default() };
    for outcome in outcomes.iter().filter(|o| o.kind == kind && o.phase == phase) {
        cell.run += 1;
        cell.passed += usize::from(outcome.passed);
        cell.tripped += usize::from(outcome.trip.is_some());
        if let Some(took_s) = outcome.took_s() {
            cell.slowest_s = cell.slowest_s.max(took_s);
            let share = outcome.expected.within_s().map(|within_s| took_s / within_s);
            cell.nearest = cell.nearest.into_iter().chain(share).reduce(f64::max);
        }
        match outcome.expected {
            Expected::Off { .. } => cell.off = true,
            Expected::Unseen(why) => cell.unseen = Some(why),
            Expected::Trip { .. } | Expected::Borne { .. } | Expected::Harmless { .. } => {}
        }
        cell.water_c = cell.water_c.max(outcome.water_c);
        cell.sheath_c = cell.sheath_c.max(outcome.sheath_c);
    }
    (cell.run > 0).then_some(cell)
}

/// What software cannot see, once each.
pub fn unseen(outcomes: &[Outcome]) -> Vec<(&'static str, &'static str)> {
    let mut said: Vec<(&str, &str)> = Vec::new();
    for o in outcomes {
        if let Expected::Unseen(why) = o.expected
            && said.iter().all(|&(_, text)| text != why)
        {
            said.push((o.kind.name().1, why));
        }
    }
    said
}

/// The table: a line per fault, the figures, then what failed, what software cannot see, and which rows are held elsewhere.
pub fn table(outcomes: &[Outcome], quiet: &Quiet) -> String {
    let mut text = String::new();
    let failed = outcomes.iter().filter(|o| !o.passed).count();
    let _ = writeln!(text, "{} drills, {failed} not as expected.\n", outcomes.len());
    let _ = writeln!(
        text,
        "{:8} {:36} {:>7} {:>7} {:>7} {:>9} {:>9} {:>8} {:>8}",
        "row", "fault", "drills", "as exp.", "95 % <", "slowest s", "of limit", "water C", "sheath C"
    );
    for kind in Kind::ALL.into_iter().chain([Kind::None]) {
        let cells: Vec<Cell> = Phase::ALL.iter().filter_map(|&phase| cell(outcomes, kind, phase)).collect();
        if cells.is_empty() {
            continue;
        }
        let (row, name) = kind.name();
        let sum = |f: fn(&Cell) -> usize| cells.iter().map(f).sum::<usize>();
        let most = |f: fn(&Cell) -> f64| cells.iter().map(f).fold(f64::NEG_INFINITY, f64::max);
        let nearest = cells.iter().filter_map(|c| c.nearest).reduce(f64::max);
        let answered = sum(|c| c.tripped) > 0 || cells.iter().any(|c| c.off);
        let (run, passed) = (sum(|c| c.run), sum(|c| c.passed));
        let _ = writeln!(
            text,
            "{row:8} {name:36} {run:>7} {passed:>7} {:>7} {:>9} {:>9} {:>8.1} {:>8.0}",
            if passed == run { format!("{:.2} %", rule_of_three(run) * 100.0) } else { "-".to_owned() },
            if answered { format!("{:.1}", most(|c| c.slowest_s)) } else { "-".to_owned() },
            nearest.map_or("-".to_owned(), |share| format!("{:.0} %", share * 100.0)),
            most(|c| c.water_c),
            most(|c| c.sheath_c)
        );
    }
    text.push_str(
        "\n95 % <: with no failure in so many drills the share of failures is below this with 95 % confidence, on rigs like these.\n\
         of limit: the greatest share of its own time limit that an answer took.\n\n",
    );
    for (name, figure) in figures(outcomes, quiet) {
        let _ = writeln!(text, "{name:32} {figure}");
    }
    if failed > 0 {
        let _ = writeln!(text, "\nNot as expected:");
        for o in outcomes.iter().filter(|o| !o.passed) {
            let _ = writeln!(text, "  {}", told(o));
        }
    }
    let _ = writeln!(text, "\nWhat software cannot see, and hardware or a person must:");
    for (name, why) in unseen(outcomes) {
        let _ = writeln!(text, "  {name}: {why}");
    }
    let _ = writeln!(text, "\nRows of the hazard table that no drill here can show:");
    for (row, why) in ELSEWHERE {
        let _ = writeln!(text, "  {row:4} {why}");
    }
    text
}

fn told(o: &Outcome) -> String {
    let trip = o.trip.as_ref().map_or("no trip".to_owned(), |(t, s)| format!("{t} after {s:.1} s"));
    format!(
        "{} in {}, {}, seed {}: {trip}; heated for {:.2} s; water {:.1} C, {:.1} K over, {:.1} K past a limit; sheath {:.0} C; expected {:?}{}",
        o.kind.name().1,
        o.phase.name(),
        o.rig,
        o.seed,
        o.heated_for_s,
        o.water_c,
        o.over_k,
        o.past_limit_k,
        o.sheath_c,
        o.expected,
        if o.injected { "" } else { "; NOT INJECTED" }
    )
}
