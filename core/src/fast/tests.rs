use super::*;
use Element::{BoilKettle, LiquorTank};

const TICK: Span = Span::from_millis(10);
const READY: Switches =
    Switches { stop_loop: true, key: true, arm: false, acknowledge: false, selector: Selector::Auto, sense: Sense::NONE };
const DARK: Switches =
    Switches { stop_loop: false, key: false, arm: false, acknowledge: false, selector: Selector::Auto, sense: Sense::NONE };
const PUMPS: Pumps = Pumps { liquor: true, mash: false, wort: false };

fn lease(element: Element, duty: Duty) -> Lease {
    Lease { tripped: false, hold: false, heat: Some((element, duty)), pumps: PUMPS }
}

fn idle() -> Lease {
    Lease { tripped: false, hold: false, heat: None, pumps: Pumps::default() }
}

/// A fast path with a clock and a supervisor that renews whatever lease it is given.
struct Bench {
    fast: FastPath,
    now: Instant,
    lease: Option<Lease>,
}

impl Bench {
    fn new() -> Bench {
        let fast = FastPath::new(Mains::Hz50, Timing::default(), Span::from_secs(1));
        Bench { fast, now: Instant::START, lease: None }
    }

    fn armed(lease: Lease) -> Bench {
        let mut bench = Bench::new();
        bench.lease = Some(idle());
        bench.run(Switches { key: false, ..READY }, 2);
        bench.run(READY, 2);
        bench.run(Switches { arm: true, ..READY }, 150);
        bench.lease = Some(lease);
        bench.run(READY, 100);
        assert!(bench.fast.outputs().armed);
        bench
    }

    fn tick(&mut self, switches: Switches) -> Outputs {
        self.now = self.now.plus(TICK);
        if let Some(lease) = self.lease {
            self.fast.renew(lease);
        }
        self.fast.tick(self.now, &switches)
    }

    fn run(&mut self, switches: Switches, ticks: u32) -> Outputs {
        (0..ticks).map(|_| self.tick(switches)).last().unwrap()
    }
}

#[test]
fn armed_with_a_lease_the_element_conducts() {
    let mut bench = Bench::armed(lease(BoilKettle, Duty::FULL));
    let on = Outputs { contactor: true, element: Some(BoilKettle), grant: Some(BoilKettle), pumps: PUMPS, armed: true };
    assert_eq!((bench.tick(READY), bench.fast.outputs()), (on, on));
}

#[test]
fn t14_nothing_is_on_before_the_first_tick_nor_until_armed() {
    let fresh = Bench::new();
    assert_eq!(fresh.fast.outputs(), Outputs::default());
    let mut bench = Bench::new();
    bench.lease = Some(lease(LiquorTank, Duty::FULL));
    for switches in [DARK, READY, Switches { arm: true, ..READY }] {
        for _ in 0..1_000 {
            assert_eq!(bench.tick(switches), Outputs::default(), "{switches:?}");
        }
    }
}

#[test]
fn h30_a_stop_takes_effect_in_the_tick_that_sees_it_and_is_reported_once() {
    let mut bench = Bench::armed(lease(BoilKettle, Duty::FULL));
    bench.fast.report();
    assert_eq!(bench.tick(Switches { stop_loop: false, ..READY }), Outputs::default(), "elements, contactor and pumps");
    assert_eq!(bench.run(READY, 1_000), Outputs::default(), "releasing it does nothing");
    let report = bench.fast.report();
    assert_eq!((report.stopped, report.disarmed, report.armed), (true, true, false));
    let report = bench.fast.report();
    assert_eq!((report.stopped, report.disarmed), (false, false));
}

#[test]
fn h32_lines_astray_open_the_contactor_in_the_next_tick_and_are_reported() {
    let mut bench = Bench::armed(lease(BoilKettle, Duty::FULL));
    assert!(!bench.fast.report().astray);
    bench.fast.lines_astray();
    let off = Outputs { armed: true, pumps: PUMPS, ..Outputs::default() };
    assert_eq!(bench.tick(READY), off, "elements and contactor; the trip that follows stops the pumps");
    assert!(bench.fast.report().astray);
}

