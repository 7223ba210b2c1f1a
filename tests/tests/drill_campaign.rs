//! Faults on purpose: every fault, every phase of the day, on the three shipped rigs, against the real controller; and what each detector
//! is worth, shown by hiding from it what it looks for.

use copperhold::bench::{Bench, Tamper};
use copperhold::drill::{Fault, Kind};
use copperhold::drill::scene::{Phase, scene};
use copperhold::drill::{self, Outcome};
use copperhold::files::{self, RigFile};
use copperhold::plant::{Brewery, Drive};
use copperhold_core::fast::{Outputs, Switches};
use copperhold_core::guard::Trip;
use copperhold_core::guard::sense::ALONE_AFTER;
use copperhold_core::probe::Reading;
use copperhold_core::units::{Celsius, Kelvin};
use copperhold_core::vessel::{Element, PerElement, PerVessel, Vessel};
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

/// Trips that no fault of the campaign leads to: a vessel past its limit, an element without current, nobody there.
enum Rare {
    Hot,
    NoCurrent,
    Nobody,
}

impl Tamper for Rare {
    fn readings(&mut self, _: f64, readings: &mut PerVessel<Reading>) {
        if matches!(self, Rare::Hot) {
            // The thermometer of the mash tun, which no detector on energy watches.
            readings.mash_tun = readings.mash_tun.map(|c| c.plus(Kelvin::from_milli(60_000)));
        }
    }

    fn switches(&mut self, _: f64, _: &Outputs, switches: &mut Switches) {
        if matches!(self, Rare::NoCurrent) {
            switches.sense.current = PerElement::build(|_| Some(false));
        }
    }
}

fn rare(rig: &RigFile, phase: Phase, rare: Rare, seconds: f64) -> Option<Trip> {
    let mut bench = bench(rig, phase, |_| rare);
    bench.run(seconds, |_| ());
    assert_eq!(bench.both_on_ticks(), 0);
    first_trip(&bench)
}

#[test]
fn t10_every_fault_is_met_as_expected_and_every_detector_fires() {
    let rigs = rigs();
    let outcomes: Vec<Outcome> =
        rigs.par_iter().flat_map_iter(|rig| drill::all_of(rig, 1).expect("a shipped rig is accepted")).collect();
    // C3: a drill whose fault never took effect shows nothing.
    for outcome in &outcomes {
        assert!(outcome.injected, "not injected: {outcome:?}");
        assert!(outcome.passed, "not as expected, or two elements, or heat after the trip: {outcome:?}");
    }
    for rig in &rigs {
        for kind in Kind::ALL {
            let phases = outcomes.iter().filter(|o| o.kind == kind && o.rig == rig.rig.name).count();
            assert!(phases >= 1 && (phases >= 6 || kind == Kind::CoilFlowStops), "{kind:?} on {} in {phases} phases", rig.rig.name);
        }
        let quiet = outcomes.iter().filter(|o| o.kind == Kind::None && o.rig == rig.rig.name).count();
        assert_eq!(quiet, Phase::ALL.len(), "and each phase without a fault");
    }

    let mut fired: BTreeSet<String> = outcomes.iter().filter_map(|o| o.trip).map(|(trip, _)| trips::name_of(trip)).collect();
    let demo = &rigs[0];
    let hours_s = ALONE_AFTER.as_millis() as f64 / 1_000.0 + 60.0;
    for (trip, expected) in [
        (rare(demo, Phase::Mash, Rare::Hot, 30.0), Trip::OverTemperature(Vessel::MashTun)),
        (rare(demo, Phase::HeatUp, Rare::NoCurrent, 30.0), Trip::NoCurrent(Element::LiquorTank)),
        (rare(demo, Phase::Hold, Rare::Nobody, hours_s), Trip::Alone),
    ] {
        assert_eq!(trip, Some(expected));
        fired.insert(trips::name_of(expected));
    }
    let silent: Vec<String> = trips::variants().difference(&fired).cloned().collect();
    assert!(silent.is_empty(), "these never fired: {silent:?}");
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

/// C1: rows that the three rigs and few seeds give too few injections. By default two seeds.
#[test]
fn c1_rows_that_come_rarely_get_two_hundred_injections() {
    let long = std::env::var("COPPERHOLD_LONG").is_ok_and(|long| long == "yes");
    let rigs = rigs();
    for (kind, seeds) in [(Kind::CoilFlowStops, 67), (Kind::ContactorOpen, 12), (Kind::ElementOpen, 12)] {
        let seeds = if long { seeds } else { 2 };
        let jobs: Vec<(&RigFile, u64)> = rigs.iter().flat_map(|rig| (1..=seeds).map(move |seed| (rig, seed))).collect();
        let outcomes: Vec<Outcome> = jobs
            .into_par_iter()
            .flat_map_iter(|(rig, seed)| drill::some_of(rig, &[kind], seed).expect("a shipped rig is accepted"))
            .collect();
        assert!(outcomes.len() >= if long { 200 } else { 6 }, "{kind:?}: {}", outcomes.len());
        for outcome in &outcomes {
            assert!(outcome.injected && outcome.passed, "{outcome:?}");
        }
        println!("{kind:?}: {} injections, all as expected", outcomes.len());
    }
}
