//! A tuning on a terminal.

use super::Tuning;
use crate::report::measure::duration;
use copperhold_core::heat::rules::{Brisk, Integrating, IntegratingRule};
use copperhold_core::units::{Slope, Span};
use std::fmt::Write;

/// The rules that are shown, with the name and the source a person can look up.
const RULES: [(IntegratingRule, &str); 6] = [
    (IntegratingRule::Simc(Brisk::Smooth), "SIMC PI, tc = 3 L (Skogestad 2003)"),
    (IntegratingRule::AmigoPi, "AMIGO PI (Astrom and Hagglund 2004)"),
    (IntegratingRule::Simc(Brisk::Tight), "SIMC PI, tc = L (Skogestad 2003)"),
    (IntegratingRule::AmigoPid, "AMIGO PID (Astrom and Hagglund 2004)"),
    (IntegratingRule::ZieglerNicholsPi, "Ziegler-Nichols PI, step (1942)"),
    (IntegratingRule::ZieglerNicholsPid, "Ziegler-Nichols PID, step (1942)"),
];

/// The table. `chosen` is the rule to recommend.
pub fn text(tuning: &Tuning, target_c: f64, chosen: IntegratingRule) -> String {
    let (kettle, plant) = (&tuning.found.kettle, &tuning.plant);
    let (climb, lag_s) = (k_per_s(kettle.climb), seconds(kettle.lag));
    let standing = f64::from(tuning.found.standing.basis_points()) / 10_000.0;
    let mut out = format!(
        "Relay experiment at {target_c} °C: {}, swings to {:.2} K above the target, hysteresis {:.2} K.\n\n",
        duration(tuning.took_s),
        tuning.highest_over_k,
        tuning.hysteresis_k
    );
    let _ = writeln!(out, "{:<32} {:>10} {:>10} {:>8}", "", "found", "true", "off by");
    let mut figure = |name: &str, found: f64, truth: f64, decimals: usize| {
        let off = (found / truth - 1.0) * 100.0;
        let _ = writeln!(out, "{name:<32} {found:>10.decimals$} {truth:>10.decimals$} {off:>6.1} %");
    };
    figure("climb at full power, K/min", climb * 60.0, plant.climb_k_per_s * 60.0, 3);
    figure("lag, element to reading, s", lag_s, plant.lag_s, 1);
    figure("duty that holds the target, %", standing * 100.0, plant.standing_duty * 100.0, 2);
    let _ = writeln!(out, "\n  {:<38} {:>9} {:>9} {:>9}", "gains by rule", "Kc, %/K", "Ti, s", "Td, s");
    for (rule, name) in RULES {
        let mark = if rule == chosen { '>' } else { ' ' };
        out.push_str(&line(mark, name, kettle, rule));
    }
    out.push_str(
        "\n> by your choice of how brisk. The controller itself needs none of them: it learns climb and lag in every heat-up.\n",
    );
    out
}

fn line(mark: char, name: &str, kettle: &Integrating, rule: IntegratingRule) -> String {
    match kettle.gains(rule) {
        Ok(gains) => format!(
            "{mark} {name:<38} {:>9.2} {:>9} {:>9}\n",
            f64::from(gains.kc().to_bits()) / 655.36,
            gains.ti().map_or_else(|| "-".to_owned(), |ti| format!("{:.1}", seconds(ti))),
            if gains.td() == Span::ZERO { "-".to_owned() } else { format!("{:.1}", seconds(gains.td())) },
        ),
        Err(error) => format!("{mark} {name:<38} out of range: {error:?}\n"),
    }
}

/// A rate as a number, K/s.
pub(super) fn k_per_s(slope: Slope) -> f64 {
    f64::from(slope.fixed().to_bits()) / f64::from(1_u32 << 24)
}

fn seconds(span: Span) -> f64 {
    span.as_micros() as f64 * 1e-6
}
