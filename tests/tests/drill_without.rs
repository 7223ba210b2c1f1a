//! What each detector is worth: its sign is kept from the controller, and the row it holds must then fail. The row passes with the sign.
//!
//! Unasked heat and no rise judge by the readings themselves; `drill_campaign.rs` hides from them what they look for.

use copperhold::drill::scene::{Phase, scene};
use copperhold::drill::{Fault, Kind, Sign};
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
const ROWS: [(Kind, Phase, Sign); 14] = [
    (Kind::ContactorStuck, Phase::Hold, Sign::Contact),
    (Kind::ContactorOpen, Phase::HeatUp, Sign::Contact),
    (Kind::DryWithLevel, Phase::HeatUp, Sign::Level),
    (Kind::RelayShortedWithCurrent, Phase::Hold, Sign::Current),
    (Kind::ProbeOpen, Phase::HeatUp, Sign::ProbeFault),
    (Kind::ProbeShorted, Phase::Hold, Sign::ProbeFault),
    (Kind::KeyOff, Phase::HeatUp, Sign::Key),
    (Kind::StopPressed, Phase::HeatUp, Sign::StopLoop),
    (Kind::StopPressed, Phase::NearBoil, Sign::StopLoop),
    (Kind::ClockStops, Phase::HeatUp, Sign::Clock),
    (Kind::ClockStops, Phase::NearBoil, Sign::Clock),
    (Kind::ClockJumps, Phase::HeatUp, Sign::Clock),
    (Kind::ElementOpenWithCurrent, Phase::HeatUp, Sign::Current),
    (Kind::Nobody, Phase::Hold, Sign::Absence),
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

/// A share of full power by hand on the tank, with a fault, until something trips, the water is 3 K past its limit, or for three hours.
fn by_hand(rig: &RigFile, share: u32, kind: Kind, hidden: Option<Sign>) -> (Option<Trip>, f64) {
    let scene = scene(rig, Phase::Hold, 1).expect("a shipped rig is accepted");
    let fault = Fault::new(kind, Phase::Hold.element(), scene.t_s(), 0.0, rig.rig.site.air_c).hiding(hidden);
    let mut bench = scene.tampered(fault);
    let asked = bench.controller.supervisor_mut().demand(Vessel::LiquorTank, Demand::Percent(Duty::from_basis_points(share)));
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
fn c4_without_the_fall_a_probe_that_hangs_out_takes_the_water_past_its_limit_at_half_power() {
    for rig in &rigs() {
        let (trip, over_k) = by_hand(rig, 4_500, Kind::ProbeOut, None);
        assert_eq!(trip, Some(Trip::Fell(Vessel::LiquorTank)), "{}", rig.rig.name);
        assert!(over_k < 0.0, "{}: {over_k} K past the limit with the detector", rig.rig.name);
        // Below half power no rise is never judged.
        let (trip, over_k) = by_hand(rig, 4_500, Kind::ProbeOut, Some(Sign::Fall));
        assert_eq!(trip, None, "{}", rig.rig.name);
        assert!(over_k > 2.0, "{}: {over_k} K past the limit without it", rig.rig.name);
    }
}

#[test]
fn c4_without_the_limit_full_power_by_hand_takes_the_water_further() {
    for rig in &rigs() {
        let (trip, over_k) = by_hand(rig, 10_000, Kind::None, None);
        assert_eq!(trip, Some(Trip::OverTemperature(Vessel::LiquorTank)), "{}", rig.rig.name);
        assert!(over_k <= 2.0, "{}: {over_k} K past the limit with the detector", rig.rig.name);
        // A reading that stands still under full power is found by no rise, a good kelvin later.
        let (trip, without_k) = by_hand(rig, 10_000, Kind::None, Some(Sign::Limit));
        assert_ne!(trip, Some(Trip::OverTemperature(Vessel::LiquorTank)), "{}", rig.rig.name);
        assert!(without_k > over_k + 1.0, "{}: {over_k} K past the limit with it, {without_k} K without, {trip:?}", rig.rig.name);
    }
}
