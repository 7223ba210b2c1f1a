//! The figures behind the cursor that reads the charts out.

use std::fmt::Write;

use copperhold_core::vessel::{Element, Vessel};

use super::facts;
use super::measure::Measure;
use crate::day::{Day, Sample};

/// At most this many moments are kept.
const MOMENTS: usize = 720;

/// The script that shows the cursor. The page is whole without it.
pub const SCRIPT: &str = include_str!("cursor.js");

/// The figures as JSON: numbers and nulls only, so nothing in it can end the element that holds it.
pub fn figures(day: &Day) -> String {
    let units = Measure(day.units);
    let stride = day.samples.len().div_ceil(MOMENTS).max(1);
    let moments: Vec<&Sample> = day.samples.iter().step_by(stride).collect();
    let mut json = format!("{{\"length\":{}", number(Some(facts::length_s(day).max(60.0)), 0));
    column(&mut json, "t", moments.iter().map(|sample| Some(sample.t_s)), 0);
    for vessel in Vessel::ALL {
        let reading = |sample: &&Sample| sample.reading_c.get(vessel).map(|c| units.temperature(c));
        let setpoint = |sample: &&Sample| sample.setpoint_c.get(vessel).map(|c| units.temperature(c));
        column(&mut json, vessel.key(), moments.iter().map(reading), 1);
        column(&mut json, &format!("{}_set", vessel.key()), moments.iter().map(setpoint), 1);
    }
    for element in Element::ALL {
        let duty = |sample: &&Sample| Some(*sample.duty.get(element) * 100.0);
        column(&mut json, &format!("{}_duty", element.vessel().key()), moments.iter().map(duty), 0);
    }
    column(&mut json, "steps", day.steps.iter().map(|step| Some(step.started_s)), 0);
    json.push('}');
    json
}

fn column(json: &mut String, name: &str, values: impl Iterator<Item = Option<f64>>, decimals: usize) {
    let _ = write!(json, ",\"{name}\":[");
    for (index, value) in values.enumerate() {
        let comma = if index > 0 { "," } else { "" };
        let _ = write!(json, "{comma}{}", number(value, decimals));
    }
    json.push(']');
}

fn number(value: Option<f64>, decimals: usize) -> String {
    match value.filter(|value| value.is_finite()) {
        Some(value) => format!("{value:.decimals$}"),
        None => "null".to_owned(),
    }
}
