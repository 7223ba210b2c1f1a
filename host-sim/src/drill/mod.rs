//! Drills: faults injected on purpose, in every phase of the day, on several rigs, against the real controller.
//!
//! A drill brings a bench to a phase, puts a fault between brewery and controller, and watches: what tripped, how long it took, how hot
//! water and sheath became, whether heat came back. What is expected of each fault in each phase is written in [`expected`], with what
//! software cannot see said in words.

pub mod draw;
mod expect;
mod fault;
mod figures;
mod kind;
mod page;
pub mod scene;
mod sign;
pub mod stress;
mod table;

pub use expect::{Expected, expected};
pub use fault::{AIR_LAG_S, Fault, Pair};
pub use figures::Quiet;
pub use kind::{ELSEWHERE, Kind};
pub use page::page;
pub use sign::Sign;
pub use table::table;

use crate::bench::{Bench, Honest};
use crate::files::RigFile;
use crate::plant::rng::Pcg;
use copperhold_core::guard::Trip;
use copperhold_core::heat::Demand;
use copperhold_core::settings::SettingsError;
use copperhold_core::units::Duty;
use copperhold_core::vessel::{PerVessel, Vessel};
use scene::Phase;

/// A drill is watched for this long, s.
const WATCHED_S: f64 = 1_800.0;
/// A relay that shorts while full power is asked for shows only when less is: the drill waits for that at most this long, s.
const LONGEST_WAIT_S: f64 = 6.0 * 3_600.0;
/// After a trip, this long, s: does heat stay away?
const AFTER_TRIP_S: f64 = 120.0;
/// Sheath temperature at which an element is ruined or dangerous, degrees Celsius.
pub const SHEATH_LIMIT_C: f64 = 250.0;
/// Water may pass its vessel's limit by this much before a trip, K.
pub const PAST_LIMIT_K: f64 = 2.0;

/// How one drill went.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// The fault.
    pub kind: Kind,
    /// The phase.
    pub phase: Phase,
    /// Name of the rig.
    pub rig: String,
    /// Seed of the scene.
    pub seed: u64,
    /// Whether the injection took effect.
    pub injected: bool,
    /// The first trip, and how long after the fault was there to be seen, s.
    pub trip: Option<(Trip, f64)>,
    /// How long after the fault the last element power was seen, s; 0 if there was none.
    pub heated_for_s: f64,
    /// Hottest bulk water of the vessel, degrees Celsius, and how far that is above where it was or was sent, K.
    pub water_c: f64,
    /// See `water_c`.
    pub over_k: f64,
    /// How far any vessel's water was above its limit at most, K; below zero if all stayed below.
    pub past_limit_k: f64,
    /// How far it may be, K.
    pub may_pass_k: f64,
    /// Hottest sheath, degrees Celsius.
    pub sheath_c: f64,
    /// Power reached an element that was not commanded, after the trip, with the contactor in order.
    pub heat_after_trip: bool,
    /// Ticks in which both elements' lines were on.
    pub both_on: u64,
    /// What was expected.
    pub expected: Expected,
    /// As expected, and nothing unsafe.
    pub passed: bool,
}

impl Outcome {
    /// Something happened that must not happen while software can prevent it. What it cannot see, hardware must act on: then only what a
    /// wrong reaction would do counts, and water past its limit behind a shorted relay.
    pub fn is_unsafe(&self) -> bool {
        let hot = self.past_limit_k > self.may_pass_k;
        let harmed = match self.expected {
            Expected::Unseen(_) => self.kind.hides_behind_full_power() && hot,
            Expected::Trip { .. } | Expected::Off { .. } | Expected::Borne { .. } | Expected::Harmless { .. } => {
                hot || self.sheath_c >= SHEATH_LIMIT_C
            }
        };
        harmed || self.heat_after_trip || self.both_on > 0
    }

