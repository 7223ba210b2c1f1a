//! The temperature chart of one vessel.

use copperhold_core::vessel::Vessel;

use super::facts;
use super::frame::{Frame, Rows, Size, text_width};
use super::measure::{Measure, clock, duration, fixed};
use super::svg::{Anchor, Svg};
use super::thin;
use crate::day::{Day, Sample, Units};

/// Below this a vessel counts as empty, and what its probe reads is not liquid, L.
const EMPTY_L: f64 = 0.5;

/// A scale never covers less, so that noise is not blown up, degrees.
const LEAST_SPAN: f64 = 5.0;

const PLOT_HEIGHT: f64 = 190.0;
const DISTANCE_HEIGHT: f64 = 78.0;

/// The chart of `vessel` in one size.
pub fn temperature(day: &Day, vessel: Vessel, size: Size) -> String {
    let frame = Frame::new(day, size, PLOT_HEIGHT);
    let scale = Scale::of(day, vessel);
    let label = format!("Temperature in the {} over the day", vessel.label());
    let mut svg = frame.open(vessel.key(), &label, &description(day, vessel));
    scale.draw(&mut svg, &frame);
    if vessel == Vessel::BoilKettle {
        boiling(&mut svg, &frame, &scale);
    }
    let units = Measure(day.units);
    let point = |t_s: f64, c: Option<f64>| c.map(|c| (frame.x(t_s), scale.y(&frame, units.temperature(c))));
    let setpoint = day.samples.iter().map(|sample| point(sample.t_s, *sample.setpoint_c.get(vessel)));
    svg.path("setpoint", &thin::path(setpoint));
    let holds_liquid = filled(day, vessel);
    let reading = day.samples.iter().map(|sample| point(sample.t_s, shown(sample, vessel, holds_liquid)));
    svg.path(&format!("reading {}", vessel.key()), &thin::path(reading));
    if vessel == Vessel::BoilKettle {
        additions(&mut svg, &frame);
    }
    svg.finish()
}

/// How far the reading of `vessel` was from its setpoint while it was near: shows what the large scale hides.
pub fn distance(day: &Day, vessel: Vessel, size: Size) -> String {
    let frame = Frame::new(day, size, DISTANCE_HEIGHT);
    let units = Measure(day.units);
    let reach = match day.units {
        Units::Metric => 1.0,
        Units::Us => 2.0,
    };
    let scale = Scale { low: -1.3 * reach, high: 1.3 * reach, every: reach };
    let label = format!("Distance of the {}'s temperature from its setpoint", vessel.label());
    let hold = facts::worst_hold_k(day, Some(vessel)).map_or_else(String::new, |k| {
        format!(" While it was held, the true temperature stayed within {} (RMS).", units.difference_text(k))
    });
    let within = format!("The reading less the setpoint, drawn while it is within {} {}.{hold}", fixed(reach, 0), units.degrees());
    let mut svg = frame.open(&format!("{}-distance", vessel.key()), &label, &within);
    scale.draw(&mut svg, &frame);
    let volumes_known = filled(day, vessel);
    let points = day.samples.iter().map(|sample| {
        let reading = shown(sample, vessel, volumes_known)?;
        let distance = units.difference(reading - (*sample.setpoint_c.get(vessel))?);
        (distance.abs() <= scale.high).then(|| (frame.x(sample.t_s), scale.y(&frame, distance)))
    });
    svg.path(&format!("reading {}", vessel.key()), &thin::path(points));
    svg.finish()
}

/// Letters for the additions: a to z, then aa and on.
pub fn letter(index: usize) -> String {
    let last = char::from(b'a' + (index % 26) as u8);
    if index < 26 { last.to_string() } else { format!("{}{last}", letter(index / 26 - 1)) }
}

fn filled(day: &Day, vessel: Vessel) -> bool {
    day.samples.iter().any(|sample| *sample.volume_l.get(vessel) > EMPTY_L)
}

/// The reading while the vessel holds liquid; all of it when the record knows no volumes.
fn shown(sample: &Sample, vessel: Vessel, volumes_known: bool) -> Option<f64> {
    let reading = *sample.reading_c.get(vessel);
    reading.filter(|c| c.is_finite() && (!volumes_known || *sample.volume_l.get(vessel) > EMPTY_L))
}