#[test]
fn a_stop_while_disarmed_is_no_event() {
    let mut bench = Bench::new();
    bench.lease = Some(idle());
    bench.run(READY, 5);
    bench.run(DARK, 5);
    let report = bench.fast.report();
    assert_eq!((report.stopped, report.disarmed), (false, false));
}

#[test]
fn h29_the_key_takes_effect_in_the_tick_that_sees_it() {
    let mut bench = Bench::armed(lease(LiquorTank, Duty::FULL));
    assert_eq!(bench.tick(Switches { key: false, ..READY }), Outputs::default());
    assert_eq!(bench.run(READY, 1_000), Outputs::default());
    let report = bench.fast.report();
    assert!(report.disarmed && !report.stopped);
}

#[test]
fn a_disarm_that_is_armed_again_before_the_report_is_still_reported() {
    let mut bench = Bench::armed(idle());
    bench.fast.report();
    bench.run(Switches { key: false, ..READY }, 1);
    bench.run(READY, 1);
    bench.run(Switches { arm: true, ..READY }, 150);
    let report = bench.fast.report();
    assert_eq!((report.armed, report.disarmed), (true, true));
}

#[test]
fn h25_a_lease_that_is_not_renewed_drops_the_element_and_then_the_contactor() {
    let mut bench = Bench::armed(lease(LiquorTank, Duty::FULL));
    bench.lease = None;
    let ticks = LEASE.as_millis() / TICK.as_millis();
    // It was last renewed one tick ago.
    for n in 2..ticks {
        assert_eq!(bench.tick(READY).element, Some(LiquorTank), "tick {n} of the lease");
    }
    let expired = bench.tick(READY);
    assert_eq!(
        expired,
        Outputs { contactor: true, armed: true, ..Outputs::default() },
        "element and pumps off, contactor still dry to open"
    );
    let dead_time = Timing::default().dead_time.as_millis() / TICK.as_millis();
    assert!(bench.run(READY, u32::try_from(dead_time).unwrap() - 1).contactor);
    assert!(!bench.tick(READY).contactor);
    assert!(!bench.run(READY, 10_000).contactor);
}

#[test]
fn a_lease_outlives_the_longest_step_of_a_co_simulation() {
    let mut bench = Bench::armed(lease(LiquorTank, Duty::FULL));
    for _ in 0..100 {
        bench.now = bench.now.plus(Span::from_secs(1));
        let outputs = bench.fast.tick(bench.now, &READY);
        bench.fast.renew(lease(LiquorTank, Duty::FULL));
        assert_eq!((outputs.element, bench.fast.apply(&READY).element), (Some(LiquorTank), Some(LiquorTank)));
    }
}

#[test]
fn h19_a_late_tick_finds_the_lease_expired() {
    let mut bench = Bench::armed(lease(LiquorTank, Duty::FULL));
    bench.lease = None;
    bench.now = bench.now.plus(LEASE);
    assert_eq!(bench.tick(READY).element, None);
}

#[test]
fn a_trip_in_the_lease_takes_effect_within_the_same_tick() {
    let mut bench = Bench::armed(lease(LiquorTank, Duty::FULL));
    bench.fast.renew(Lease { tripped: true, ..lease(LiquorTank, Duty::FULL) });
    assert_eq!(bench.fast.apply(&READY), Outputs::default());
    assert_eq!(bench.run(READY, 1_000), Outputs::default(), "a trip that is gone does not arm");
}

#[test]
fn a_hold_takes_the_element_and_leaves_contactor_and_pumps() {
    let mut bench = Bench::armed(lease(LiquorTank, Duty::FULL));
    bench.lease = Some(Lease { hold: true, ..lease(LiquorTank, Duty::FULL) });
    assert_eq!(bench.tick(READY), Outputs { contactor: true, pumps: PUMPS, armed: true, ..Outputs::default() });
    bench.run(READY, 100);
    bench.lease = Some(lease(LiquorTank, Duty::FULL));
    assert_eq!(bench.run(READY, 2).element, Some(LiquorTank), "and gives it back");
}

