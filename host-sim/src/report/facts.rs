//! What the day amounts to: the figures that the table and the page share, so that they cannot differ.

use copperhold_core::vessel::{Element, Vessel};

use super::measure::{self, Measure, NONE, clock, duration, fixed, fixed_or_none};
use crate::day::{AdditionRecord, Day, Energy, HeatUp, StepRecord};

/// Past its target by more than this, a vessel is worth a look, K.
const OVERSHOOT_TO_MENTION_K: f64 = 0.5;

/// Held worse than this (RMS), a vessel is worth a look, K.
const HOLD_TO_MENTION_K: f64 = 0.5;

/// The energy account is expected to close this well.
const IMBALANCE_TO_MENTION: f64 = 0.001;

/// One line of the table of steps, as text.
pub struct StepLine {
    pub number: String,
    pub name: String,
    pub start: String,
    pub planned: String,
    pub took: String,
    pub from: String,
    pub to: String,
    pub target: String,
    pub over: String,
    pub hold: String,
    pub energy: String,
}

/// How the day went, in a word.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    Well,
    Look,
    Tripped,
}

/// The answer to "did the day go well?".
pub struct Verdict {
    pub tone: Tone,
    pub headline: String,
    pub reasons: Vec<String>,
}

/// Seconds from the first moment of the record to its last.
pub fn length_s(day: &Day) -> f64 {
    let steps = day.steps.iter().map(|step| step.ended_s);
    let samples = day.samples.iter().map(|sample| sample.t_s);
    steps.chain(samples).filter(|t| t.is_finite()).fold(0.0, f64::max)
}

/// The lines of the table of steps.
pub fn step_lines(day: &Day) -> Vec<StepLine> {
    let units = Measure(day.units);
    let temperature = |c: Option<f64>| fixed_or_none(c.map(|c| units.temperature(c)), 1);
    let difference = |k: Option<f64>| fixed_or_none(k.map(|k| units.difference(k)), 2);
    let line = |(index, step): (usize, &StepRecord)| StepLine {
        number: (index + 1).to_string(),
        name: measure::plain(&step.name),
        start: clock(step.started_s),
        planned: step.planned_s.map_or_else(|| NONE.to_owned(), duration),
        took: duration(step.ended_s - step.started_s),
        from: temperature(step.from_c),
        to: temperature(step.to_c),
        target: temperature(step.target_c),
        over: difference(step.overshoot_k),
        hold: difference(step.hold_rms_k),
        energy: fixed(step.energy_kwh, 2),
    };
    day.steps.iter().enumerate().map(line).collect()
}

/// The furthest any vessel went past its target, K.
pub fn worst_overshoot_k(day: &Day) -> Option<f64> {
    let steps = day.steps.iter().filter_map(|step| step.overshoot_k);
    let tank = day.heat_ups.liquor_tank.iter().map(|heat_up| heat_up.overshoot_c);
    let kettle = day.heat_ups.boil_kettle.iter().map(|heat_up| heat_up.overshoot_c);
    worst(steps.chain(tank).chain(kettle))
}

/// The worst hold of the day, RMS, K; of one vessel or of all.
pub fn worst_hold_k(day: &Day, vessel: Option<Vessel>) -> Option<f64> {
    let of_it = |step: &&StepRecord| vessel.is_none() || step.vessel == vessel;
    worst(day.steps.iter().filter(of_it).filter_map(|step| step.hold_rms_k))
}

fn worst(figures: impl Iterator<Item = f64>) -> Option<f64> {
    figures.filter(|figure| figure.is_finite()).fold(None, |worst, figure| Some(worst.map_or(figure, |w: f64| w.max(figure))))
}

/// Seconds the day waited for the person.
pub fn waited_s(day: &Day) -> f64 {
    day.prompts.iter().map(|prompt| prompt.answered_s - prompt.asked_s).filter(|s| s.is_finite()).sum()
}

/// The rate of boil-off, or the dash when nothing boiled.
pub fn boil_off_text(day: &Day) -> String {
    let rate = day.volumes.boil_off_l_per_h;
    if rate > 0.0 { Measure(day.units).rate_text(rate) } else { NONE.to_owned() }
}

/// What the volumes tell of the kettle's dry loss; empty when they do not tell.
pub fn dry_loss_text(day: &Day) -> String {
    day.volumes.dry_loss_w.map_or_else(String::new, |watts| format!("{} W of the boil made no vapour", fixed(watts, 0)))
}

/// One sentence for each vessel that had less heat than it wanted because the other had the element: which, to whom, by how much.
pub fn yielded_texts(day: &Day) -> Vec<String> {
    let gave_up = Element::ALL.into_iter().filter(|&element| day.yielded.get(element).seconds > 0.0);
    gave_up
        .map(|element| {
            let yielded = day.yielded.get(element);
            let full_kwh = day.element_w.get(element) * yielded.seconds / 3.6e6;
            format!(
                "The {} yielded to the {}: for {} both wanted heat, and it had {} kWh less than it wanted ({})",
                element.vessel().label(),
                element.other().vessel().label(),
                duration(yielded.seconds),
                fixed(yielded.kwh, 2),
                share_of_full_text(yielded.kwh, full_kwh),
            )
        })
        .collect()
}

fn share_of_full_text(kwh: f64, full_kwh: f64) -> String {
    format!("{} % of its element's full power", fixed(100.0 * kwh / full_kwh.max(1e-9), 0))
}

/// One sentence about the waits.
pub fn waits_text(day: &Day) -> String {
    match day.prompts.len() {
        0 => "The day never waited for you.".to_owned(),
        1 => format!("The day waited for you once, for {}.", duration(waited_s(day))),
        count => format!("The day waited for you {count} times, {} in all.", duration(waited_s(day))),
    }
}

