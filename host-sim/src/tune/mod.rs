//! Tuning at a hold: the relay experiment on a simulated vessel, under the guard, contactor and interlock of the real controller.
//!
//! - *Swing*: power on and off around the target; see [`copperhold_core::heat::relay`].
//! - *Noise*: the range of the readings while the filled vessel stands still; the relay's hysteresis is made from it.
//!
//! The experiment asks for full power or none as a person would, by a demand for a percentage. Whatever trips there trips here; a trip
//! ends the experiment, and whatever ends it ends with the demand off.

mod text;

pub use text::text;

use crate::bench::Bench;
use crate::files::RigFile;
use crate::fit;
use crate::plant::Figures;
use copperhold_core::controller::CONTROL_PERIOD;
use copperhold_core::guard::Trip;
use copperhold_core::heat::Demand;
use copperhold_core::heat::relay::{Relay, RelayFailure, RelayPlan, RelayPlanError, RelayResult};
use copperhold_core::settings::SettingsError;
use copperhold_core::supervisor::{Knowledge, Refusal};
use copperhold_core::units::{Celsius, Kelvin, Span};
use copperhold_core::vessel::Element;

/// The vessel is filled to this share of its capacity.
pub const FILLED: f64 = 0.75;
/// Readings are watched for noise for this long, s.
const STILL_S: f64 = 30.0;
/// The hysteresis is never below this, K.
const LEAST_HYSTERESIS_K: f64 = 0.1;
/// The experiment stays this far below the vessel's hard limit, K.
const BELOW_LIMIT_K: f64 = 2.0;

/// What to tune.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plan {
    /// Whose element.
    pub element: Element,
    /// Swing around this, degrees Celsius.
    pub target_c: f64,
    /// Give up after this long.
    pub longest: Span,
    /// Seed of the probe's noise.
    pub seed: u64,
}

/// A tuning, done.
#[derive(Debug, Clone, PartialEq)]
pub struct Tuning {
    /// What the experiment found.
    pub found: RelayResult,
    /// What is true.
    pub plant: Figures,
    /// The hysteresis that was used, K.
    pub hysteresis_k: f64,
    /// How long it took, heating included, s.
    pub took_s: f64,
    /// Highest reading above the target, K.
    pub highest_over_k: f64,
}

/// Why there is no tuning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum TuneError {
    /// The controller does not accept the rig's figures.
    Settings(SettingsError),
    /// The relay does not accept the plan.
    Plan(RelayPlanError),
    /// The controller refused the demand.
    Refused(Refusal),
    /// A trip ended the experiment.
    Tripped(Trip),
    /// The controller was disarmed.
    Disarmed,
    /// The experiment ended without a result.
    Relay(RelayFailure),
}

impl std::fmt::Display for TuneError {
    /// What happened and what to do, as a sentence without a full stop.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            TuneError::Settings(error) => {
                write!(f, "the controller does not accept this rig: {error:?}; compare element power and vessel sizes")
            }
            TuneError::Plan(error) => {
                write!(f, "the experiment cannot be run so: {error:?}; choose a target well below the vessel's limit")
            }
            TuneError::Refused(refusal) => f.write_str(refusal.text()),
            TuneError::Tripped(trip) => write!(f, "{trip}; {}", trip.remedy()),
            TuneError::Disarmed => f.write_str("the controller was disarmed; turn the key on, arm it and begin again"),
            TuneError::Relay(RelayFailure::TimeUp) => f.write_str("the time was up; take the insulation off or allow more hours"),
            TuneError::Relay(RelayFailure::TooManySwings) => {
                f.write_str("no two swings were alike; keep pumps, lid and volume as they are and begin again")
            }
            TuneError::Relay(RelayFailure::TooHot) => f.write_str("it became too hot; choose a lower target"),
            TuneError::Relay(RelayFailure::TooSmall) => f.write_str("noise switched the relay, not heat; check the probe"),
            TuneError::Relay(RelayFailure::Aborted) => f.write_str("the experiment was aborted"),
            TuneError::Relay(_) => f.write_str("the experiment ended without a result"),
        }
    }
}

