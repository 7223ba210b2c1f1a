//! What each detector is worth: its sign is kept from the controller, and the row it holds must then fail. The row passes with the sign.
//!
//! Unasked heat and no rise judge by the readings themselves; `drill_campaign.rs` hides from them what they look for. A clock that misbehaves is
//! no sign that can be hidden: the model of the interlock has mutants without it. `Fell` has no row to itself: what falls is found by
//! no rise as well, later.

use copperhold::drill::{Fault, Kind, Sign};
use copperhold::drill::scene::{Phase, scene};
use copperhold::drill::{Outcome, drill_without};
use copperhold::files::{self, RigFile};
use copperhold_core::guard::Trip;
use copperhold_core::heat::Demand;
use copperhold_core::units::Duty;
use copperhold_core::vessel::Vessel;
use rayon::prelude::*;
use std::path::Path;

fn rigs() -> Vec<RigFile> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim/rigs");
    let load = |name| files::load_rig(&folder.join(name)).unwrap_or_else(|why| panic!("{}", why.render(false)));
    ["demo.toml", "small-230v.toml", "large-240v.toml"].map(load).into()
}

/// Fault, phase, and the sign that its detector goes by.
const ROWS: [(Kind, Phase, Sign); 9] = [
    (Kind::ContactorStuck, Phase::Hold, Sign::Contact),
    (Kind::ContactorOpen, Phase::HeatUp, Sign::Contact),
    (Kind::DryWithLevel, Phase::HeatUp, Sign::Level),
    (Kind::RelayShortedWithCurrent, Phase::Hold, Sign::Current),
    (Kind::ProbeOpen, Phase::HeatUp, Sign::ProbeFault),
    (Kind::ProbeShorted, Phase::Hold, Sign::ProbeFault),
    (Kind::KeyOff, Phase::HeatUp, Sign::Key),
    (Kind::StopPressed, Phase::HeatUp, Sign::StopLoop),
    (Kind::StopPressed, Phase::NearBoil, Sign::StopLoop),
];

#[test]
fn c4_a_row_fails_when_the_sign_of_its_detector_is_hidden() {
    rigs().par_iter().for_each(|rig| {
        for (kind, phase, sign) in ROWS {
            let scene = scene(rig, phase, 1).expect("a shipped rig is accepted");
            let of = |hidden| -> Outcome { drill_without(rig, &scene, phase, kind, 1, hidden) };
            let (with, without) = (of(None), of(Some(sign)));
            assert!(with.injected && with.passed, "{kind:?} in {phase:?}: {with:?}");
            assert!(without.injected && !without.passed, "{kind:?} in {phase:?} without {sign:?}: {without:?}");
        }
    });
}

/// Full power by hand on the tank until something trips or the water is 3 K past its limit.
fn full_power(rig: &RigFile, hidden: Option<Sign>) -> (Option<Trip>, f64) {
    let scene = scene(rig, Phase::Hold, 1).expect("a shipped rig is accepted");
    let fault = Fault::new(Kind::None, Phase::Hold.element(), 0.0, 0.0, rig.rig.site.air_c).hiding(hidden);
    let mut bench = scene.tampered(fault);
    let asked = bench.controller.supervisor_mut().demand(Vessel::LiquorTank, Demand::Percent(Duty::from_basis_points(10_000)));
    assert_eq!(asked, Ok(()));
    let limit_c = f64::from(bench.controller.supervisor().settings().limit(Vessel::LiquorTank).milli()) * 1e-3;
    let (end_s, mut hottest_c) = (bench.t_s() + 3.0 * 3_600.0, 0.0_f64);
    while bench.t_s() < end_s && bench.controller.supervisor().guard().latch().is_none() && hottest_c < limit_c + 3.0 {
        bench.advance();
        hottest_c = hottest_c.max(*bench.brewery.bulk_c().get(Vessel::LiquorTank));
    }
    (bench.controller.supervisor().guard().latch().map(|latch| latch.trip), hottest_c - limit_c)
}

#[test]
fn c4_without_the_limit_full_power_by_hand_takes_the_water_further() {
    for rig in &rigs() {
        let (trip, over_k) = full_power(rig, None);
        assert_eq!(trip, Some(Trip::OverTemperature(Vessel::LiquorTank)), "{}", rig.rig.name);
        assert!(over_k <= 2.0, "{}: {over_k} K past the limit with the detector", rig.rig.name);
        // A reading that stands still under full power is found by no rise, a good kelvin later.
        let (trip, without_k) = full_power(rig, Some(Sign::Limit));
        assert_ne!(trip, Some(Trip::OverTemperature(Vessel::LiquorTank)), "{}", rig.rig.name);
        assert!(without_k > over_k + 1.0, "{}: {over_k} K past the limit with it, {without_k} K without, {trip:?}", rig.rig.name);
    }
}
