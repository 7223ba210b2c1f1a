//! Faults on purpose: every fault, every phase of the day, on the three shipped rigs and on breweries drawn at random, against the real
//! controller; and what each detector is worth, shown by hiding from it what it looks for.

use copperhold::bench::{Bench, Tamper};
use copperhold::drill::scene::{Phase, scene};
use copperhold::drill::{self, Expected, Fault, Kind, Outcome, PAST_LIMIT_K, SHEATH_LIMIT_C};
use copperhold::files::{self, RigFile};
use copperhold::plant::{Brewery, Drive};
use copperhold_core::fast::Outputs;
use copperhold_core::guard::Trip;
use copperhold_core::probe::Reading;
use copperhold_core::units::{Celsius, Kelvin};
use copperhold_core::vessel::{Element, PerVessel, Vessel};
use copperhold_tests::trips;
use rayon::prelude::*;
use std::collections::BTreeSet;
use std::path::Path;

fn rigs() -> Vec<RigFile> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim/rigs");
    let load = |name| files::load_rig(&folder.join(name)).unwrap_or_else(|why| panic!("{}", why.render(false)));
    ["demo.toml", "small-230v.toml", "large-240v.toml"].map(load).into()
}

/// A bench at a phase with something in between.
fn bench<T: Tamper>(rig: &RigFile, phase: Phase, tamper: impl FnOnce(f64) -> T) -> Bench<T> {
    let bench = scene(rig, phase, 1).expect("a shipped rig is accepted");
    let t_s = bench.t_s();
    bench.tampered(tamper(t_s))
}

fn first_trip<T: Tamper>(bench: &Bench<T>) -> Option<Trip> {
    bench.controller.supervisor().guard().latch().map(|latch| latch.trip)
}

/// A trip that no fault of the campaign leads to: the mash past its limit.
struct HotMash;

impl Tamper for HotMash {
    fn readings(&mut self, _: f64, readings: &mut PerVessel<Reading>) {
        readings.mash_tun = readings.mash_tun.map(|c| c.plus(Kelvin::from_milli(60_000)));
    }
}

fn rare(rig: &RigFile, phase: Phase, seconds: f64) -> Option<Trip> {
    let mut bench = bench(rig, phase, |_| HotMash);
    bench.run(seconds, |_| ());
    assert_eq!(bench.both_on_ticks(), 0);
    first_trip(&bench)
}

/// Three shipped rigs with one seed, and breweries drawn at random; `COPPERHOLD_LONG=yes` draws two hundred.
fn campaign() -> (Vec<RigFile>, Vec<Outcome>) {
    let long = std::env::var("COPPERHOLD_LONG").is_ok_and(|long| long == "yes");
    let drawn = (0..if long { 200 } else { 8 }).map(|number| (drill::draw::rig(number, 1), u64::from(number)));
    let jobs: Vec<(RigFile, u64)> = rigs().into_iter().map(|rig| (rig, 1)).chain(drawn).collect();
    let outcomes = jobs.par_iter().flat_map_iter(|(rig, seed)| drill::all_of(rig, *seed).expect("the controller accepts it"));
    let outcomes = outcomes.collect();
    (jobs.into_iter().map(|(rig, _)| rig).collect(), outcomes)
}

#[test]
fn t10_every_fault_is_met_as_expected_and_every_detector_fires() {
    let (rigs, outcomes) = campaign();
    // C3: a drill whose fault never took effect shows nothing.
    for outcome in &outcomes {
        assert!(outcome.injected, "not injected: {outcome:?}");
        assert!(outcome.passed, "{outcome:?}");
    }
    for rig in &rigs {
        for kind in Kind::ALL {
            let phases = outcomes.iter().filter(|o| o.kind == kind && o.rig == rig.rig.name).count();
            let least = match kind {
                Kind::CoilFlowStops | Kind::CoilFlowStopsWithMeter => 1,
                Kind::Nobody => 2,
                Kind::FullPowerByHand => 3,
                _ => 6,
            };
            assert!(phases >= least, "{kind:?} on {} in {phases} phases", rig.rig.name);
        }
        let quiet = outcomes.iter().filter(|o| o.kind == Kind::None && o.rig == rig.rig.name).count();
        assert_eq!(quiet, Phase::ALL.len(), "and each phase without a fault");
    }
    figures_hold(&outcomes);

    let mut fired: BTreeSet<String> = outcomes.iter().filter_map(|o| o.trip).map(|(trip, _)| trips::name_of(trip)).collect();
    let hot = rare(&rigs[0], Phase::Mash, 30.0);
    assert_eq!(hot, Some(Trip::OverTemperature(Vessel::MashTun)), "the limit of a vessel that no detector on energy watches");
    fired.extend(hot.map(trips::name_of));
    let silent: Vec<String> = trips::variants().difference(&fired).cloned().collect();
    // The simulated board has no pads: `image/campaign/pads.rs` holds the flashed one's.
    assert_eq!(silent, ["Astray"], "only what no drill can reach never fired");
}

