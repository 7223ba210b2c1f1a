//! `copperhold tune`: the relay experiment on whole simulated vessels, under the real controller, and every way it can end.

use copperhold::bench::Bench;
use copperhold::files::{self, RigFile};
use copperhold::tune::{self, Plan, TuneError, Tuning};
use copperhold_core::guard::Trip;
use copperhold_core::heat::relay::RelayFailure;
use copperhold_core::heat::rules::{Brisk, IntegratingRule};
use copperhold_core::units::Span;
use copperhold_core::vessel::{Element, Vessel};
use std::path::Path;

fn shipped(name: &str) -> RigFile {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim/rigs").join(name);
    files::load_rig(&path).unwrap_or_else(|problem| panic!("{}", problem.render(false)))
}

fn plan(element: Element, target_c: f64) -> Plan {
    Plan { element, target_c, longest: Span::from_mins(24 * 60), seed: 3 }
}

/// Every shipped rig, both vessels, a mash and a mash-out temperature.
fn scenarios() -> Vec<(String, Tuning)> {
    let mut all = Vec::new();
    for name in ["demo.toml", "small-230v.toml", "large-240v.toml"] {
        for element in Element::ALL {
            for target_c in [55.0, 72.0] {
                let what = format!("{name}, {}, {target_c} C", element.vessel().label());
                let tuning = tune::run(&shipped(name), &plan(element, target_c), |_| ());
                all.push((what.clone(), tuning.unwrap_or_else(|error| panic!("{what}: {error}"))));
            }
        }
    }
    all
}

/// A tenth for climb and lag, whatever the lag's shape; a twentieth for the standing duty.
#[test]
fn climb_and_lag_are_found_within_a_tenth_and_the_standing_duty_within_a_twentieth() {
    for (what, tuning) in scenarios() {
        let found = &tuning.found;
        let climb = f64::from(found.kettle.climb.micro()) * 1e-6 / tuning.plant.climb_k_per_s;
        let lag = found.kettle.lag.as_micros() as f64 * 1e-6 / tuning.plant.lag_s;
        let standing = f64::from(found.standing.basis_points()) * 1e-4 / tuning.plant.standing_duty;
        println!("{what}: climb {climb:.3} lag {lag:.3} standing {standing:.3}");
        assert!((0.9..=1.1).contains(&climb), "{what}: climb {climb} of the true one");
        assert!((0.9..=1.1).contains(&lag), "{what}: lag {lag} of the true one");
        assert!((0.95..=1.05).contains(&standing), "{what}: standing duty {standing} of the true one");
    }
}

/// Coasting takes the reading past the switch by about climb times lag, and no further.
#[test]
fn the_swing_stays_near_its_target() {
    for (what, tuning) in scenarios() {
        let coast_k = tuning.plant.climb_k_per_s * tuning.plant.lag_s;
        let over_k = tuning.highest_over_k;
        assert!(over_k > tuning.hysteresis_k && over_k < tuning.hysteresis_k + 1.2 * coast_k + 0.2, "{what}: {over_k} K over");
    }
}

#[test]
fn the_same_seed_finds_the_same_and_the_table_shows_it() {
    let again = || tune::run(&shipped("demo.toml"), &plan(Element::LiquorTank, 65.0), |_| ());
    let (one, two) = (again().expect("a result"), again().expect("a result"));
    assert_eq!(one, two);
    let text = tune::text(&one, 65.0, IntegratingRule::Simc(Brisk::Smooth));
    assert_eq!(text.lines().filter(|line| line.starts_with("> SIMC PI, tc = 3 L")).count(), 1, "{text}");
    for word in ["climb at full power", "lag, element to reading", "AMIGO", "Ziegler-Nichols"] {
        assert!(text.contains(word), "{word} is missing from\n{text}");
    }
}

/// Runs an experiment into a fault; everything must be off at its end and stay off for a minute.
#[track_caller]
fn ends_off(rig: &RigFile, plan: &Plan, mut drill: impl FnMut(&mut Bench)) -> TuneError {
    let (bench, outcome) = tune::run_on(rig, plan, &mut drill);
    let mut bench = bench.expect("the rig is accepted");
    bench.run(60.0, |bench| assert_eq!(bench.outputs().element, None, "at {} s", bench.t_s()));
    assert_eq!(bench.controller.supervisor().status().setpoints.liquor_tank, None);
    outcome.expect_err("a fault ends it")
}

/// Well into the swings of the demo rig, while power is on.
fn mid_swing(bench: &Bench) -> bool {
    bench.t_s() > 3600.0 && bench.outputs().element.is_some()
}

#[test]
fn t8_an_open_stop_loop_ends_it_with_the_element_off() {
    let mut hit = false;
    let error = ends_off(&shipped("demo.toml"), &plan(Element::LiquorTank, 65.0), |bench| {
        hit |= mid_swing(bench);
        bench.switches.stop_loop = !hit;
    });
    assert!(hit);
    assert_eq!(error, TuneError::Tripped(Trip::StopLoop));
}

#[test]
fn t8_the_key_turned_off_ends_it_with_the_element_off() {
    let mut hit = false;
    let error = ends_off(&shipped("demo.toml"), &plan(Element::LiquorTank, 65.0), |bench| {
        hit |= mid_swing(bench);
        bench.switches.key = !hit;
    });
    assert!(hit);
    assert_eq!(error, TuneError::Disarmed);
}

/// Hot liquid poured in past the limit: the guard trips in the middle of the experiment as it would in a hold.
#[test]
fn t1_over_temperature_trips_in_the_experiment_too() {
    let mut hit = false;
    let error = ends_off(&shipped("demo.toml"), &plan(Element::LiquorTank, 65.0), |bench| {
        if !hit && mid_swing(bench) {
            hit = true;
            bench.brewery.preset(Vessel::LiquorTank, 20.0, 95.0);
        }
    });
    assert!(hit);
    // The relay gives up at once when it is too hot, before the guard's patience ends.
    assert!(
        matches!(error, TuneError::Relay(RelayFailure::TooHot) | TuneError::Tripped(Trip::OverTemperature(Vessel::LiquorTank))),
        "{error:?}"
    );
}

#[test]
fn t8_time_up_ends_it_with_the_element_off() {
    let short = Plan { longest: Span::from_mins(10), ..plan(Element::LiquorTank, 65.0) };
    assert_eq!(ends_off(&shipped("demo.toml"), &short, |_| ()), TuneError::Relay(RelayFailure::TimeUp));
}

#[test]
fn a_target_at_the_limit_is_refused_before_any_heat() {
    let mut heated = false;
    let (_, outcome) = tune::run_on(&shipped("demo.toml"), &plan(Element::LiquorTank, 89.0), |bench| {
        heated |= bench.outputs().element.is_some();
    });
    assert!(matches!(outcome, Err(TuneError::Plan(_))), "{outcome:?}");
    assert!(!heated);
}

#[test]
fn every_end_says_what_to_do() {
    let ends = [
        TuneError::Disarmed,
        TuneError::Tripped(Trip::StopLoop),
        TuneError::Relay(RelayFailure::TimeUp),
        TuneError::Relay(RelayFailure::TooManySwings),
        TuneError::Relay(RelayFailure::TooHot),
        TuneError::Relay(RelayFailure::TooSmall),
    ];
    let texts: Vec<String> = ends.iter().map(ToString::to_string).collect();
    for (index, text) in texts.iter().enumerate() {
        assert!(text.contains(';'), "{text}: a cause and a remedy");
        assert!(!texts[..index].contains(text), "{text} is said of two ends");
    }
}
