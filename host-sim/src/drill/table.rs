//! The campaign as a table for a terminal.

use super::fault::Kind;
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
    /// Longest time to the trip, s.
    pub slowest_s: f64,
    /// Shortest limit among them, s, where there is one.
    pub limit_s: Option<f64>,
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
        if let Some((_, after_s)) = &outcome.trip {
            cell.tripped += 1;
            cell.slowest_s = cell.slowest_s.max(*after_s);
        }
        match outcome.expected {
            Expected::Trip { within_s } | Expected::Off { within_s } => {
                cell.limit_s = Some(cell.limit_s.map_or(within_s, |limit_s| limit_s.min(within_s)));
            }
            Expected::Unseen(why) => cell.unseen = Some(why),
            Expected::Borne { .. } | Expected::Cold => {}
        }
        cell.water_c = cell.water_c.max(outcome.water_c);
        cell.sheath_c = cell.sheath_c.max(outcome.sheath_c);
    }
    (cell.run > 0).then_some(cell)
}

/// The table: a line per fault, then what failed, then what software cannot see.
pub fn table(outcomes: &[Outcome], quiet_days: usize, false_trips: usize) -> String {
    let mut text = String::new();
    let failed = outcomes.iter().filter(|o| !o.passed).count();
    let _ = writeln!(text, "{} drills, {} not as expected.", outcomes.len(), failed);
    let _ = writeln!(text, "{quiet_days} whole days without a fault, {false_trips} false trips.\n");
    let _ = writeln!(
        text,
        "{:8} {:34} {:>7} {:>7} {:>9} {:>9} {:>8} {:>8}",
        "row", "fault", "drills", "as exp.", "slowest s", "limit s", "water C", "sheath C"
    );
    for kind in Kind::ALL.into_iter().chain([Kind::None]) {
        let cells: Vec<Cell> = Phase::ALL.iter().filter_map(|&phase| cell(outcomes, kind, phase)).collect();
        let (row, name) = kind.name();
        let sum = |f: fn(&Cell) -> usize| cells.iter().map(f).sum::<usize>();
        let most = |f: fn(&Cell) -> f64| cells.iter().map(f).fold(f64::NEG_INFINITY, f64::max);
        let limit = cells.iter().filter_map(|c| c.limit_s).reduce(f64::max).map_or("-".to_owned(), |s| format!("{s:.1}"));
        let slowest = if sum(|c| c.tripped) == 0 { "-".to_owned() } else { format!("{:.1}", most(|c| c.slowest_s)) };
        let _ = writeln!(
            text,
            "{row:8} {name:34} {:>7} {:>7} {slowest:>9} {limit:>9} {:>8.1} {:>8.0}",
            sum(|c| c.run),
            sum(|c| c.passed),
            most(|c| c.water_c),
            most(|c| c.sheath_c)
        );
    }
    if failed > 0 {
        let _ = writeln!(text, "\nNot as expected:");
        for o in outcomes.iter().filter(|o| !o.passed) {
            let trip = o.trip.as_ref().map_or("no trip".to_owned(), |(t, s)| format!("{t} after {s:.1} s"));
            let _ = writeln!(
                text,
                "  {} in {}, {}, seed {}: {trip}; heated for {:.2} s; water {:.1} C, {:.1} K over; expected {:?}{}",
                o.kind.name().1,
                o.phase.name(),
                o.rig,
                o.seed,
                o.heated_for_s,
                o.water_c,
                o.over_k,
                o.expected,
                if o.injected { "" } else { "; NOT INJECTED" }
            );
        }
    }
    let _ = writeln!(text, "\nWhat software cannot see, and hardware or a person must:");
    let mut said = Vec::new();
    for o in outcomes {
        if let Expected::Unseen(why) = o.expected
            && !said.contains(&why)
        {
            let _ = writeln!(text, "  {}: {why}", o.kind.name().1);
            said.push(why);
        }
    }
    text
}
