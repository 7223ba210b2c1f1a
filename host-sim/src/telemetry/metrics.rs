//! One moment as OpenMetrics 1.0 text: base units, `_total` on the counter, `# EOF` at the end.

use crate::watch::state::{Link, Now};
use copperhold_core::vessel::{Element, Vessel};
use std::fmt::Write;

/// The media type to serve it as.
pub const MEDIA_TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// A figure that a vessel has or has not.
type OfVessel = fn(&Now, Vessel) -> Option<f64>;
/// A figure of the whole.
type OfAll = fn(&Now) -> Option<f64>;

/// Gauges with a `vessel` label: name, unit, help, figure.
const VESSELS: [(&str, &str, &str, OfVessel); 5] = [
    ("temperature_celsius", "celsius", "Reading of the thermometer.", |now, v| now.vessel(v).reading_c),
    ("target_celsius", "celsius", "Temperature that is held.", |now, v| now.vessel(v).demand.target_c()),
    ("duty_ratio", "ratio", "Share of full power that the element gets.", |now, v| now.vessel(v).duty),
    ("wanted_ratio", "ratio", "Share of full power that heat control asks for.", |now, v| now.vessel(v).wanted),
    ("grant", "", "1 for the element that may have power.", |now, v| {
        Element::ALL.iter().any(|e| e.vessel() == v).then(|| flag(now.grant.is_some_and(|e| e.vessel() == v)))
    }),
];

/// Gauges without labels.
const ALL: [(&str, &str, &str, OfAll); 7] = [
    ("armed", "", "1 while a person has armed the heat.", |now| Some(flag(now.armed))),
    ("contactor", "", "1 while the contactor's coil is commanded.", |now| Some(flag(now.contactor))),
    ("stop_loop_closed", "", "1 while the stop loop is closed.", |now| Some(flag(now.stop_loop))),
    ("tripped", "", "1 while a trip is latched.", |now| Some(flag(now.trip.is_some()))),
    ("waiting_for_person", "", "1 while a person is asked for something.", |now| Some(flag(now.prompt.is_some()))),
    ("step", "", "Number of the step under way, from 1.", |now| now.step.as_ref().map(|step| step.index as f64 + 1.0)),
    ("timer_left_seconds", "seconds", "Time left of the step's timer.", |now| now.timer.map(|timer| timer.left_s)),
];

/// The moment as text. A moment that is old, or from a lost link, has only what tells that.
pub fn text(now: &Now) -> String {
    let mut out = String::with_capacity(3_000);
    let kind = if now.source.is_rehearsal() { "rehearsal" } else { "board" };
    head(&mut out, "source", "info", "", "What is watched. A rehearsal heats no water.");
    line(&mut out, "source_info", &format!("{{kind=\"{kind}\"}}"), 1.0);
    head(&mut out, "live", "gauge", "", "1 while news comes from the source; without it no other figure is given.");
    line(&mut out, "live", "", flag(now.link == Link::Live && !now.stale));
    head(&mut out, "age_seconds", "gauge", "seconds", "Age of the news.");
    line(&mut out, "age_seconds", "", now.age_s);
    if now.link == Link::Live && !now.stale {
        figures(&mut out, now);
    }
    out.push_str("# EOF\n");
    out
}

fn figures(out: &mut String, now: &Now) {
    for (name, unit, help, figure) in VESSELS {
        head(out, name, "gauge", unit, help);
        for vessel in Vessel::ALL {
            if let Some(value) = figure(now, vessel) {
                line(out, name, &format!("{{vessel=\"{}\"}}", vessel.key()), value);
            }
        }
    }
    for (name, unit, help, figure) in ALL {
        head(out, name, "gauge", unit, help);
        if let Some(value) = figure(now) {
            line(out, name, "", value);
        }
    }
    head(out, "energy_joules", "counter", "joules", "Electric energy since this watch began.");
    if let Some(kwh) = now.energy_kwh {
        line(out, "energy_joules_total", "", (kwh * 3.6e6).round());
    }
}

fn flag(on: bool) -> f64 {
    f64::from(u8::from(on))
}

fn head(out: &mut String, name: &str, kind: &str, unit: &str, help: &str) {
    // Writing to a string cannot fail.
    let _ = writeln!(out, "# TYPE copperhold_{name} {kind}");
    if !unit.is_empty() {
        let _ = writeln!(out, "# UNIT copperhold_{name} {unit}");
    }
    let _ = writeln!(out, "# HELP copperhold_{name} {help}");
}

fn line(out: &mut String, name: &str, labels: &str, value: f64) {
    let _ = writeln!(out, "copperhold_{name}{labels} {value}");
}
