//! Traps that others fell into, each as a test. T2 and T4 are in `heat_pid.rs`, T8 in `heat_tuning.rs` and `tune.rs`, T3 is with the probes; T7,
//! T11 and T13 also beside the code they are about.

use copperhold::files;
use copperhold::rehearse::Rehearsal;
use copperhold::report::json;
use copperhold_core::arming::PRESS;
use copperhold_core::burst::Mains;
use copperhold_core::controller::{CONTROL_LATEST, CONTROL_PERIOD};
use copperhold_core::event::{Event, Loss};
use copperhold_core::fast::{CLOCK_PATIENCE, FastPath, LEASE, Lease, Outputs, Switches};
use copperhold_core::guard::{Advice, Trip};
use copperhold_core::heat::Demand;
use copperhold_core::interlock::Timing;
use copperhold_core::probe::ProbeFault;
use copperhold_core::sheet::Step;
use copperhold_core::supervisor::LOG;
use copperhold_core::units::{Duty, Instant, Span};
use copperhold_core::vessel::{Element, PerVessel, Pumps, Vessel};
use copperhold_tests::bench::{Bench, FAST, c, draft, sheet};
use std::fmt::Write;

/// What the power side saw, tick by tick, and what tripped.
type Run = (Vec<Outputs>, Option<Trip>);