/// Breweries in which each vessel's thermometer, moved to the other, taught it a lag of minutes and a climb that no element gives, so that little was
/// heated and much was explained: it took a tenth longer than it may until a detector saw it.
#[test]
fn h10_probes_swapped_in_a_changeover_are_no_lesson() {
    let drilled: Vec<Outcome> = [26, 66, 125, 135]
        .into_par_iter()
        .map(|number| {
            let rig = drill::draw::rig(number, 1);
            let scene = scene(&rig, Phase::Changeover, u64::from(number)).expect("the controller accepts it");
            drill::drill(&rig, &scene, Phase::Changeover, Kind::ProbesSwapped, u64::from(number))
        })
        .collect();
    for outcome in drilled {
        let (trip, within_s) = (outcome.trip.as_ref(), outcome.expected.within_s().expect("a limit"));
        assert!(trip.is_some_and(|(_, after_s)| *after_s < 0.8 * within_s), "{trip:?}, {within_s}");
    }
}

/// The figures that were promised, each by itself: `passed` holds them too, but a reader should find them.
fn figures_hold(outcomes: &[Outcome]) {
    let of = |kinds: &'static [Kind]| outcomes.iter().filter(move |o| kinds.contains(&o.kind));
    assert_eq!(outcomes.iter().filter(|o| o.is_unsafe()).count(), 0, "unsafe outcomes where software must act");
    for o in of(&[Kind::RelayShorted, Kind::RelayHalfShorted, Kind::RelayShortedWithCurrent]) {
        assert!(o.past_limit_k <= PAST_LIMIT_K, "{} K past a limit: {o:?}", o.past_limit_k);
        // Half of the power may be no more than a mash loses: the water then stays where it was sent.
        let harmless = matches!(o.expected, Expected::Harmless { .. });
        assert!(o.trip.is_some() || harmless || matches!(o.phase, Phase::NearBoil | Phase::Boil), "not detected: {o:?}");
    }
    for o in of(&[Kind::ProbeOut, Kind::DryWithLevel]) {
        assert!(o.sheath_c < SHEATH_LIMIT_C, "a sheath at {} degrees Celsius: {o:?}", o.sheath_c);
        assert!(o.trip.is_some() || matches!(o.phase, Phase::Idle | Phase::Boil), "not detected: {o:?}");
    }
    for o in outcomes {
        if let (Some(within_s), Some(took_s)) = (o.expected.within_s(), o.took_s()) {
            assert!(took_s <= within_s, "{took_s} s of {within_s} s: {o:?}");
        }
    }
    // Where temperatures alone cannot show it, they cannot: the exception would hide something if it were never needed.
    assert!(of(&[Kind::Dry]).any(|o| o.sheath_c >= SHEATH_LIMIT_C), "a dry element that nobody tells of glows");
}

/// A fault, with the element's thermometer showing only this share of what happens to its vessel from then on.
struct Veiled {
    fault: Fault,
    share: f64,
    start: Option<Celsius>,
}

impl Tamper for Veiled {
    fn readings(&mut self, t_s: f64, readings: &mut PerVessel<Reading>) {
        if t_s < self.fault.at_s {
            return;
        }
        let reading = readings.get_mut(self.fault.element.vessel());
        let Ok(truth) = *reading else { return };
        let start = *self.start.get_or_insert(truth);
        let shown = f64::from(truth.above(start).milli()) * self.share;
        *reading = Ok(start.plus(Kelvin::from_milli(shown as i32)));
    }