/// One sentence per heat-up of an element's vessel.
pub fn heat_up_texts(day: &Day, element: Element) -> Vec<String> {
    let units = Measure(day.units);
    let heat_ups = day.heat_ups.get(element).iter();
    heat_ups
        .map(|heat_up| {
            format!(
                "{} to {} in {}{}, overshoot {}",
                fixed(units.temperature(heat_up.from_c), 1),
                units.degrees_text(heat_up.to_c),
                duration(heat_up.seconds),
                above_least(heat_up),
                units.difference_text(heat_up.overshoot_c),
            )
        })
        .collect()
}

fn above_least(heat_up: &HeatUp) -> String {
    let above = heat_up.seconds / heat_up.least_seconds - 1.0;
    if above.is_finite() { format!(", {} % above the least possible", fixed(above * 100.0, 1)) } else { String::new() }
}

/// One sentence about the interlock.
pub fn interlock_text(day: &Day) -> String {
    match day.two_elements_ticks {
        0 => "The two elements were never on together (0 ticks, counted).".to_owned(),
        ticks => format!("BOTH ELEMENTS WERE ON TOGETHER for {ticks} ticks. Do not use this controller."),
    }
}

/// A trip in one line.
pub fn trip_text(cause: &str, remedy: &str) -> String {
    let bare = |text: &str| measure::plain(text).trim().trim_end_matches('.').to_owned();
    format!("cause: {}; remedy: {}", bare(cause), bare(remedy))
}

/// Did the day go well?
pub fn verdict(day: &Day) -> Verdict {
    let mut reasons = target_reasons(day);
    if !day.advice.is_empty() {
        reasons
            .push(format!("{} was given; it is listed below.", counted(day.advice.len(), "piece of advice", "pieces of advice")));
    }
    if day.energy.total_kwh() > 0.0 && day.energy.imbalance().abs() > IMBALANCE_TO_MENTION {
        let share = fixed(day.energy.imbalance() * 100.0, 1);
        reasons.push(format!("The energy account leaves {share} % of what went in unexplained."));
    }
    if day.two_elements_ticks > 0 {
        reasons.insert(0, interlock_text(day));
        return Verdict { tone: Tone::Tripped, headline: "The interlock failed.".to_owned(), reasons };
    }
    if !day.trips.is_empty() {
        let headline = format!("The day had {}.", counted(day.trips.len(), "trip", "trips"));
        return Verdict { tone: Tone::Tripped, headline, reasons };
    }
    if day.steps.is_empty() || length_s(day) == 0.0 {
        let reasons = vec!["The record holds no step that lasted.".to_owned()];
        return Verdict { tone: Tone::Look, headline: "There is nothing to judge yet.".to_owned(), reasons };
    }
    if reasons.is_empty() {
        return Verdict { tone: Tone::Well, headline: "The day went well.".to_owned(), reasons: praise(day) };
    }
    Verdict { tone: Tone::Look, headline: "The day ran through, with something to look at.".to_owned(), reasons }
}

fn counted(count: usize, one: &str, many: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {many}") }
}

fn target_reasons(day: &Day) -> Vec<String> {
    let units = Measure(day.units);
    let mut reasons = Vec::new();
    if let Some(over) = worst_overshoot_k(day).filter(|over| *over > OVERSHOOT_TO_MENTION_K) {
        reasons.push(format!("A vessel went {} past its target.", units.difference_text(over)));
    }
    for (index, step) in day.steps.iter().enumerate() {
        if let Some(hold) = step.hold_rms_k.filter(|hold| *hold > HOLD_TO_MENTION_K) {
            let name = measure::plain(&step.name);
            reasons.push(format!("Step {}, {name}, was held within {} (RMS) only.", index + 1, units.difference_text(hold)));
        }
    }
    reasons
}

fn praise(day: &Day) -> Vec<String> {
    let units = Measure(day.units);
    let mut reasons = vec!["No trip and no advice.".to_owned()];
    if let Some(over) = worst_overshoot_k(day) {
        reasons.push(format!("No vessel went more than {} past its target.", units.difference_text(over)));
    }
    if let Some(hold) = worst_hold_k(day, Some(Vessel::MashTun)) {
        reasons.push(format!("The mash was held within {} (RMS).", units.difference_text(hold)));
    }
    reasons.push(interlock_text(day));
    reasons
}

/// Where the energy went, in the order of the account, kWh.
pub fn energy_uses(energy: &Energy) -> [(&'static str, f64); 4] {
    let uses = [
        ("carried away by water and drains", energy.carried_kwh),
        ("left with steam", energy.evaporated_kwh),
        ("lost to the room", energy.lost_kwh),
        ("still stored at the end", energy.stored_kwh),
    ];
    // A board cannot tell them apart: no figure is better than a nought.
    let known = uses.iter().any(|(_, kwh)| *kwh != 0.0);
    uses.map(|(name, kwh)| (name, if known { kwh } else { f64::NAN }))
}

/// A volume of the day; nothing if it is not known.
pub fn volume_text(units: Measure, litres: f64) -> String {
    if litres > 0.0 { units.volume_text(litres) } else { NONE.to_owned() }
}

/// A share of the energy in, in percent.
pub fn share_text(kwh: f64, total_kwh: f64) -> String {
    if total_kwh > 0.0 && kwh.is_finite() { format!("{} %", fixed(kwh / total_kwh * 100.0, 0)) } else { NONE.to_owned() }
}

/// A timed addition in words.
pub fn addition_text(addition: &AdditionRecord) -> String {
    format!("{}, {} min left", measure::plain(&addition.name), fixed(addition.minutes_left, 0))
}