/// Its name, and how a person asks for it.
type Mode = (&'static str, fn(&mut Bench));

/// The four ways a kettle can be asked to heat at full power.
const MODES: [Mode; 4] = [
    ("percent", |bench| bench.demand(Vessel::BoilKettle, Demand::Percent(Duty::FULL))),
    ("hold", |bench| bench.demand(Vessel::BoilKettle, Demand::Hold(c(103_000)))),
    ("to the boil", |bench| bench.controller.supervisor_mut().start(sheet([Step::BringToBoil]))),
    ("boil", |bench| {
        let boil = Step::Boil { duty: Duty::FULL, lasts: Span::from_mins(60), additions: Default::default() };
        bench.controller.supervisor_mut().start(sheet([boil]));
    }),
];

/// A minute of full power in each mode, then a danger; what the power side saw of it, tick by tick, and what tripped.
fn after(danger: impl Fn(&mut Bench, u64), seconds: u64, watch: impl Fn(&Outputs) -> Outputs) -> Vec<Run> {
    MODES
        .iter()
        .map(|(mode, start)| {
            let mut bench = Bench::armed();
            bench.read(Vessel::BoilKettle, 60_000);
            bench.run(Span::from_secs(5));
            start(&mut bench);
            let outputs = bench.run(Span::from_secs(60));
            assert_eq!(outputs.element, Some(Element::BoilKettle), "{mode}: at full power before anything happens");
            let seen = (0..seconds * 100).map(|tick| {
                danger(&mut bench, tick);
                watch(&bench.tick(FAST))
            });
            (seen.collect(), bench.trip())
        })
        .collect()
}

fn alike(runs: &[Run], trip: Trip) {
    for ((mode, _), run) in MODES.iter().zip(runs) {
        assert_eq!(run.1, Some(trip), "{mode}");
        assert_eq!(run.0.last(), Some(&Outputs::default()), "{mode}: everything is off in the end");
        let first = run.0.iter().zip(&runs[0].0).position(|(here, there)| here != there);
        assert_eq!(first, None, "{mode} differs from {} in this tick after the danger", MODES[0].0);
    }
}

#[test]
fn t1_over_temperature_trips_in_the_same_tick_whatever_the_mode() {
    // A sheathed probe that climbs 5 K/s from 60 C, past the boil, to 108 C. A hold turns its heat down on the way, as it should: what
    // must be alike is contactor and arming.
    let climb = |bench: &mut Bench, tick: u64| bench.read(Vessel::BoilKettle, (60_000 + 50 * tick as i32).min(108_000));
    let power = |outputs: &Outputs| Outputs { contactor: outputs.contactor, armed: outputs.armed, ..Outputs::default() };
    let runs = after(climb, 15, power);
    alike(&runs, Trip::OverTemperature(Vessel::BoilKettle));
    // 104 C is passed after 8.8 s; the median is one sample late, and patience is 2 s.
    let off = runs[0].0.iter().position(|outputs| !outputs.contactor).unwrap();
    assert!((1_080..=1_150).contains(&off), "off after {off} ticks");
}

#[test]
fn t1_a_lost_probe_holds_and_trips_in_the_same_ticks_whatever_the_mode() {
    for fault in ProbeFault::ALL {
        let runs = after(|bench, _| bench.inputs.probes.boil_kettle = Err(fault), 10, |outputs| *outputs);
        alike(&runs, Trip::Probe(Vessel::BoilKettle, fault));
        let off = runs[0].0.iter().position(|outputs| outputs.element.is_none()).unwrap();
        assert!(off <= 150, "the filter bridges a second, then the element is off: {off} ticks");
    }
}

#[test]
fn t1_a_stop_takes_everything_in_the_tick_that_sees_it_whatever_the_mode() {
    let runs = after(|bench, tick| bench.inputs.switches.stop_loop = tick > 50, 2, |outputs| *outputs);
    alike(&runs, Trip::StopLoop);
    assert!(runs.iter().all(|(seen, _)| seen.iter().all(|outputs| *outputs == Outputs::default())));
}

#[test]
fn t4_what_mains_and_cascade_add_is_added_before_the_limits() {
    // A share made good for low mains ends at full power, and the hot break's limit stands after it.
    for (share, measured_mv) in [(10_000, 120_000), (6_000, 120_000), (9_000, 216_000), (10_000, 480_000)] {
        let mut bench = Bench::armed();
        bench.read(Vessel::BoilKettle, 60_000);
        bench.controller.supervisor_mut().mains(240_000, Some(measured_mv));
        bench.demand(Vessel::BoilKettle, Demand::Percent(Duty::from_basis_points(share)));
        bench.run(Span::from_secs(10));
        let wanted = bench.controller.supervisor().status().wanted.boil_kettle;
        let made_good = f64::from(share) / 1e4 * (240_000.0 / f64::from(measured_mv)).powi(2);
        assert!((f64::from(wanted.bits()) / 65_536.0 - made_good.min(1.0)).abs() < 2e-4, "{share} at {measured_mv} mV: {wanted:?}");
    }
    // Offset and push of the cascade: at most its limit above the mash, and never past the tank's own limit.
    for (mash, target) in [(20_000, 66_000), (65_000, 66_000), (30_000, 88_000), (85_000, 50_000)] {
        let mut bench = Bench::armed();
        bench.read(Vessel::LiquorTank, 60_000);
        bench.read(Vessel::MashTun, mash);
        bench.run(Span::from_secs(5));
        bench.demand(Vessel::MashTun, Demand::Hold(c(target)));
        for _ in 0..600 {
            bench.run(Span::from_secs(1));
            let Some(tank) = bench.controller.supervisor().status().setpoints.liquor_tank else { continue };
            let highest = (target + draft().cascade_limit.milli()).min(88_000);
            assert!((target..=highest + 1).contains(&tank.milli()), "mash {mash}, target {target}: tank {tank:?}");
        }
    }
}

#[test]
fn t5_time_that_stands_still_switches_off_at_once_and_trips_if_it_persists() {
    let mut bench = Bench::armed();
    bench.demand(Vessel::BoilKettle, Demand::Percent(Duty::FULL));
    assert_eq!(bench.run(Span::from_secs(2)).element, Some(Element::BoilKettle));
    for n in 1..CLOCK_PATIENCE {
        assert_eq!((bench.tick(Span::ZERO).element, bench.trip()), (None, None), "{n}");
    }
    assert_eq!((bench.tick(Span::ZERO), bench.trip()), (Outputs::default(), Some(Trip::Clock)));
    // While it stands the trip cannot be acknowledged.
    bench.inputs.switches.acknowledge = true;
    for _ in 0..100 {
        bench.tick(Span::ZERO);
    }
    assert_eq!(bench.trip(), Some(Trip::Clock));
    bench.inputs.switches.acknowledge = false;
    bench.run(Span::from_secs(1));
    bench.acknowledge();
    assert_eq!(bench.trip(), None);
}

#[test]
fn t5_time_that_runs_backwards_is_never_a_huge_step() {
    let mut bench = Bench::armed();
    let ten_minutes = Span::from_mins(10);
    bench.controller.supervisor_mut().start(sheet([Step::Whirlpool { lasts: ten_minutes }]));
    bench.run(Span::from_secs(10));
    let left = |bench: &Bench| bench.controller.supervisor().status().directive.and_then(|d| d.timer_left).unwrap();
    let before = left(&bench);
    for us in [0, 1, 5_000_000, 9_999_999] {
        bench.controller.tick(Instant::from_micros(us), &bench.inputs);
    }
    bench.tick(FAST);
    assert!(before.less(left(&bench)) <= CONTROL_PERIOD, "the timer moved from {before:?} to {:?}", left(&bench));
    assert_eq!(bench.trip(), None, "four ticks are within patience");
    for us in 0..u64::from(CLOCK_PATIENCE) {
        bench.controller.tick(Instant::from_micros(us), &bench.inputs);
    }
    assert_eq!(bench.trip(), Some(Trip::Clock));
}

#[test]
fn t5_a_leap_forward_while_armed_trips() {
    let mut bench = Bench::armed();
    bench.demand(Vessel::LiquorTank, Demand::Hold(c(70_000)));
    bench.run(Span::from_secs(2));
    let outputs = bench.tick(Span::from_mins(60));
    assert_eq!((outputs, bench.trip()), (Outputs::default(), Some(Trip::Clock)));
}

#[test]
fn t6_a_late_control_tick_counts_the_time_that_passed_but_never_more_than_a_second() {
    for (gap_ms, counted_ms) in [(250, 250), (400, 400), (1_000, 1_000), (1_400, 1_000), (4_000, 1_000)] {
        let mut bench = Bench::armed();
        let lasts = Span::from_mins(10);
        bench.controller.supervisor_mut().start(sheet([Step::Whirlpool { lasts }]));
        let left = |bench: &Bench| bench.controller.supervisor().status().directive.and_then(|d| d.timer_left).unwrap();
        bench.run(CONTROL_PERIOD);
        let before = left(&bench);
        // In step with the control tick.
        while left(&bench) == before {
            bench.tick(FAST);
        }
        let before = left(&bench);
        for _ in 0..20 {
            bench.tick(Span::from_millis(gap_ms));
        }
        assert_eq!(before.less(left(&bench)), Span::from_millis(20 * counted_ms), "twenty gaps of {gap_ms} ms");
        assert!(CONTROL_LATEST <= LEASE);
    }
}

#[test]
fn t6_a_missed_control_tick_leaves_no_element_on_for_longer_than_its_lease() {
    // The fast half goes on by itself while the slow half is stuck.
    let mut fast = FastPath::new(Mains::Hz60, Timing::default(), PRESS);
    let mut now = Instant::START;
    let mut run = |fast: &mut FastPath, (key, arm), span: Span| {
        let switches = Switches { stop_loop: true, key, arm, ..Switches::default() };
        (0..span.as_millis() / FAST.as_millis()).fold(Outputs::default(), |_, _| {
            now = now.plus(FAST);
            fast.tick(now, &switches)
        })
    };
    fast.renew(Lease { tripped: false, hold: false, heat: None, pumps: Pumps::default() });
    for panel in [(false, false), (true, false)] {
        run(&mut fast, panel, Span::from_millis(100));
    }
    run(&mut fast, (true, true), Span::from_millis(1_100));
    fast.renew(Lease { tripped: false, hold: false, heat: Some((Element::BoilKettle, Duty::FULL)), pumps: Pumps::default() });
    let before = run(&mut fast, (true, false), LEASE.less(FAST));
    assert_eq!(before.element, Some(Element::BoilKettle));
    assert_eq!(run(&mut fast, (true, false), FAST).element, None);
}

#[test]
fn t6_steps_of_a_whole_second_still_heat_all_the_time() {
    let mut bench = Bench::armed();
    bench.demand(Vessel::BoilKettle, Demand::Percent(Duty::FULL));
    for _ in 0..5 {
        bench.tick(Span::from_secs(1));
    }
    for n in 0..100 {
        assert_eq!(bench.tick(Span::from_secs(1)).element, Some(Element::BoilKettle), "second {n}");
    }
}

#[test]
fn t12_the_same_inputs_give_the_same_trace_to_the_last_byte() {
    let trace = || {
        let mut bench = Bench::new();
        let mut text = String::new();
        let mut noise = 1_u32;
        bench.controller.supervisor_mut().start(sheet([Step::BringToBoil, Step::Whirlpool { lasts: Span::from_secs(30) }]));
        for tick in 0..60_000_u32 {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            bench.inputs.switches.key = tick > 100;
            bench.inputs.switches.arm = (200..400).contains(&tick);
            bench.read(Vessel::BoilKettle, (20_000 + tick as i32 * 2 + (noise >> 26) as i32).min(99_900));
            let outputs = bench.tick(FAST);
            if tick % 25 == 0 {
                writeln!(text, "{outputs:?} {:?}", bench.controller.supervisor().status()).unwrap();
            }
        }
        while let Some(entry) = bench.controller.supervisor_mut().log().take() {
            writeln!(text, "{entry:?}").unwrap();
        }
        text
    };
    let first = trace();
    assert!(first.contains("Grant(Some(BoilKettle))"), "the trace has something to show");
    assert_eq!(first.as_bytes(), trace().as_bytes());
}

#[test]
fn t12_the_same_seed_gives_the_same_day_to_the_last_byte_and_another_seed_another() {
    let day = |seed| {
        let (rig, sheet) = (files::demo_rig().unwrap(), files::demo_sheet().unwrap());
        json::document(&Rehearsal::new(&rig, &sheet, seed).unwrap().run(|_| {}).unwrap())
    };
    let first = day(7);
    assert_eq!(first, day(7));
    assert_ne!(first, day(8));
}

#[test]
fn t13_a_log_that_nobody_reads_says_how_much_it_lost_and_since_when() {
    let mut bench = Bench::new();
    let mut edges = Vec::new();
    for _ in 0..40 {
        bench.arm();
        edges.push(bench.now);
    }
    let log = bench.controller.supervisor_mut().log();
    let Some(Loss { count, since }) = log.take_loss() else { panic!("forty times armed and disarmed fit no log of {LOG}") };
    // 40 times armed and 39 times disarmed again: 79 entries, of which the last are kept.
    assert_eq!(count as usize, 79 - LOG);
    assert!(since < edges[0], "the first entry lost was the first arming, at {since:?}");
    let kept: Vec<_> = std::iter::from_fn(|| log.take()).collect();
    assert_eq!(kept.len(), LOG);
    assert_eq!(kept.last().map(|entry| entry.event), Some(Event::Armed));
    assert!(kept.windows(2).all(|pair| pair[0].at <= pair[1].at));
}

#[test]
fn t14_every_output_is_off_from_the_reset_until_somebody_arms() {
    // Power comes back in the worst of places: key on, buttons down, demands waiting, a sheet under way.
    for demand in [Demand::Percent(Duty::FULL), Demand::Hold(c(80_000))] {
        for (key, arm) in [(false, false), (false, true), (true, false), (true, true)] {
            let mut bench = Bench::new();
            bench.demand(Vessel::LiquorTank, demand);
            bench.controller.supervisor_mut().pump(Pumps { liquor: true, mash: true, wort: true });
            bench.inputs.switches.key = key;
            bench.inputs.switches.arm = arm;
            for _ in 0..3_000 {
                assert_eq!(bench.tick(FAST), Outputs::default(), "key {key}, button {arm}");
            }
        }
    }
    let mut bench = Bench::new();
    bench.controller.supervisor_mut().start(sheet([Step::Whirlpool { lasts: Span::from_mins(10) }]));
    assert_eq!(bench.run(Span::from_mins(1)), Outputs::default(), "nor a pump");
}

#[test]
fn t14_no_output_comes_before_the_probes_have_been_read() {
    let mut bench = Bench::new();
    bench.inputs.probes = PerVessel::build(|_| Err(ProbeFault::NotReady));
    bench.demand(Vessel::LiquorTank, Demand::Percent(Duty::FULL));
    for _ in 0..500 {
        assert_eq!(bench.tick(FAST).element, None);
    }
    // Nothing was heated, so nothing depends on the probe yet: it is told, and the heat stays away for as long as that lasts.
    assert_eq!(bench.trip(), None);
    let log = bench.controller.supervisor_mut().log();
    let told = std::iter::from_fn(|| log.take())
        .any(|e| e.event == Event::Advised(Advice::Probe(Vessel::LiquorTank, ProbeFault::NotReady)));
    assert!(told, "nobody was told");
    assert_eq!(bench.run(Span::from_mins(10)).element, None);
}
