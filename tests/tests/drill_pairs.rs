//! C5, two faults at once: every pair of shorted relay (H6), welded contactor (H7), probe out of the liquid (H9), probe broken (H11), hung
//! program (H19), lost link (H25) and stuck arm button (H31), in every phase. Danger only where the hazard table says that hardware acts.
//!
//! By default the demo rig and one seed; `COPPERHOLD_LONG=yes` takes three rigs and ten seeds.

use copperhold::bench::Bench;
use copperhold::drill::scene::{Phase, scene};
use copperhold::drill::{AIR_LAG_S, Fault, Kind, PAST_LIMIT_K, Pair, SHEATH_LIMIT_C};
use copperhold::files::{self, RigFile};
use copperhold_core::units::Instant;
use copperhold_core::vessel::Vessel;
use copperhold_core::wire::message::{DemandMessage, LONGEST_DEMAND_MS, ToDevice};
use copperhold_core::wire::sheet::EncodedSheet;
use copperhold_firmware::remote::{Remote, Standing};
use rayon::prelude::*;
use std::collections::BTreeSet;
use std::path::Path;

/// What goes wrong, in the order in which it does: what switches off comes after what needs power to show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Member {
    Relay,
    ProbeOut,
    ProbeOpen,
    Link,
    Contactor,
    Hang,
    Button,
}

impl Member {
    const ALL: [Member; 7] =
        [Member::Relay, Member::ProbeOut, Member::ProbeOpen, Member::Link, Member::Contactor, Member::Hang, Member::Button];

    const fn kind(self) -> Kind {
        match self {
            Member::Relay => Kind::RelayShorted,
            Member::ProbeOut => Kind::ProbeOut,
            Member::ProbeOpen => Kind::ProbeOpen,
            // A host that is gone changes nothing between brewery and controller.
            Member::Link => Kind::None,
            Member::Contactor => Kind::ContactorStuck,
            Member::Hang => Kind::Hang,
            Member::Button => Kind::ArmButtonStuck,
        }
    }
}

/// The second fault comes this long after the first, s.
const APART_S: f64 = 5.0;
/// A drill ends this long after a trip, after half an hour, or while unasked heat goes on without a trip after four hours, s.
const AFTER_TRIP_S: f64 = 600.0;
const WATCHED_S: f64 = 1_800.0;
const UNASKED_S: f64 = 4.0 * 3_600.0;
/// A relay that has shorted behind a closed contactor has heat left to give for this long after a trip, s.
const OPENS_S: f64 = 0.5;

/// Why hardware must act, in the words of the hazard table's rows; `None`: software must.
const fn hardware(one: Member, other: Member, phase: Phase) -> Option<&'static str> {
    match (one, other) {
        (Member::Relay, Member::Contactor) => Some("H7: a shorted relay behind a welded contactor leaves only the breaker"),
        (Member::Relay, Member::ProbeOut | Member::ProbeOpen) if matches!(phase, Phase::Idle) => {
            Some("H6: a shorted relay in a vessel without a thermometer leaves only the cut-out")
        }
        _ => None,
    }
}

/// What a drill of two faults showed.
#[derive(Debug)]
struct Shown {
    pair: (Member, Member),
    phase: Phase,
    rig: String,
    seed: u64,
    /// Both took effect.
    injected: bool,
    both_on: u64,
    past_limit_k: f64,
    sheath_c: f64,
    /// An element had power this long after the trip, or after the key, the link or the supply had gone, s.
    late_s: f64,
    tripped: bool,
}

impl Shown {
    fn is_dangerous(&self) -> bool {
        self.both_on > 0 || self.past_limit_k > PAST_LIMIT_K || self.sheath_c >= SHEATH_LIMIT_C || self.late_s > OPENS_S
    }
}

fn now<T: copperhold::bench::Tamper>(bench: &Bench<T>) -> Instant {
    Instant::from_micros((bench.t_s() * 1e6).round() as u64)
}

/// The host asks for what is asked anyway, over the link, and is not heard of again.
fn last_words(bench: &mut Bench, remote: &mut Remote) {
    let at = now(bench);
    let setpoints = bench.controller.supervisor().status().setpoints;
    for vessel in [Vessel::LiquorTank, Vessel::BoilKettle] {
        let Some(to) = *setpoints.get(vessel) else { continue };
        let message = ToDevice::Demand { vessel, demand: DemandMessage::Hold(to.milli()), lasts_ms: LONGEST_DEMAND_MS };
        let mut sheet = EncodedSheet::new();
        let standing = Standing { armed: true, sheet: &mut sheet };
        remote.take(at, &message, bench.controller.supervisor_mut(), standing).expect("an armed controller takes a demand");
    }
}

