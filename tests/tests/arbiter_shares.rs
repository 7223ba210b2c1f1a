//! Two vessels that want heat at once, on the simulated brewery: the tank holds while the kettle comes up.

use copperhold::bench::Bench;
use copperhold::fit;
use copperhold::rig::Rig;
use copperhold_core::fast::Selector;
use copperhold_core::heat::Demand;
use copperhold_core::supervisor::Knowledge;
use copperhold_core::vessel::{Element, Vessel};
use copperhold_tests::mash_bench::file;

/// What happened while both wanted heat.
#[derive(Debug, Default)]
struct Shared {
    /// Furthest from 76 C of the tank's bulk, K.
    tank_error_k: f64,
    /// When the kettle was within 0.3 K of its target, s.
    kettle_there_s: Option<f64>,
    changeovers_per_h: f64,
}

/// A rig whose tank holds 30 L and whose kettle has 20 L, each with its power.
fn rig(tank_w: f64, kettle_w: f64, lid: bool) -> Rig {
    let mut rig = Rig::example();
    rig.liquor_tank.lid = lid;
    for (vessel, power_w) in [(&mut rig.liquor_tank, tank_w), (&mut rig.boil_kettle, kettle_w)] {
        if let Some(element) = &mut vessel.element {
            element.power_w = power_w;
        }
    }
    rig
}

fn hold(bench: &mut Bench, vessel: Vessel, at_c: f64) {
    bench.controller.supervisor_mut().demand(vessel, Demand::Hold(fit::celsius(at_c))).expect("a target in range");
}

/// The tank settles at 76 C, then the kettle is asked for 90 C.
fn settled(rig: &Rig, kettle_c: f64) -> Bench {
    let mut bench = Bench::new(&file(rig), 1, Knowledge::default()).expect("a rig within range");
    bench.brewery.preset(Vessel::LiquorTank, 30.0, 60.0);
    bench.brewery.preset(Vessel::BoilKettle, 20.0, kettle_c);
    bench.arm();
    hold(&mut bench, Vessel::LiquorTank, 76.0);
    bench.run(3_000.0, |_| ());
    bench
}

fn share(bench: &mut Bench, kettle_to_c: f64, seconds: f64) -> Shared {
    hold(bench, Vessel::BoilKettle, kettle_to_c);
    let began_s = bench.t_s();
    let mut shared = Shared::default();
    let (mut last, mut changes) = (bench.outputs().grant, 0_u32);
    bench.run(seconds, |bench| {
        let truth = bench.brewery.truth().bulk_c;
        shared.tank_error_k = shared.tank_error_k.max((truth.liquor_tank - 76.0).abs());
        if shared.kettle_there_s.is_none() && truth.boil_kettle >= kettle_to_c - 0.3 {
            shared.kettle_there_s = Some(bench.t_s() - began_s);
        }
        // A changeover is a grant to the other element than the last one.
        if let Some(grant) = bench.outputs().grant
            && Some(grant) != last
        {
            changes += u32::from(last.is_some());
            last = Some(grant);
        }
    });
    shared.changeovers_per_h = f64::from(changes) * 3600.0 / seconds;
    assert_eq!(bench.both_on_ticks(), 0);
    assert_eq!(bench.controller.supervisor().guard().latch(), None, "{shared:?}");
    shared
}

#[test]
fn the_kettle_comes_up_while_the_tank_holds_within_half_a_kelvin() {
    for (tank_w, kettle_w, lid) in [
        (5_500.0, 5_500.0, true),
        (3_000.0, 3_000.0, true),
        (5_500.0, 3_500.0, false),
        (2_000.0, 5_500.0, true),
        (8_000.0, 6_000.0, false),
    ] {
        let rig = rig(tank_w, kettle_w, lid);
        let mut bench = settled(&rig, 60.0);
        let kettle_c = bench.brewery.truth().bulk_c.boil_kettle;
        let least_s = bench.brewery.least_seconds(Element::BoilKettle, kettle_c, 90.0);
        let tank_share = bench.brewery.standing_loss_w(Element::LiquorTank, 76.0) / tank_w;
        let shared = share(&mut bench, 90.0, 3_600.0);
        let which = format!("{tank_w} W, {kettle_w} W, lid {lid}: {shared:?}, alone {least_s:.0} s, tank's share {tank_share:.3}");
        assert!(shared.tank_error_k <= 0.5, "{which}");
        let there_s = shared.kettle_there_s.unwrap_or(f64::INFINITY);
        // The kettle gets all that the tank leaves, less the changeovers.
        assert!(there_s <= least_s / (1.0 - tank_share) * 1.1 + 60.0, "{which}");
        assert!(shared.changeovers_per_h <= 150.0, "{which}");
        println!("{which}");
    }
}

#[test]
fn without_enough_power_the_status_says_who_yields() {
    // A kettle of 60 L on 2 kW with its lid off needs nearly all of it near the boil; the tank holds all the same.
    let mut rig = rig(5_500.0, 2_000.0, false);
    (rig.boil_kettle.capacity_l, rig.boil_kettle.diameter_m) = (80.0, 0.46);
    rig.boil_kettle.element_top_l = 12.0;
    let mut bench = Bench::new(&file(&rig), 1, Knowledge::default()).expect("a rig within range");
    bench.brewery.preset(Vessel::LiquorTank, 30.0, 60.0);
    bench.brewery.preset(Vessel::BoilKettle, 60.0, 80.0);
    bench.arm();
    hold(&mut bench, Vessel::LiquorTank, 76.0);
    bench.run(3_000.0, |_| ());
    let shared = share(&mut bench, 95.0, 3_600.0);
    assert!(shared.tank_error_k <= 0.5 && shared.kettle_there_s.is_none(), "{shared:?}");
    let missed = bench.controller.supervisor().status().missed;
    assert!(missed.boil_kettle.basis_points() > 200, "the kettle misses {missed:?}");
    assert!(missed.liquor_tank < missed.boil_kettle, "{missed:?}");
}

#[test]
fn the_selector_overrides_the_arbiter_both_ways() {
    let rig = rig(5_500.0, 5_500.0, true);
    for only in Element::ALL {
        let mut bench = settled(&rig, 60.0);
        bench.switches.selector = Selector::Only(only);
        hold(&mut bench, Vessel::BoilKettle, 90.0);
        let (mut granted, mut other_wants_more) = (0, 0);
        bench.run(600.0, |bench| {
            let wanted = bench.controller.supervisor().status().wanted;
            assert!(bench.outputs().grant.is_none_or(|grant| grant == only), "{:?}", bench.outputs().grant);
            if bench.outputs().grant == Some(only) {
                granted += 1;
                other_wants_more +=
                    u32::from(Element::ALL.iter().any(|&other| other != only && wanted.get(other) > wanted.get(only)));
            }
        });
        assert!(granted > 0, "{only:?} never had the element");
        // The kettle wants full power all along, far more than the tank's hold.
        assert!(only == Element::BoilKettle || other_wants_more > 0, "the kettle never wanted more");
        let kettle_c = bench.brewery.truth().bulk_c.boil_kettle;
        assert_eq!(kettle_c > 80.0, only == Element::BoilKettle, "{only:?}: the kettle is at {kettle_c}");
    }
}