    fn power(&mut self, t_s: f64, outputs: &Outputs, drive: &mut Drive, brewery: &mut Brewery) {
        self.fault.power(t_s, outputs, drive, brewery);
    }
}

/// Runs until the first trip, or until the tank is 3 K past its limit, at most five hours: after six, being alone trips. What tripped, and
/// the hottest water above the limit, K.
fn veiled(rig: &RigFile, phase: Phase, kind: Kind, share: f64) -> (Option<Trip>, f64) {
    let power_w = *rig.rig.element_power_w().get(phase.element());
    let mut bench = bench(rig, phase, |t_s| {
        let fault = Fault::new(kind, phase.element(), t_s, power_w, rig.rig.site.air_c);
        Veiled { fault, share, start: None }
    });
    let limit_c = f64::from(bench.controller.supervisor().settings().limit(Vessel::LiquorTank).milli()) * 1e-3;
    let (end_s, mut hottest_c) = (bench.t_s() + 5.0 * 3_600.0, 0.0_f64);
    while bench.t_s() < end_s && first_trip(&bench).is_none() && hottest_c < limit_c + 3.0 {
        bench.advance();
        hottest_c = hottest_c.max(bench.brewery.truth().bulk_c.liquor_tank);
    }
    (first_trip(&bench), hottest_c - limit_c)
}

#[test]
fn c4_without_unasked_heat_a_shorted_relay_takes_the_water_past_its_limit() {
    for rig in &rigs() {
        let (trip, over_k) = veiled(rig, Phase::Hold, Kind::RelayShorted, 1.0);
        assert_eq!(trip, Some(Trip::UnaskedHeat(Element::LiquorTank)), "{}", rig.rig.name);
        assert!(over_k < 0.0, "{}: {over_k} K past the limit with the detector", rig.rig.name);
        // The detector is blind; the same relay, the same water.
        let (trip, over_k) = veiled(rig, Phase::Hold, Kind::RelayShorted, 0.0);
        assert_eq!(trip, None, "{}", rig.rig.name);
        assert!(over_k > 2.0, "{}: {over_k} K past the limit without it", rig.rig.name);
    }
}

#[test]
fn c4_without_no_rise_a_blind_thermometer_takes_the_water_past_its_limit() {
    for rig in &rigs() {
        // The probe hangs where nothing happens; the element works.
        let (trip, over_k) = veiled(rig, Phase::HeatUp, Kind::None, 0.0);
        assert_eq!(trip, Some(Trip::NoRise(Element::LiquorTank)), "{}", rig.rig.name);
        assert!(over_k < 0.0, "{}: {over_k} K past the limit with the detector", rig.rig.name);
        // It shows just enough for the detector to be content.
        let (trip, over_k) = veiled(rig, Phase::HeatUp, Kind::None, 0.55);
        assert_eq!(trip, None, "{}", rig.rig.name);
        assert!(over_k > 2.0, "{}: {over_k} K past the limit without it", rig.rig.name);
    }
}

/// C1: rows that have a meaning in few phases. By default four breweries, with `COPPERHOLD_LONG=yes` two hundred.
#[test]
fn c1_rows_that_come_rarely_get_two_hundred_injections() {
    let long = std::env::var("COPPERHOLD_LONG").is_ok_and(|long| long == "yes");
    for kind in [Kind::CoilFlowStops, Kind::Nobody, Kind::FullPowerByHand] {
        let drawn = if long { 200 } else { 4 };
        let jobs: Vec<u32> = (1_000..1_000 + drawn).collect();
        let outcomes: Vec<Outcome> = jobs
            .into_par_iter()
            .flat_map_iter(|n| drill::some_of(&drill::draw::rig(n, 1), &[kind], n.into()).expect("the controller accepts it"))
            .collect();
        assert!(outcomes.len() >= drawn as usize, "{kind:?}: {}", outcomes.len());
        for outcome in &outcomes {
            assert!(outcome.injected && outcome.passed, "{outcome:?}");
        }
        println!("{kind:?}: {} injections, all as expected", outcomes.len());
    }
}
