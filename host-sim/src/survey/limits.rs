//! The limits: what our own control does when it is told everything it could learn, and what nobody can do better.
//!
//! - *Told*: the true climb and lag (and loss) as a record, then a first heat-up like any other, with the same noise.
//! - *Sighted*: sees the true water and sheath and has the plant itself to try on. Full power, no power, and standing power from the
//!   moment the water no longer rises: then what the sheath gives just makes good the loss. Water and sheath are two stores in a row, both warmer
//!   for every watt, so no other course gets into the band earlier without passing the target by more.

use super::trial::{BAND_K, Judge, Outcome, Plant, Ramp, tick_s};
use super::{Contender, Draw, RigResult, ours};
use crate::plant::{Brewery, Figures};
use copperhold_core::heat::{Learned, loss};
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::{Slope, Span};
use copperhold_core::vessel::{Element, PerElement};

/// The aims: the worst time ratio and the worst overshoot in K, of the first and of the second heat-up.
pub const AIMS: [(f64, f64); 2] = [(1.06, 0.25), (1.02, 0.15)];
/// The temperature a record's loss is for, degrees Celsius.
const LOSS_AT_C: f64 = 76.0;
/// Halvings of the ramp in the search for the moment of the cut; the last is far less than a tick.
const HALVINGS: u32 = 24;

/// The record of somebody who knows the plant.
pub fn true_record(draw: &Draw, plant: &Figures) -> Learned {
    let mut brewery = Brewery::new(&draw.file.rig, 0);
    draw.fill(&mut brewery);
    let fall = Figures::of(&brewery, Element::LiquorTank, LOSS_AT_C).standing_duty * plant.climb_k_per_s;
    let slope = |k_per_s: f64| Slope::from_micro((k_per_s * 1e6).round() as i32);
    Learned::new(slope(plant.climb_k_per_s), Span::from_millis((plant.lag_s * 1e3) as u64), slope(fall))
}

/// The same record with the loss that is assumed before anything is known.
fn of_usual_loss(record: Learned) -> Learned {
    record.with_loss(Slope::from_micro((loss::UNKNOWN as f64 / 4_294.967_296) as i32))
}

/// Our first heat-up with a true record, its loss the usual one unless told that too.
pub(super) fn told(draw: &Draw, plant: &Figures, ramp: &Ramp, loss_too: bool) -> Outcome {
    let record = true_record(draw, plant);
    let vessels = PerElement { liquor_tank: Some(if loss_too { record } else { of_usual_loss(record) }), boil_kettle: None };
    ours::heat_up(draw, draw.noise_seed, Knowledge { vessels, ..Knowledge::default() }, ramp.least_s).outcome
}

/// Full power until `cut_s`, part of a tick included.
fn ramp_duty(now_s: f64, cut_s: f64) -> f64 {
    ((cut_s - now_s) / tick_s()).clamp(0.0, 1.0)
}

/// The highest the water comes to if the power is cut at `cut_s` and stays off.
fn peak_c(mut plant: Plant, cut_s: f64) -> f64 {
    let mut highest_c = plant.bulk_c();
    loop {
        let duty = ramp_duty(plant.now_s(), cut_s);
        plant.heat(duty);
        if duty == 0.0 && plant.bulk_c() <= highest_c {
            return highest_c;
        }
        highest_c = highest_c.max(plant.bulk_c());
    }
}