#[test]
fn the_selector_lets_only_its_element_through() {
    for only in Element::ALL {
        let mut bench = Bench::armed(lease(LiquorTank, Duty::FULL));
        let outputs = bench.run(Switches { selector: Selector::Only(only), ..READY }, 100);
        assert_eq!(outputs.element, (only == LiquorTank).then_some(LiquorTank));
        assert_eq!(outputs.grant, outputs.element);
    }
}

#[test]
fn t5_a_clock_that_stands_drops_the_element_at_once_and_is_a_fault_if_it_persists() {
    let mut bench = Bench::armed(lease(LiquorTank, Duty::FULL));
    bench.fast.report();
    for n in 1..CLOCK_PATIENCE {
        assert_eq!(bench.fast.tick(bench.now, &READY).element, None);
        assert!(!bench.fast.clock_is_faulty(), "after {n} ticks");
    }
    bench.fast.tick(bench.now, &READY);
    assert!(bench.fast.clock_is_faulty());
    assert!(bench.fast.report().clock_fault);
    assert!(!bench.fast.clock_is_faulty(), "told once, and again if it goes on:");
    bench.fast.tick(bench.now, &READY);
    assert!(bench.fast.clock_is_faulty());
}

#[test]
fn t5_a_clock_that_runs_backwards_gives_no_element_and_no_time() {
    let mut bench = Bench::armed(lease(LiquorTank, Duty::FULL));
    bench.fast.report();
    let before = bench.now;
    for us in [0, 1, before.as_micros() / 2, before.as_micros() - 1] {
        let outputs = bench.fast.tick(Instant::from_micros(us), &READY);
        assert_eq!(outputs.element, None);
        bench.fast.renew(lease(LiquorTank, Duty::FULL));
        assert_eq!(bench.fast.apply(&READY).element, None, "not even with a fresh lease");
    }
    assert!(!bench.fast.clock_is_faulty(), "four ticks are within patience");
    let outputs = bench.fast.tick(before.plus(TICK), &READY);
    assert_eq!(outputs.grant, None, "the changeover is not cut short by the mishap");
    assert_eq!(bench.fast.report().applied, PerElement::default());
}

#[test]
fn t5_a_clock_that_jumps_while_armed_is_a_fault_and_while_disarmed_is_not() {
    let mut bench = Bench::armed(idle());
    bench.fast.report();
    bench.now = bench.now.plus(CLOCK_JUMP).plus(TICK);
    bench.fast.tick(Instant::from_micros(bench.now.as_micros() - TICK.as_micros()), &READY);
    assert!(!bench.fast.report().clock_fault, "as long as the patience and no longer");
    bench.now = bench.now.plus(CLOCK_JUMP);
    bench.tick(READY);
    assert!(bench.fast.report().clock_fault);
    let mut bench = Bench::new();
    bench.tick(READY);
    bench.now = bench.now.plus(Span::from_mins(60));
    bench.tick(READY);
    assert!(!bench.fast.report().clock_fault);
}

#[test]
fn what_was_applied_is_reported_as_a_share_of_the_time_since_the_last_report() {
    let mut bench = Bench::armed(lease(BoilKettle, Duty::from_basis_points(2_500)));
    bench.run(READY, 100);
    bench.fast.report();
    bench.run(READY, 1_000);
    let report = bench.fast.report();
    let kettle = report.applied.boil_kettle.basis_points();
    assert!((2_480..=2_520).contains(&kettle), "{kettle} of 2500 basis points in 10 s");
    assert_eq!((report.applied.liquor_tank, report.grant), (Duty::ZERO, Some(BoilKettle)));
    assert_eq!(bench.fast.report().applied, PerElement::default(), "no time has passed");
}

#[test]
fn a_fresh_grant_owes_nothing_for_the_time_before_it() {
    let mut bench = Bench::armed(lease(LiquorTank, Duty::from_basis_points(4_000)));
    bench.lease = Some(lease(BoilKettle, Duty::from_basis_points(4_000)));
    bench.run(READY, 21);
    bench.now = bench.now.plus(Span::from_millis(900));
    let outputs = bench.tick(READY);
    assert_eq!((outputs.grant, outputs.element), (Some(BoilKettle), None), "two fifths of the first window are not a window");
}

