//! Prints the survey of heat-ups over random rigs: `cargo run --release -p copperhold-tests --example heat_survey -- [rigs] [worst] [first seed] [0: ours only]`.

use copperhold_core::heat::rules::{Brisk, IntegratingRule};
use copperhold_tests::bench_kettle::Bench;
use copperhold_tests::heat_bench::{Outcome, clairvoyant, heat_up, rank, survey, thermostat, told_the_truth};

fn main() {
    let arguments: Vec<u64> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let rigs = arguments.first().copied().unwrap_or(200);
    let worst = arguments.get(1).copied().unwrap_or(0) as usize;
    let from = arguments.get(2).copied().unwrap_or(0);
    let peers = if arguments.get(3) == Some(&0) { from..from } else { from..from + rigs };
    let seeds = from..from + rigs;
    let first = survey(seeds.clone(), |seed| heat_up(Bench::random(seed), seed, None));
    let second = survey(seeds.clone(), |seed| {
        let bench = Bench::random(seed);
        heat_up(bench, seed + 1_000_000, heat_up(bench, seed, None).learned)
    });
    let simc = survey(peers.clone(), |seed| told_the_truth(seed, IntegratingRule::Simc(Brisk::Tight)));
    let ziegler = survey(peers.clone(), |seed| told_the_truth(seed, IntegratingRule::ZieglerNicholsPi));
    let hysteresis = survey(peers, thermostat);
    let limit = survey(seeds.clone(), |seed| clairvoyant(Bench::random(seed), seed, 0.0));
    let over = survey(seeds, |seed| clairvoyant(Bench::random(seed), seed, 0.12));
    println!("heat-up | time ratio 50 % 95 % worst | overshoot K 50 % 95 % worst | hold rms K 50 % 95 % worst");
    for (name, outcomes) in [
        ("first", &first),
        ("second", &second),
        ("sees the bulk, aims at the target", &limit),
        ("sees the bulk, aims 0.12 K above", &over),
        ("SIMC, told k and L", &simc),
        ("Ziegler-Nichols PI, told", &ziegler),
        ("thermostat", &hysteresis),
    ] {
        if outcomes.is_empty() {
            continue;
        }
        let column = |of: fn(&Outcome) -> f64| {
            let values: Vec<f64> = outcomes.iter().map(of).collect();
            [0.5, 0.95, 1.0].map(|at| format!("{:.4}", rank(&values, at))).join(" ")
        };
        println!("{name} | {} | {} | {}", column(|o| o.ratio), column(|o| o.overshoot_k), column(|o| o.hold_rms_k));
        for by in [|o: &Outcome| o.ratio, |o: &Outcome| o.overshoot_k] {
            let mut order: Vec<usize> = (0..outcomes.len()).collect();
            order.sort_by(|a, b| by(&outcomes[*b]).total_cmp(&by(&outcomes[*a])));
            for index in order.into_iter().take(worst) {
                let (b, o) = (Bench::random(from + index as u64), outcomes[index]);
                println!(
                    "  rig {}: ratio {:.3} of {:.0} s, over {:.3}; {:.1} -> {:.1} C, k {:.4}, L {:.0} = {:.0}+{:.0}+{:.0}+{:.0}, noise {:.3}/{}, loss {:.2}; {:?}",
                    from + index as u64,
                    o.ratio,
                    o.least_s,
                    o.overshoot_k,
                    b.start_c,
                    b.target_c,
                    b.slope(),
                    b.lag(),
                    b.sheath_s,
                    b.mixing_s,
                    b.delay_s,
                    b.probe_s,
                    b.noise_k,
                    b.step_k,
                    b.loss_w(b.target_c) / b.power_w,
                    o.learned,
                );
            }
        }
    }
}
