//! The day as JSON, for other programs. Keys may be added, never removed.

use copperhold_core::vessel::{Element, Vessel};
use serde::Serialize;

use super::facts;
use super::measure::plain;
use crate::day::{Day, HeatUp, Units};

/// The day as one JSON document with a stable order of keys, ended by a line break. Times are seconds, temperatures Celsius.
pub fn document(day: &Day) -> String {
    let mut text = serde_json::to_string_pretty(&Document::of(day)).expect("numbers and text always serialise");
    text.push('\n');
    text
}

#[derive(Serialize)]
struct Document {
    schema: u32,
    sheet: String,
    rig: String,
    seed: u64,
    units: &'static str,
    length_s: f64,
    boiling_c: f64,
    steps: Vec<Step>,
    vessels: Vessels,
    energy_kwh: f64,
    energy: Energy,
    volumes: Volumes,
    waits: Vec<Wait>,
    additions: Vec<Addition>,
    trips: Vec<String>,
    trip_records: Vec<Trip>,
    advice: Vec<Advice>,
    two_elements_ticks: u64,
}

#[derive(Serialize)]
struct Step {
    name: String,
    started_s: f64,
    ended_s: f64,
    planned_s: Option<f64>,
    vessel: Option<&'static str>,
    from_c: Option<f64>,
    to_c: Option<f64>,
    target_c: Option<f64>,
    overshoot_c: Option<f64>,
    hold_rms_c: Option<f64>,
    energy_kwh: f64,
}

#[derive(Serialize)]
struct Vessels {
    liquor_tank: HeatedVessel,
    mash_tun: UnheatedVessel,
    boil_kettle: HeatedVessel,
}

#[derive(Serialize)]
struct HeatedVessel {
    element_w: f64,
    heat_ups: Vec<HeatUpFigures>,
    worst_hold_rms_c: Option<f64>,
    yielded_s: f64,
    yielded_kwh: f64,
}

#[derive(Serialize)]
struct UnheatedVessel {
    worst_hold_rms_c: Option<f64>,
}

#[derive(Serialize)]
struct HeatUpFigures {
    from_c: f64,
    to_c: f64,
    seconds: f64,
    least_seconds: f64,
    overshoot_c: f64,
}

#[derive(Serialize)]
struct Energy {
    liquor_tank_kwh: f64,
    boil_kettle_kwh: f64,
    stored_kwh: f64,
    lost_kwh: f64,
    evaporated_kwh: f64,
    carried_kwh: f64,
    unexplained_share: f64,
}

#[derive(Serialize)]
struct Volumes {
    strike_l: f64,
    sparge_l: f64,
    pre_boil_l: f64,
    post_boil_l: f64,
    boil_off_l_per_h: f64,
    dry_loss_w: Option<f64>,
}

#[derive(Serialize)]
struct Wait {
    asked_s: f64,
    answered_s: f64,
    text: String,
}

#[derive(Serialize)]
struct Addition {
    t_s: f64,
    name: String,
    minutes_left: f64,
}

#[derive(Serialize)]
struct Trip {
    t_s: f64,
    cause: String,
    remedy: String,
}

#[derive(Serialize)]
struct Advice {
    t_s: f64,
    text: String,
}

/// Rounded to `decimals`, and never a negative zero, so that the text stays tidy.
fn tidy(value: f64, decimals: i32) -> f64 {
    let scale = 10_f64.powi(decimals);
    (value * scale).round() / scale + 0.0
}

fn seconds(value: f64) -> f64 {
    tidy(value, 2)
}

fn kelvins(value: f64) -> f64 {
    tidy(value, 3)
}

fn kwh(value: f64) -> f64 {
    tidy(value, 4)
}

