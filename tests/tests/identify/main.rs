//! Climb and lag as the controller finds them, by relay and in a heat-up, on plants that `ode_solvers` integrates.

mod plant;

use copperhold_core::heat::relay::{Relay, RelayPlan};
use copperhold_core::heat::{Demand, HeatConfig, HeatControl};
use copperhold_core::units::{Kelvin, Slope, Span};
use copperhold_tests::bench_kettle::Bench;
use copperhold_tests::heat_bench::{celsius, duty, share};
use plant::Plant;
use rayon::prelude::*;

const TICK: Span = Span::from_millis(250);
/// Random rigs of the range in `Bench::random`.
const RIGS: u64 = 40;

/// One lag of 60 s in five shapes (sheath, mixing, delay, probe, parts of the mixing).
const SHAPES: [(&str, [f64; 4], usize); 5] = [
    ("nearly all in the mixing", [1.0, 57.0, 1.0, 1.0], 1),
    ("mixing in three parts", [3.0, 51.0, 3.0, 3.0], 3),
    ("nearly all a delay", [1.0, 1.0, 57.0, 1.0], 1),
    ("four alike", [15.0, 15.0, 15.0, 15.0], 1),
    ("sheath and probe", [28.0, 2.0, 2.0, 28.0], 1),
];

/// The shapes on two losses, and the random rigs.
fn plants() -> Vec<(String, Plant)> {
    let mut all = Vec::new();
    for (name, [sheath_s, mixing_s, delay_s, probe_s], parts) in SHAPES {
        for (loss, evaporation_w_per_kpa) in [("lid on", 3.0), ("open", 40.0)] {
            let bench = Bench { sheath_s, mixing_s, delay_s, probe_s, evaporation_w_per_kpa, ..Bench::common() };
            all.push((format!("{name}, {loss}"), Plant::new(bench, parts, 1)));
        }
    }
    for seed in 0..RIGS {
        all.push((format!("rig {seed}"), Plant::new(Bench::random(seed), 1 + (seed % 3) as usize, seed)));
    }
    all
}

/// Of the true ones.
struct Found {
    what: String,
    climb: f64,
    lag: f64,
    /// What is on its way at full power, the noise, and how far the bulk passed the target, K.
    under_way_k: f64,
    noise_k: f64,
    over_k: f64,
}

fn found(what: String, plant: &Plant, over_k: f64, climb: Slope, lag: Span) -> Found {
    let found = Found {
        what,
        climb: f64::from(climb.micro()) * 1e-6 / plant.bench().slope(),
        lag: lag.as_micros() as f64 * 1e-6 / plant.bench().lag(),
        under_way_k: plant.bench().slope() * plant.bench().lag(),
        noise_k: plant.bench().noise_k,
        over_k,
    };
    println!("{}: climb {:.3} lag {:.3}, {over_k:.2} K over; {:?}", found.what, found.climb, found.lag, plant.bench());
    found
}

fn by_relay((what, mut plant): (String, Plant)) -> Found {
    let bench = *plant.bench();
    // As `tune` makes it: the range of the noise.
    let hysteresis_k = (6.0 * bench.noise_k + bench.step_k).max(0.1);
    let hysteresis = Kelvin::from_milli((hysteresis_k * 1000.0) as i32);
    let ceiling = celsius(bench.target_c + 30.0);
    let plan = RelayPlan::new(celsius(bench.target_c), hysteresis, ceiling, Span::from_mins(24 * 60)).expect("a sound plan");
    let mut relay = Relay::new(plan);
    let mut over_k = f64::MIN;
    while relay.outcome().is_none() {
        let asked = relay.tick(TICK, celsius(plant.reading_c()));
        plant.run(share(asked));
        over_k = over_k.max(plant.bulk_c() - bench.target_c);
    }
    let result = relay.outcome().expect("it has ended").unwrap_or_else(|failure| panic!("{what}: {failure:?} {bench:?}"));
    found(what, &plant, over_k, result.kettle.climb, result.kettle.lag)
}

fn by_heat_up((what, mut plant): (String, Plant)) -> Found {
    let bench = *plant.bench();
    let bound = (2.0 * bench.slope()).min(0.3);
    let config = HeatConfig::new(Slope::from_micro((bound * 1e6) as i32)).expect("bound is in range");
    let mut control = HeatControl::new(config, None);
    let demand = Demand::Hold(celsius(bench.target_c));
    let end_s = 1.6 * (bench.target_c - bench.start_c) / bench.slope() + 20.0 * bench.lag() + 600.0;
    let (mut applied, mut over_k) = (0.0, f64::MIN);
    while plant.time_s < end_s {
        applied = share(control.tick(TICK, celsius(plant.reading_c()), duty(applied), demand));
        plant.run(applied);
        over_k = over_k.max(plant.bulk_c() - bench.target_c);
    }
    let learned = control.learned().unwrap_or_else(|| panic!("{what}: nothing learned, {bench:?}"));
    found(what, &plant, over_k, learned.slope(), learned.lag())
}

/// A tenth, for any shape of lag. Loss that grows with temperature bends ramp and coast a little: measured, up to 0.014 K, which is more than a
/// tenth only where less than 0.14 K is on its way; hence the 0.02 K.
#[test]
fn the_relay_finds_climb_and_lag_within_a_tenth() {
    let all: Vec<Found> = plants().into_par_iter().map(by_relay).collect();
    assert_eq!(all.len(), 10 + RIGS as usize);
    for Found { what, climb, lag, under_way_k, .. } in all {
        assert!((climb - 1.0).abs() <= 0.1, "{what}: climb {climb} of the true one");
        let off = (lag - 1.0).abs();
        assert!(off <= 0.1 || off * under_way_k <= 0.02, "{what}: lag {lag} of the true one");
    }
}

/// The controller's model is a chain of equal lags, fitted to a bend of a few minutes under noise, so a tenth is what such a fit gives. A lag that
/// is nearly all one part, or nearly all a delay, is at the edge of that model: the bounds are what was measured. Where less than the noise is on
/// its way, one heat-up does not show the lag: such rigs are counted, and judged by what they do.
#[test]
fn one_heat_up_teaches_climb_and_lag() {
    let all: Vec<Found> = plants().into_par_iter().map(by_heat_up).collect();
    assert_eq!(all.len(), 10 + RIGS as usize);
    let mut drowned = 0;
    for Found { what, climb, lag, under_way_k, noise_k, over_k } in all {
        let edge = what.starts_with("nearly all");
        let (least_climb, least_lag, most_lag) = if edge { (0.8, 0.55, 1.2) } else { (0.93, 0.9, 1.1) };
        if under_way_k < noise_k {
            drowned += 1;
        } else {
            assert!((least_climb..=1.07).contains(&climb), "{what}: climb {climb} of the true one");
            assert!((least_lag..=most_lag).contains(&lag), "{what}: lag {lag} of the true one");
        }
        assert!(over_k <= if edge { 0.6 } else { 0.25 }, "{what}: {over_k} K over");
    }
    assert_eq!(drowned, 1);
}