    /// Time taken, s: to the trip, or to the end of all power.
    pub fn took_s(&self) -> Option<f64> {
        match self.expected {
            Expected::Off { .. } => Some(self.heated_for_s),
            Expected::Trip { .. } | Expected::Borne { .. } | Expected::Harmless { .. } | Expected::Unseen(_) => {
                self.trip.as_ref().map(|(_, after_s)| *after_s)
            }
        }
    }
}

/// Runs one drill on a prepared bench.
pub fn drill(rig: &RigFile, scene: &Bench<Honest>, phase: Phase, kind: Kind, seed: u64) -> Outcome {
    drill_without(rig, scene, phase, kind, seed, None)
}

/// The same with a sign kept from the controller: what should find the fault by that sign cannot.
pub fn drill_without(rig: &RigFile, scene: &Bench<Honest>, phase: Phase, kind: Kind, seed: u64, hidden: Option<Sign>) -> Outcome {
    let element = phase.element();
    let power_w = *rig.rig.element_power_w().get(element);
    let start_s = scene.t_s();
    let mut rng = Pcg::new(seed, 41 + phase as u64);
    let air_lag_s = AIR_LAG_S.0 * (AIR_LAG_S.1 / AIR_LAG_S.0).powf(rng.uniform());
    let fault = Fault::new(kind, element, start_s + 0.01, power_w, rig.rig.site.air_c).hiding(hidden).airing(air_lag_s);
    let mut bench = scene.clone().tampered(fault);
    bench.every_tick = kind.is_fast();
    let (expected, may_pass_k) = (expected(rig, &bench, kind, phase), expect::may_pass_k(rig, &bench, kind));
    let vessel = element.vessel();
    let sent_c = bench.controller.supervisor().status().setpoints.get(vessel).map(crate::fit::degrees);
    let start_c = *bench.brewery.truth().bulk_c.get(vessel);
    let reference_c = sent_c.map_or(start_c, |sent_c| sent_c.max(start_c));
    if kind == Kind::FullPowerByHand {
        // A refusal would leave the water below its limit, and the drill without its trip.
        let _ = bench.controller.supervisor_mut().demand(vessel, Demand::Percent(Duty::FULL));
    }
    let limits_c = PerVessel::build(|v| crate::fit::degrees(bench.controller.supervisor().settings().limit(v)));
    let mut watch = Watch { water_c: start_c, last_power_s: start_s, ..Watch::new(limits_c) };
    let mut end_s = start_s + if kind.is_fast() { 60.0 } else { WATCHED_S };
    while bench.t_s() < end_s {
        bench.advance();
        watch.look(&bench, vessel);
        if let Some(tripped_s) = watch.tripped_s {
            end_s = end_s.min(tripped_s + AFTER_TRIP_S);
        } else if let (true, Expected::Trip { within_s }) = (kind.takes_long(), expected) {
            let shows_s = watch.seen_s.map_or(start_s + LONGEST_WAIT_S, |seen_s| seen_s + within_s + AFTER_TRIP_S);
            end_s = (start_s + WATCHED_S).max(shows_s);
        }
    }
    let fault = &bench.tamper;
    let visible_s = match kind {
        Kind::RelayShorted | Kind::RelayHalfShorted => watch.seen_s.or(fault.shown_s),
        Kind::FullPowerByHand => watch.seen_s,
        // Something else may have shown it before anything was fired into the dry vessel.
        Kind::DryWithLevel => fault.shown_s.or(watch.tripped_s),
        _ => fault.shown_s,
    };
    let visible_s = visible_s.or(fault.effect_s).unwrap_or(start_s);
    let heated_for_s = (watch.last_power_s - start_s - 0.01).max(0.0);
    let mut outcome = Outcome {
        kind,
        phase,
        rig: rig.rig.name.clone(),
        seed,
        injected: kind == Kind::None || fault.effect_s.is_some(),
        trip: watch.trip.zip(watch.tripped_s).map(|(trip, at_s)| (trip, (at_s - visible_s).max(0.0))),
        heated_for_s,
        water_c: watch.water_c,
        over_k: watch.water_c - reference_c,
        past_limit_k: watch.past_limit_k,
        may_pass_k,
        sheath_c: watch.sheath_c,
        heat_after_trip: watch.after,
        both_on: bench.both_on_ticks(),
        passed: false,
        expected,
    };
    outcome.passed = outcome.expected.is_met(&outcome);
    outcome
}