#[test]
fn a_share_of_an_absurd_time_is_still_a_share() {
    let forever = Span::from_micros(u64::MAX);
    assert_eq!((share(forever, forever), share(forever, Span::ZERO)), (Duty::FULL, Duty::ZERO));
    assert_eq!((share(Span::ZERO, forever), share(forever, Span::from_secs(1))), (Duty::ZERO, Duty::FULL));
    assert_eq!(share(Span::from_secs(1), Span::from_secs(4)), Duty::from_basis_points(2_500));
}

#[test]
fn outputs_stay_as_they_are_until_the_time_that_is_named() {
    for basis_points in [100, 3_300, 9_900, 10_000] {
        let mut bench = Bench::armed(lease(BoilKettle, Duty::from_basis_points(basis_points)));
        for _ in 0..200 {
            let before = bench.fast.outputs();
            let due = bench.fast.due_in().min(Span::from_millis(250));
            let quiet = due.less(TICK).as_millis() / TICK.as_millis();
            for _ in 0..quiet {
                assert_eq!(bench.tick(READY), before, "{basis_points} basis points, {due:?} were promised");
            }
            bench.tick(READY);
        }
    }
}

#[test]
fn a_host_is_not_called_more_often_than_needed() {
    let mut idle_bench = Bench::armed(idle());
    assert_eq!(idle_bench.fast.due_in(), LEASE.less(TICK), "nothing but the lease runs out");
    for basis_points in [0, 10_000] {
        let bench = Bench::armed(lease(BoilKettle, Duty::from_basis_points(basis_points)));
        assert_eq!(bench.fast.due_in(), LEASE.less(TICK), "{basis_points} basis points switch nothing");
    }
    let partial = Bench::armed(lease(BoilKettle, Duty::from_basis_points(3_300)));
    assert!((TICK..=Mains::Hz50.window()).contains(&partial.fast.due_in()), "{:?}", partial.fast.due_in());
    // A changeover runs out before the lease.
    let mut bench = Bench::armed(lease(BoilKettle, Duty::FULL));
    bench.lease = Some(lease(LiquorTank, Duty::FULL));
    bench.tick(READY);
    assert_eq!(bench.fast.due_in(), Timing::default().dead_time);
    idle_bench.tick(DARK);
    assert!(idle_bench.fast.due_in() > Span::ZERO);
}

#[test]
fn permission_is_the_worst_of_what_its_inputs_say() {
    let good = idle();
    let tripped = Lease { tripped: true, ..idle() };
    let hold = Lease { hold: true, ..idle() };
    for (switches, armed, lease, clock_runs, expected) in [
        (READY, true, Some(&good), true, Permission::Armed),
        (READY, true, Some(&good), false, Permission::Hold),
        (READY, true, Some(&hold), true, Permission::Hold),
        (READY, false, Some(&hold), true, Permission::Disarmed),
        (READY, false, Some(&good), true, Permission::Disarmed),
        (READY, true, None, true, Permission::Disarmed),
        (READY, true, Some(&tripped), true, Permission::Emergency),
        (Switches { stop_loop: false, ..READY }, true, Some(&good), true, Permission::Emergency),
        (Switches { key: false, ..READY }, true, Some(&good), true, Permission::Emergency),
        (Switches { key: false, ..READY }, false, None, false, Permission::Emergency),
    ] {
        assert_eq!(permission(&switches, armed, lease, clock_runs), expected, "{switches:?} {armed} {lease:?} {clock_runs}");
    }
}

#[test]
fn the_block_is_named_through_the_fast_path_too() {
    let mut bench = Bench::new();
    assert_eq!(bench.fast.block(&READY), Some(Block::Tripped), "nobody has said yet that there is no trip");
    bench.lease = Some(idle());
    bench.tick(READY);
    assert_eq!(bench.fast.block(&READY), Some(Block::KeyNotCycled));
    assert_eq!(bench.fast.interlock().line(), crate::interlock::Line::default());
}