fn description(day: &Day, vessel: Vessel) -> String {
    let units = Measure(day.units);
    let holds_liquid = filled(day, vessel);
    let readings = || day.samples.iter().filter_map(|sample| shown(sample, vessel, holds_liquid));
    let (low, high) = (readings().fold(f64::INFINITY, f64::min), readings().fold(f64::NEG_INFINITY, f64::max));
    if low > high {
        return format!("No reading of the {} was recorded.", vessel.label());
    }
    let mut text = format!(
        "The reading is a solid line, the setpoint a dashed one. Over {} the reading lies between {} and {}.",
        duration(facts::length_s(day)),
        units.degrees_text(low),
        units.degrees_text(high)
    );
    if vessel == Vessel::BoilKettle {
        text.push_str(&format!(" Water boils at {}.", units.degrees_text(day.boiling_c)));
    }
    for (index, trip) in day.trips.iter().enumerate() {
        text.push_str(&format!(" Trip {} at {}.", index + 1, clock(trip.t_s)));
    }
    text
}

/// The scale of temperatures, in the reader's units.
struct Scale {
    low: f64,
    high: f64,
    every: f64,
}

impl Scale {
    fn of(day: &Day, vessel: Vessel) -> Self {
        let units = Measure(day.units);
        let holds_liquid = filled(day, vessel);
        let readings = day.samples.iter().filter_map(|sample| shown(sample, vessel, holds_liquid));
        let setpoints = day.samples.iter().filter_map(|sample| *sample.setpoint_c.get(vessel));
        let boiling = (vessel == Vessel::BoilKettle).then_some(day.boiling_c);
        let shown = readings.chain(setpoints).chain(boiling).map(|c| units.temperature(c)).filter(|figure| figure.is_finite());
        let (low, high) = shown.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), figure| (low.min(figure), high.max(figure)));
        if low > high {
            return Scale { low: 0.0, high: 100.0, every: 20.0 };
        }
        let (low, high) = if high - low < LEAST_SPAN { (low - LEAST_SPAN / 2.0, high + LEAST_SPAN / 2.0) } else { (low, high) };
        let nice = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0];
        let every = nice.into_iter().find(|every| (high - low) / every <= 5.0).unwrap_or((high - low) / 5.0);
        // Room above for the labels of trips, and below for the letters of additions.
        Scale { low: low - every * 0.3, high: high + every * 0.6, every }
    }

    fn y(&self, frame: &Frame<'_>, figure: f64) -> f64 {
        frame.bottom() - frame.plot_height * (figure - self.low) / (self.high - self.low)
    }

    fn draw(&self, svg: &mut Svg, frame: &Frame<'_>) {
        let (first, last) = ((self.low / self.every).ceil() as i64, (self.high / self.every).floor() as i64);
        for index in first..=last {
            let figure = self.every * index as f64;
            let y = self.y(frame, figure);
            svg.line("grid", (frame.left(), y), (frame.right(), y));
            let unit = if index == last { Measure(frame.day.units).degrees() } else { "" };
            let text = format!("{} {unit}", fixed(figure, 0));
            svg.text("faint", Anchor::End, (frame.left() - 6.0, y + 4.0), text.trim_end());
        }
    }
}

fn boiling(svg: &mut Svg, frame: &Frame<'_>, scale: &Scale) {
    let units = Measure(frame.day.units);
    let y = scale.y(frame, units.temperature(frame.day.boiling_c));
    if y.is_finite() {
        svg.line("boiling", (frame.left(), y), (frame.right(), y));
        let text = format!("boils at {}", units.degrees_text(frame.day.boiling_c));
        svg.text("faint halo", Anchor::Start, (frame.left() + 6.0, y + 15.0), &text);
    }
}

fn additions(svg: &mut Svg, frame: &Frame<'_>) {
    let mut rows = Rows::default();
    for (index, addition) in frame.day.additions.iter().enumerate() {
        let x = frame.x(addition.t_s);
        if !x.is_finite() {
            continue;
        }
        let text = letter(index);
        let half = text_width(&text) / 2.0 + 2.0;
        let height = 14.0 + 14.0 * rows.place(x - half, x + half);
        svg.line("addition", (x, frame.bottom()), (x, frame.bottom() - height));
        svg.text("ink halo", Anchor::Middle, (x, frame.bottom() - height - 3.0), &text);
    }
}