impl Document {
    fn of(day: &Day) -> Self {
        Document {
            schema: 1,
            sheet: plain(&day.sheet),
            rig: plain(&day.rig),
            seed: day.seed,
            units: match day.units {
                Units::Metric => "metric",
                Units::Us => "us",
            },
            length_s: seconds(facts::length_s(day)),
            boiling_c: kelvins(day.boiling_c),
            steps: steps(day),
            vessels: Vessels {
                liquor_tank: heated(day, Element::LiquorTank),
                mash_tun: UnheatedVessel { worst_hold_rms_c: facts::worst_hold_k(day, Some(Vessel::MashTun)).map(kelvins) },
                boil_kettle: heated(day, Element::BoilKettle),
            },
            energy_kwh: kwh(day.energy.total_kwh()),
            energy: energy(day),
            volumes: volumes(day),
            waits: waits(day),
            additions: additions(day),
            trips: day.trips.iter().map(|trip| facts::trip_text(&trip.cause, &trip.remedy)).collect(),
            trip_records: trip_records(day),
            advice: day.advice.iter().map(|advice| Advice { t_s: seconds(advice.t_s), text: plain(&advice.text) }).collect(),
            two_elements_ticks: day.two_elements_ticks,
        }
    }
}

fn steps(day: &Day) -> Vec<Step> {
    let steps = day.steps.iter();
    steps
        .map(|step| Step {
            name: plain(&step.name),
            started_s: seconds(step.started_s),
            ended_s: seconds(step.ended_s),
            planned_s: step.planned_s.map(seconds),
            vessel: step.vessel.map(Vessel::key),
            from_c: step.from_c.map(kelvins),
            to_c: step.to_c.map(kelvins),
            target_c: step.target_c.map(kelvins),
            overshoot_c: step.overshoot_k.map(kelvins),
            hold_rms_c: step.hold_rms_k.map(kelvins),
            energy_kwh: kwh(step.energy_kwh),
        })
        .collect()
}

fn heated(day: &Day, element: Element) -> HeatedVessel {
    let figures = |heat_up: &HeatUp| HeatUpFigures {
        from_c: kelvins(heat_up.from_c),
        to_c: kelvins(heat_up.to_c),
        seconds: seconds(heat_up.seconds),
        least_seconds: seconds(heat_up.least_seconds),
        overshoot_c: kelvins(heat_up.overshoot_c),
    };
    HeatedVessel {
        element_w: tidy(*day.element_w.get(element), 1),
        heat_ups: day.heat_ups.get(element).iter().map(figures).collect(),
        worst_hold_rms_c: facts::worst_hold_k(day, Some(element.vessel())).map(kelvins),
        yielded_s: seconds(day.yielded.get(element).seconds),
        yielded_kwh: kwh(day.yielded.get(element).kwh),
    }
}

fn energy(day: &Day) -> Energy {
    Energy {
        liquor_tank_kwh: kwh(day.energy.element_kwh.liquor_tank),
        boil_kettle_kwh: kwh(day.energy.element_kwh.boil_kettle),
        stored_kwh: kwh(day.energy.stored_kwh),
        lost_kwh: kwh(day.energy.lost_kwh),
        evaporated_kwh: kwh(day.energy.evaporated_kwh),
        carried_kwh: kwh(day.energy.carried_kwh),
        unexplained_share: tidy(day.energy.imbalance(), 6),
    }
}

fn volumes(day: &Day) -> Volumes {
    Volumes {
        strike_l: tidy(day.volumes.strike_l, 3),
        sparge_l: tidy(day.volumes.sparge_l, 3),
        pre_boil_l: tidy(day.volumes.pre_boil_l, 3),
        post_boil_l: tidy(day.volumes.post_boil_l, 3),
        boil_off_l_per_h: tidy(day.volumes.boil_off_l_per_h, 3),
        dry_loss_w: day.volumes.dry_loss_w,
    }
}

fn waits(day: &Day) -> Vec<Wait> {
    let prompts = day.prompts.iter();
    prompts
        .map(|prompt| Wait { asked_s: seconds(prompt.asked_s), answered_s: seconds(prompt.answered_s), text: plain(&prompt.text) })
        .collect()
}

fn additions(day: &Day) -> Vec<Addition> {
    let additions = day.additions.iter();
    additions
        .map(|addition| Addition {
            t_s: seconds(addition.t_s),
            name: plain(&addition.name),
            minutes_left: tidy(addition.minutes_left, 2),
        })
        .collect()
}

fn trip_records(day: &Day) -> Vec<Trip> {
    let trips = day.trips.iter();
    trips.map(|trip| Trip { t_s: seconds(trip.t_s), cause: plain(&trip.cause), remedy: plain(&trip.remedy) }).collect()
}
