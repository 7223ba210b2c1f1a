//! A flow meter behind the mash pump on the simulated brewery: H15 and H16 with one, and days that must go on as without.

use copperhold::bench::Bench;
use copperhold::files;
use copperhold::plant::FlowShare;
use copperhold::rehearse::Rehearsal;
use copperhold_core::event::Event;
use copperhold_core::guard::Advice;
use copperhold_core::heat::Demand;
use copperhold_core::vessel::Vessel;
use copperhold_tests::mash_bench::{MashRig, rest};
use std::path::Path;

/// A mash that flows, held for a while; the tank is sent higher next. How fast the pump is, as a share.
fn mashing(n: u64, share: f64) -> Bench {
    let mut rig = MashRig::random(1, n);
    rig.rig.pumps.flow_meter = true;
    let mut bench = rig.bench();
    flow(&mut bench, share);
    rest(&mut bench, 64.0, 20.0, |_| ());
    assert_eq!(advice(&mut bench), [], "a mash that flows gets no advice");
    hold(&mut bench, 70.0);
    bench
}

fn flow(bench: &mut Bench, mash: f64) {
    bench.brewery.set_flow(FlowShare { mash, ..bench.brewery.flow() });
}

fn hold(bench: &mut Bench, c: f64) {
    let demand = Demand::Hold(copperhold::fit::celsius(c));
    bench.controller.supervisor_mut().demand(Vessel::MashTun, demand).expect("it is armed and in range");
}

fn advice(bench: &mut Bench) -> Vec<Advice> {
    let log = bench.controller.supervisor_mut().log();
    let advised = |event| if let Event::Advised(advice) = event { Some(advice) } else { None };
    std::iter::from_fn(|| log.take()).filter_map(|entry| advised(entry.event)).collect()
}

#[test]
fn h15_on_random_mashes_the_element_is_off_a_second_after_the_flow_and_the_pump_within_five() {
    let (mut element_s, mut pump_s) = (0.0_f64, 0.0_f64);
    for n in 0..20 {
        let mut bench = mashing(n, 1.0);
        // Until the pump and the element run.
        bench.run(60.0, |_| ());
        assert!(bench.outputs().pumps.mash && bench.outputs().grant.is_some(), "mash {n} is on its way");
        flow(&mut bench, 0.0);
        let stopped_s = bench.t_s();
        let (mut heated_s, mut pumped_s) = (stopped_s, stopped_s);
        bench.run(120.0, |bench| {
            let truth = bench.brewery.truth();
            if truth.element_w.liquor_tank > 1.0 {
                heated_s = bench.t_s();
            }
            if bench.outputs().pumps.mash {
                pumped_s = bench.t_s();
            }
        });
        element_s = element_s.max(heated_s - stopped_s);
        pump_s = pump_s.max(pumped_s - stopped_s);
        assert_eq!(advice(&mut bench), [Advice::NoFlow], "mash {n}");
        assert!(bench.outputs().contactor && bench.controller.supervisor().guard().latch().is_none(), "held, not tripped");
        // A person clears it and presses the button.
        flow(&mut bench, 1.0);
        bench.switches.acknowledge = true;
        bench.run(0.5, |_| ());
        bench.switches.acknowledge = false;
        bench.run(30.0, |_| ());
        assert!(bench.outputs().pumps.mash && bench.outputs().grant.is_some(), "mash {n} goes on");
        assert_eq!(advice(&mut bench), []);
    }
    println!("20 mashes: element off after {element_s:.2} s at most, pump after {pump_s:.2} s");
    assert!(element_s <= 1.5 && pump_s <= 5.5);
}

#[test]
fn h16_a_mash_that_was_let_out_stops_its_pump_and_half_a_flow_is_a_flow() {
    let mut bench = mashing(3, 0.5);
    bench.run(60.0, |_| ());
    assert!(bench.outputs().pumps.mash);
    bench.brewery.empty(Vessel::MashTun);
    bench.run(6.0, |_| ());
    assert!(!bench.outputs().pumps.mash && bench.outputs().element.is_none());
    assert_eq!(advice(&mut bench), [Advice::NoFlow]);
}

/// Steps, their times, trips and energy of a rehearsed day.
fn day(meter: bool, name: &str) -> String {
    let rigs = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim/rigs");
    let mut rig = files::load_rig(&rigs.join(name)).expect("a shipped rig");
    rig.rig.pumps.flow_meter = meter;
    let day =
        Rehearsal::new(&rig, &files::demo_sheet().expect("the demo sheet"), 1).expect("it starts").run(|_| ()).expect("it ends");
    assert!(day.steps.len() > 5 && day.trips.is_empty());
    format!("{:?} {:?}", day.steps, day.advice)
}

#[test]
fn a_day_with_priming_mashing_and_a_thin_run_off_is_the_same_with_a_meter() {
    assert_eq!(day(true, "demo.toml"), day(false, "demo.toml"));
}

#[test]
fn a_rig_file_declares_it() {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join("metered.toml");
    let text = "[liquor_tank]\nelement = \"5500 W\"\n[mash_tun]\n[pumps]\nflow_meter = true\n";
    std::fs::write(&path, text).expect("it can be written");
    assert!(files::load_rig(&path).expect("it reads").rig.pumps.flow_meter);
    std::fs::write(&path, text.replace("true", "false")).expect("it can be written");
    assert!(!files::load_rig(&path).expect("it reads").rig.pumps.flow_meter);
}