/// The earliest arrival that passes the target by no more than `over_k`.
pub(super) fn sighted(draw: &Draw, plant: &Figures, ramp: &Ramp, over_k: f64) -> Outcome {
    // Whatever is on its way, the cut lies between the start and the moment the water itself is there.
    let before = |cut_s: f64| ramp.at(cut_s).cloned().unwrap_or_else(|| Plant::new(draw));
    let most_c = draw.target_c + over_k;
    let latest_s = ramp.least_s + 2.0 * (BAND_K + over_k) / (plant.climb_k_per_s * (1.0 - plant.standing_duty)) + tick_s();
    let (mut low_s, mut high_s) = (0.0, latest_s);
    for _ in 0..HALVINGS {
        let cut_s = 0.5 * (low_s + high_s);
        if peak_c(before(cut_s), cut_s) > most_c {
            high_s = cut_s;
        } else {
            low_s = cut_s;
        }
    }
    let mut judge = Judge::new(draw.target_c, ramp.least_s);
    let mut plant_now = before(low_s);
    judge.see(plant_now.now_s(), plant_now.bulk_c());
    let (mut before_c, mut holds) = (f64::NEG_INFINITY, false);
    while !judge.is_over() {
        let bulk_c = plant_now.bulk_c();
        holds |= plant_now.now_s() > low_s && bulk_c <= before_c;
        before_c = bulk_c;
        // A kelvin off is made good in a minute: slow against any sheath that is drawn, so that the hold adds nothing to the peak.
        let correction = (draw.target_c - bulk_c) / (plant.climb_k_per_s * 60.0);
        let duty = if holds { (plant.standing_duty + correction).clamp(0.0, 1.0) } else { ramp_duty(plant_now.now_s(), low_s) };
        plant_now.heat(duty);
        judge.see(plant_now.now_s(), plant_now.bulk_c());
    }
    judge.outcome()
}

/// What holds a rig back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Limit {
    /// What a hot sheath still holds comes in slowly: the sighted one is late as well.
    Sheath,
    /// Within the aims once climb and lag are known.
    ClimbAndLag,
    /// Within the aims once the loss is known as well.
    Loss,
    /// Told everything, ours misses the aim all the same: the lag is of another shape than those that are fitted.
    Shape,
}

impl Limit {
    /// In words, with the figures of those who show it.
    const fn about(self) -> &'static str {
        match self {
            Limit::Sheath => "sheath: nobody who keeps within the overshoot is in time",
            Limit::ClimbAndLag => "climb and lag: within the aims once told them",
            Limit::Loss => "loss: within the aims once told it too",
            Limit::Shape => "shape of the lag: told climb, lag and loss, it misses them all the same",
        }
    }
}

/// An aim that was missed, and why.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Miss {
    /// The rig's number.
    pub rig: u32,
    /// 0 for the first heat-up, 1 for the second.
    pub heat_up: usize,
    /// How it went.
    pub outcome: Outcome,
    /// What held it back.
    pub limit: Limit,
    /// Told everything; sighted and allowed the aim's overshoot.
    pub shown_by: [Outcome; 2],
}

impl std::fmt::Display for Miss {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let which = if self.heat_up == 0 { "first" } else { "second" };
        let figures = |o: &Outcome| format!("{:.3}, {:.3} K", o.ratio, o.overshoot_k);
        write!(
            f,
            "rig {}, {which} heat-up, {}: {} (told {}; sighted {})",
            self.rig,
            figures(&self.outcome),
            self.limit.about(),
            figures(&self.shown_by[0]),
            figures(&self.shown_by[1])
        )
    }
}

/// The aims a rig misses, with the limit that holds each; nothing in a survey without the limits.
pub(super) fn misses(rig: &RigResult) -> impl Iterator<Item = Miss> + '_ {
    let ours = [rig.outcomes.first(), rig.outcomes.second()];
    let sighted = [Contender::SightedFirst, Contender::SightedSecond];
    ours.into_iter().zip(sighted).zip(AIMS).enumerate().filter_map(move |(heat_up, ((outcome, sighted), (ratio, over_k)))| {
        let meets = |o: &Outcome| o.settled && o.ratio <= ratio && o.overshoot_k <= over_k;
        let (told_lag, told) = (rig.outcomes.get(Contender::ToldLag)?, rig.outcomes.get(Contender::Told)?);
        let sighted = rig.outcomes.get(sighted)?;
        let limit = if meets(outcome) {
            return None;
        } else if sighted.ratio > ratio {
            Limit::Sheath
        } else if meets(told_lag) {
            Limit::ClimbAndLag
        } else if meets(told) {
            Limit::Loss
        } else {
            Limit::Shape
        };
        Some(Miss { rig: rig.number, heat_up, outcome: *outcome, limit, shown_by: [*told, *sighted] })
    })
}