/// What is seen while a drill runs.
struct Watch {
    limits_c: PerVessel<f64>,
    water_c: f64,
    past_limit_k: f64,
    sheath_c: f64,
    last_power_s: f64,
    tripped_s: Option<f64>,
    trip: Option<Trip>,
    after: bool,
    /// When unasked heat became a kelvin's worth, or water reached its limit: before that there is nothing to see.
    seen_s: Option<f64>,
}

impl Watch {
    const fn new(limits_c: PerVessel<f64>) -> Watch {
        Watch {
            limits_c,
            water_c: f64::NEG_INFINITY,
            past_limit_k: f64::NEG_INFINITY,
            sheath_c: f64::NEG_INFINITY,
            last_power_s: 0.0,
            tripped_s: None,
            trip: None,
            after: false,
            seen_s: None,
        }
    }

    fn look(&mut self, bench: &Bench<Fault>, vessel: Vessel) {
        let t_s = bench.t_s();
        let truth = bench.brewery.truth();
        self.water_c = self.water_c.max(*truth.bulk_c.get(vessel));
        let past_k = Vessel::ALL.map(|v| truth.bulk_c.get(v) - self.limits_c.get(v));
        self.past_limit_k = past_k.into_iter().fold(self.past_limit_k, f64::max);
        self.sheath_c = self.sheath_c.max(truth.sheath_c.liquor_tank).max(truth.sheath_c.boil_kettle);
        let powered = truth.element_w.liquor_tank + truth.element_w.boil_kettle > 1.0;
        if powered {
            self.last_power_s = t_s;
            self.after |= self.tripped_s.is_some_and(|at_s| t_s > at_s + 0.5);
        }
        let fault = &bench.tamper;
        let shows = match fault.kind {
            Kind::FullPowerByHand => truth.bulk_c.get(vessel) >= self.limits_c.get(vessel),
            _ => fault.unasked_j >= bench.brewery.heat_capacity_j_per_k(vessel),
        };
        if self.seen_s.is_none() && shows {
            self.seen_s = Some(t_s);
        }
        if let Some(latch) = bench.controller.supervisor().guard().latch()
            && self.trip.is_none()
        {
            self.trip = Some(latch.trip);
            self.tripped_s = Some(t_s);
        }
    }
}

/// All drills of one rig with one seed: every fault in every phase where it has a meaning, and each phase without a fault.
///
/// # Errors
/// The controller does not accept the rig.
pub fn all_of(rig: &RigFile, seed: u64) -> Result<Vec<Outcome>, SettingsError> {
    let kinds: Vec<Kind> = Kind::ALL.into_iter().chain([Kind::None]).collect();
    some_of(rig, &kinds, seed)
}

/// As [`all_of`], for some faults.
///
/// # Errors
/// The controller does not accept the rig.
pub fn some_of(rig: &RigFile, kinds: &[Kind], seed: u64) -> Result<Vec<Outcome>, SettingsError> {
    let mut outcomes = Vec::new();
    for phase in Phase::ALL {
        if !kinds.iter().any(|&kind| expect::applies(kind, phase)) {
            continue;
        }
        let scene = scene::scene(rig, phase, seed)?;
        for &kind in kinds {
            if expect::applies(kind, phase) {
                outcomes.push(drill(rig, &scene, phase, kind, seed));
            }
        }
    }
    Ok(outcomes)
}
