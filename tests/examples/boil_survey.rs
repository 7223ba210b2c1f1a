//! Prints how random kettles come to the boil: `cargo run --release -p copperhold-tests --example boil_survey -- KETTLES SEED`.

use copperhold_tests::boil_bench::Wort;

fn main() {
    let mut arguments = std::env::args().skip(1).map(|a| a.parse::<u64>().unwrap_or_default());
    let (kettles, seed, only) = (arguments.next().unwrap_or(50), arguments.next().unwrap_or(1), arguments.next());
    println!(
        "kettle | W, L, fill, probe off by K, loss share | boils s, told after s, early K | foam, over | rolling after s, boiling"
    );
    for n in only.map_or(0..kettles, |n| n..n + 1) {
        let wort = Wort::random(seed, n);
        let mut next_s = 0.0;
        let r = wort.bring_to_boil(|bench| {
            if only.is_some() && bench.t_s() >= next_s {
                next_s = bench.t_s() + 15.0;
                let supervisor = bench.controller.supervisor();
                let truth = bench.brewery.truth();
                println!(
                    "{:6.0} s: {:.2} read {:?} boils {:.2}, {:?}, foam {:.2}, {:?}",
                    bench.t_s(),
                    truth.bulk_c.boil_kettle,
                    supervisor.status().readings.boil_kettle,
                    bench.brewery.boiling_c(),
                    supervisor.boil().map(|boil| boil.phase()),
                    truth.foam,
                    supervisor.heat(copperhold_core::vessel::Element::BoilKettle).and_then(|heat| heat.learned()),
                );
            }
        });
        let kettle = &wort.rig.boil_kettle;
        println!(
            "{n:3} | {:5.0} {:4.1} {:.2} {:+.2} {:.2} | {:5.0} {:+6.0} {:.2} | {:.2} {} | {:5.0} {} {:?}",
            kettle.element.map_or(0.0, |element| element.power_w),
            wort.litres,
            wort.litres / kettle.capacity_l,
            kettle.probe.offset_k,
            r.loss_share,
            r.boils_s,
            r.told_s - r.boils_s,
            r.early_k,
            r.foam,
            r.boiled_over,
            r.rolling_s - r.boils_s,
            r.boiling_then,
            r.trip,
        );
    }
}
