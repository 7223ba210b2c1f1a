//! Prints how random mashes reach and keep their rests: `cargo run --release -p copperhold-tests --example mash_survey -- RIGS SEED [TRACE]`.

use copperhold_tests::mash_bench::{MashRig, rest};

fn main() {
    let mut arguments = std::env::args().skip(1).map(|a| a.parse::<u64>().unwrap_or_default());
    let (rigs, seed, only) = (arguments.next().unwrap_or(50), arguments.next().unwrap_or(1), arguments.next());
    println!(
        "rig rest | enters s, least s by heat, by coil, ratio to it | overshoot K | left s | late K | learned: offset K, time s, ratio"
    );
    for n in only.map_or(0..rigs, |n| n..n + 1) {
        let rig = MashRig::random(seed, n);
        let mut bench = rig.bench();
        for (index, at_c) in rig.rests_c.into_iter().enumerate() {
            let r = rest(&mut bench, at_c, 75.0, |bench| {
                if only.is_some() && ((bench.t_s() * 4.0).round() as u64).is_multiple_of(120) {
                    let truth = bench.brewery.truth();
                    let status = bench.controller.supervisor().status();
                    let heat = bench.controller.supervisor().heat(copperhold_core::vessel::Element::LiquorTank);
                    println!(
                        "{:7.0} s: mash {:6.2} of {at_c:5.2}, tank {:6.2} of {:?}, wanted {:?} {:?} {:?}",
                        bench.t_s(),
                        truth.bulk_c.mash_tun,
                        truth.bulk_c.liquor_tank,
                        status.setpoints.liquor_tank,
                        status.wanted.liquor_tank,
                        heat.map(|h| h.phase()),
                        heat.map(|h| (h.learned(), h.settled())),
                    );
                }
            });
            let knows = bench.controller.supervisor().cascade();
            println!(
                "{n:3} {index} | {:6.0} {:6.0} {:6.0} {:6.2} | {:6.3} | {:6.0} | {:6.3} | {:6.3} {:5} {:6.3}",
                r.enters_s,
                r.least_s,
                r.coil_least_s,
                r.enters_s / r.coil_least_s,
                r.overshoot_k,
                r.left_s,
                r.late_error_k,
                f64::from(knows.offset().milli()) * 1e-3,
                knows.time_constant().as_secs(),
                f64::from(knows.ratio().to_bits()) / 65_536.0,
            );
        }
    }
}
