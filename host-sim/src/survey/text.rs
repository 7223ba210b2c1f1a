//! The survey on a terminal.

use super::{Contender, Field, Measure, Survey, ranges};
use crate::report::measure::fixed;
use std::fmt::Write;

/// Leads to what limits ours.
pub(super) const MISSES_LEAD: &str = "Aims for the worst rig that ours misses (first: 1.06 and 0.25 K; second: 1.02 and 0.15 K), ratio and overshoot, and what limits it:";

/// Decimals of a figure of a measure.
fn decimals(measure: Measure) -> usize {
    match measure {
        Measure::Ratio => 4,
        Measure::Overshoot | Measure::Hold => 3,
    }
}

/// The table.
pub fn table(survey: &Survey) -> String {
    let mut out = format!(
        "{} rigs, seed {}. True bulk temperature; time over the least possible until within 0.3 K for good.\n\n",
        survey.rigs.len(),
        survey.seed
    );
    let _ = writeln!(
        out,
        "{:<21}  {:^24}  {:^20}  {:^20}  {:>5}  {:>6}",
        "", "time ratio", "overshoot, K", "hold RMS, K", "not", "behind"
    );
    let heads = |width: usize| ["median", "95 %", "worst"].map(|head| format!("{head:>width$}")).join(" ");
    let _ = writeln!(out, "{:<21}  {:>24}  {:>20}  {:>20}  {:>5}  {:>6}", "", heads(8), heads(6), heads(6), "in", "ours");
    for contender in survey.contenders() {
        let columns = Measure::ALL.map(|measure| {
            let spread = survey.spread(contender, measure);
            let width = decimals(measure) + if measure == Measure::Ratio { 4 } else { 3 };
            [spread.median, spread.p95, spread.worst].map(|v| format!("{:>width$}", fixed(v, decimals(measure)))).join(" ")
        });
        let behind = if contender == Contender::OursFirst { String::new() } else { survey.behind_ours(contender).to_string() };
        let _ = writeln!(
            out,
            "{:<21}  {:>24}  {:>20}  {:>20}  {:>5}  {behind:>6}",
            contender.label(),
            columns[0],
            columns[1],
            columns[2],
            survey.unsettled(contender),
        );
    }
    out.push_str(
        "\nnot in: rigs not within 0.3 K at the end of the trial, whose time ratio is a lower bound.\n\
         behind ours: rigs on which our first heat-up is better by (ratio - 1) / 0.02 + overshoot / 0.12 K.\n",
    );
    for (number, which, trip) in survey.trips() {
        let _ = writeln!(out, "Rig {number}, {which} heat-up, TRIPPED: {trip}");
    }
    if survey.field == Field::Limits {
        let _ = writeln!(out, "\n{}", MISSES_LEAD);
        for miss in survey.misses() {
            let _ = writeln!(out, "{miss}");
        }
    }
    out
}

/// The ranges, for the command's help.
pub fn ranges_text() -> String {
    let mut out = String::from("What is drawn (\"by ratio\": every doubling as likely; else every value):\n");
    for range in ranges::ALL {
        let by = match range.evenly {
            ranges::Evenly::Plain => "",
            ranges::Evenly::ByRatio => ", by ratio",
        };
        let _ = writeln!(out, "  {:<52} {} to {} {}{by}", range.name, range.low, range.high, range.unit);
    }
    out.push_str("  lid on: every second rig\n  probe, each as likely:\n");
    for (_, about) in ranges::PROBES {
        let _ = writeln!(out, "    {about}");
    }
    out.push_str(&ranges::REDRAWN.join("\n  "));
    out.push_str("\n\nWho heats:\n");
    for contender in Contender::ALL {
        let _ = writeln!(out, "  {}: {}", contender.label(), contender.about());
    }
    out
}
