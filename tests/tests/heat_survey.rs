//! The heat control over random rigs, and beside it what else there is. The whole table: `cargo run --release --example heat_survey`.

use copperhold_core::heat::rules::{Brisk, IntegratingRule};
use copperhold_tests::bench_kettle::Bench;
use copperhold_tests::heat_bench::{Outcome, heat_up, rank, survey, thermostat, told_the_truth};

const RIGS: u64 = 40;

fn ranks(outcomes: &[Outcome], of: fn(&Outcome) -> f64) -> [f64; 3] {
    let values: Vec<f64> = outcomes.iter().map(of).collect();
    [0.5, 0.95, 1.0].map(|at| rank(&values, at))
}

#[test]
fn the_first_heat_up_of_an_unknown_rig_is_fast_and_does_not_overshoot() {
    let first = survey(0..RIGS, |seed| heat_up(Bench::random(seed), seed, None));
    let [ratio, ..] = ranks(&first, |o| o.ratio);
    let [over, over_95, over_worst] = ranks(&first, |o| o.overshoot_k);
    let [rms, ..] = ranks(&first, |o| o.hold_rms_k);
    assert!(ratio <= 1.005, "time ratio {ratio:.4}");
    assert!(over <= 0.05 && over_95 <= 0.12 && over_worst <= 0.25, "overshoot {over:.3} {over_95:.3} {over_worst:.3}");
    assert!(rms <= 0.03, "hold {rms:.3}");

    let rivals = [
        ("thermostat", survey(0..RIGS, thermostat)),
        ("SIMC", survey(0..RIGS, |seed| told_the_truth(seed, IntegratingRule::Simc(Brisk::Tight)))),
        ("Ziegler-Nichols", survey(0..RIGS, |seed| told_the_truth(seed, IntegratingRule::ZieglerNicholsPi))),
    ];
    for (name, outcomes) in rivals {
        let [theirs, theirs_95, _] = ranks(&outcomes, |o| o.ratio);
        let [their_over, _, their_worst] = ranks(&outcomes, |o| o.overshoot_k);
        let [_, ours_95, _] = ranks(&first, |o| o.ratio);
        assert!(ratio < theirs && ours_95 < theirs_95, "{name}: {theirs:.3} {theirs_95:.3}");
        assert!(over < their_over && over_worst < their_worst, "{name}: {their_over:.3} {their_worst:.3}");
    }
}

#[test]
fn the_second_heat_up_starts_from_what_the_first_taught() {
    let second = survey(0..RIGS, |seed| {
        let bench = Bench::random(seed);
        heat_up(bench, seed + 1_000_000, heat_up(bench, seed, None).learned)
    });
    let [ratio, ..] = ranks(&second, |o| o.ratio);
    let [over, over_95, over_worst] = ranks(&second, |o| o.overshoot_k);
    assert!(ratio <= 1.005, "time ratio {ratio:.4}");
    assert!(over <= 0.05 && over_95 <= 0.12 && over_worst <= 0.25, "overshoot {over:.3} {over_95:.3} {over_worst:.3}");
}