fn drill(rig: &RigFile, scene: &Bench, phase: Phase, (one, other): (Member, Member), seed: u64) -> Shown {
    let element = phase.element();
    let power_w = *rig.rig.element_power_w().get(element);
    let start_s = scene.t_s();
    // A probe in the air cools slowly on odd seeds, fast on even ones.
    let air_lag_s = if seed % 2 == 1 { AIR_LAG_S.1 } else { AIR_LAG_S.0 };
    let fault = |member: Member, at_s: f64| Fault::new(member.kind(), element, at_s, power_w, rig.rig.site.air_c).airing(air_lag_s);
    let mut bench = scene.clone();
    let mut remote = Remote::new();
    let link = one == Member::Link || other == Member::Link;
    if link {
        last_words(&mut bench, &mut remote);
    }
    let mut bench = bench.tampered(Pair(fault(one, start_s + 0.01), fault(other, start_s + APART_S)));
    let limit_c = f64::from(bench.controller.supervisor().settings().limit(element.vessel()).milli()) * 1e-3;
    let ends_s = start_s + f64::from(LONGEST_DEMAND_MS) * 1e-3 + 0.3;
    let (mut tripped_s, mut water_c, mut sheath_c, mut late_s) = (None, 0.0_f64, 0.0_f64, 0.0_f64);
    let mut link_ended = false;
    loop {
        bench.advance();
        let at = now(&bench);
        if link {
            remote.expire(at, bench.controller.supervisor_mut());
        }
        let t_s = bench.t_s();
        let truth = bench.brewery.truth();
        water_c = water_c.max(*truth.bulk_c.get(element.vessel()));
        sheath_c = sheath_c.max(truth.sheath_c.liquor_tank).max(truth.sheath_c.boil_kettle);
        let powered = truth.element_w.liquor_tank + truth.element_w.boil_kettle > 1.0;
        if tripped_s.is_none() && bench.controller.supervisor().guard().latch().is_some() {
            tripped_s = Some(t_s);
        }
        let outputs = bench.outputs();
        let commanded = outputs.element.is_some();
        if powered && let Some(at_s) = tripped_s {
            late_s = late_s.max(t_s - at_s);
        }
        // A demand that came over the link ends with it; a controller that restarted or has seen the key off heats nothing.
        link_ended |= link && t_s > ends_s;
        let restarted = (one == Member::Hang && t_s > start_s + 1.0) || (other == Member::Hang && t_s > start_s + APART_S + 1.0);
        let keyed = other == Member::Button && t_s > start_s + APART_S + 0.5;
        if commanded && (link_ended || restarted || keyed) {
            late_s = f64::INFINITY;
        }
        let unasked = one == Member::Relay && tripped_s.is_none() && outputs.contactor;
        let over = t_s > start_s + if unasked { UNASKED_S } else { WATCHED_S };
        if over || tripped_s.is_some_and(|at_s| t_s > at_s + AFTER_TRIP_S) || water_c > limit_c + PAST_LIMIT_K {
            break;
        }
    }
    let Pair(first, second) = &bench.tamper;
    let shows = |member: Member, fault: &Fault| {
        if member == Member::Link { link_ended || tripped_s.is_some() } else { fault.effect_s.is_some() }
    };
    Shown {
        pair: (one, other),
        phase,
        rig: rig.rig.name.clone(),
        seed,
        injected: shows(one, first) && shows(other, second),
        both_on: bench.both_on_ticks(),
        past_limit_k: water_c - limit_c,
        sheath_c,
        late_s,
        tripped: tripped_s.is_some(),
    }
}

#[test]
fn c5_two_faults_at_once_are_dangerous_only_where_hardware_must_act() {
    let long = std::env::var("COPPERHOLD_LONG").is_ok_and(|long| long == "yes");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim/rigs");
    let names: &[&str] = if long { &["demo.toml", "small-230v.toml", "large-240v.toml"] } else { &["demo.toml"] };
    let rigs: Vec<RigFile> = names
        .iter()
        .map(|name| files::load_rig(&folder.join(name)).unwrap_or_else(|why| panic!("{}", why.render(false))))
        .collect();
    let seeds = if long { 1..=10 } else { 1..=1 };
    let jobs: Vec<(&RigFile, Phase, u64)> = rigs
        .iter()
        .flat_map(|rig| Phase::ALL.map(|phase| (rig, phase)))
        .flat_map(|(rig, phase)| seeds.clone().map(move |seed| (rig, phase, seed)))
        .collect();
    let shown: Vec<Shown> = jobs
        .into_par_iter()
        .flat_map_iter(|(rig, phase, seed)| {
            let scene = scene(rig, phase, seed).expect("a shipped rig is accepted");
            let mut shown = Vec::new();
            for (n, one) in Member::ALL.into_iter().enumerate() {
                for other in Member::ALL.into_iter().skip(n + 1) {
                    // The boil and the mash are a sheet's or the panel's: no demand of theirs hangs on the link.
                    let by_link = matches!(phase, Phase::HeatUp | Phase::Hold | Phase::Changeover);
                    if by_link || (one != Member::Link && other != Member::Link) {
                        shown.push(drill(rig, &scene, phase, (one, other), seed));
                    }
                }
            }
            shown
        })
        .collect();
    let (mut needed, mut met) = (BTreeSet::new(), BTreeSet::new());
    for drill in &shown {
        assert!(drill.injected, "not injected: {drill:?}");
        let why = hardware(drill.pair.0, drill.pair.1, drill.phase);
        assert!(why.is_some() || !drill.is_dangerous(), "on {}, seed {}: {drill:?}", drill.rig, drill.seed);
        needed.extend(why);
        if drill.is_dangerous() {
            met.extend(why);
        }
    }
    assert_eq!(needed, met, "an exception that is never needed hides nothing: strike it");
    let pairs: BTreeSet<_> = shown.iter().map(|drill| drill.pair).collect();
    assert_eq!(pairs.len(), 21, "every pair");
    let (dangerous, tripped) = (shown.iter().filter(|d| d.is_dangerous()).count(), shown.iter().filter(|d| d.tripped).count());
    println!("{} drills of two faults: {tripped} tripped, {dangerous} were for the hardware", shown.len());
}