impl std::error::Error for TuneError {}

/// Runs the experiment on a simulated vessel filled with tap water. `watch` is called after each control period, for drills and displays.
///
/// # Errors
/// Whatever ends it without a result. The demand is off then, and after a result too.
pub fn run(file: &RigFile, plan: &Plan, watch: impl FnMut(&mut Bench)) -> Result<Tuning, TuneError> {
    run_on(file, plan, watch).1
}

/// The same, and the bench as it stands at the end.
pub fn run_on(file: &RigFile, plan: &Plan, mut watch: impl FnMut(&mut Bench)) -> (Option<Bench>, Result<Tuning, TuneError>) {
    let mut bench = match Bench::new(file, plan.seed, Knowledge::default()) {
        Ok(bench) => bench,
        Err(error) => return (None, Err(TuneError::Settings(error))),
    };
    let outcome = experiment(&mut bench, file, plan, &mut watch);
    // Off is never refused for a vessel that has an element.
    let _ = bench.controller.supervisor_mut().demand(plan.element.vessel(), Demand::Off);
    bench.advance();
    watch(&mut bench);
    (Some(bench), outcome)
}

fn experiment(bench: &mut Bench, file: &RigFile, plan: &Plan, watch: &mut impl FnMut(&mut Bench)) -> Result<Tuning, TuneError> {
    let vessel = plan.element.vessel();
    bench.brewery.preset(vessel, FILLED * file.rig.vessel(vessel).capacity_l, file.rig.site.tap_c);
    let plant = Figures::of(&bench.brewery, plan.element, plan.target_c);
    bench.arm();
    let hysteresis_k = noise_k(bench, plan.element).max(LEAST_HYSTERESIS_K);
    let limit = bench.controller.supervisor().settings().limit(vessel);
    let relay_plan = RelayPlan::new(
        fit::celsius(plan.target_c),
        Kelvin::from_milli((hysteresis_k * 1000.0) as i32),
        limit.less(Kelvin::from_milli((BELOW_LIMIT_K * 1000.0) as i32)),
        plan.longest,
    );
    let mut relay = Relay::new(relay_plan.map_err(TuneError::Plan)?);
    let start_s = bench.t_s();
    let mut highest_over_k = f64::NEG_INFINITY;
    loop {
        if let Some(latch) = bench.controller.supervisor().guard().latch() {
            relay.abort();
            return Err(TuneError::Tripped(latch.trip));
        }
        if !bench.outputs().armed {
            relay.abort();
            return Err(TuneError::Disarmed);
        }
        // Without a reading the guard holds the heat back and soon trips; the experiment waits for either.
        if let Some(reading) = reading(bench, plan.element) {
            highest_over_k = highest_over_k.max(fit::degrees(reading) - plan.target_c);
            let duty = relay.tick(CONTROL_PERIOD, reading);
            bench.controller.supervisor_mut().demand(vessel, Demand::Percent(duty)).map_err(TuneError::Refused)?;
        }
        match relay.outcome() {
            None => {}
            Some(Err(failure)) => return Err(TuneError::Relay(failure)),
            Some(Ok(found)) => {
                return Ok(Tuning { found, plant, hysteresis_k, took_s: bench.t_s() - start_s, highest_over_k });
            }
        }
        bench.advance();
        watch(bench);
    }
}

fn reading(bench: &Bench, element: Element) -> Option<Celsius> {
    bench.controller.supervisor().status().readings.get(element.vessel()).ok()
}

/// The range of the readings while nothing is heated, K.
fn noise_k(bench: &mut Bench, element: Element) -> f64 {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    bench.run(STILL_S, |bench| {
        if let Some(reading) = reading(bench, element) {
            let c = fit::degrees(reading);
            (low, high) = (low.min(c), high.max(c));
        }
    });
    (high - low).max(0.0)
}
