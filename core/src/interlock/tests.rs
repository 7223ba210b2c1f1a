use super::*;
use Permission::{Armed, Disarmed, Emergency, Hold};
use std::collections::{BTreeMap, BTreeSet};
use std::string::{String, ToString};
use std::vec::Vec;

extern crate std;

const TICK: Span = Span::from_millis(10);
const TIMING: Timing = Timing { dead_time: Span::from_millis(30), contactor_settle: Span::from_millis(50) };
const REQUESTS: [Option<Element>; 3] = [None, Some(Element::LiquorTank), Some(Element::BoilKettle)];
const PERMISSIONS: [Permission; 4] = [Emergency, Disarmed, Hold, Armed];
const STEPS: [Span; 4] = [Span::ZERO, TICK, Span::from_millis(35), Span::from_secs(10)];

/// Every state that can be reached with the steps above, by walking all of them.
fn reachable() -> Vec<State> {
    let mut seen = std::vec![State::default()];
    let mut at = 0;
    while let Some(&state) = seen.get(at) {
        for (permission, request, elapsed) in inputs() {
            let to = next(state, elapsed, permission, request, TIMING);
            if !seen.contains(&to) {
                seen.push(to);
            }
        }
        at += 1;
    }
    seen
}

fn inputs() -> impl Iterator<Item = (Permission, Option<Element>, Span)> {
    PERMISSIONS.into_iter().flat_map(|permission| {
        REQUESTS.into_iter().flat_map(move |request| STEPS.into_iter().map(move |step| (permission, request, step)))
    })
}

fn kind(state: State) -> &'static str {
    match state {
        State::Open => "Open",
        State::Closing { .. } => "Closing",
        State::Idle => "Idle",
        State::Granted(_) => "Granted",
        State::Changeover { .. } => "Changeover",
        State::Opening { .. } => "Opening",
    }
}

/// The table in the module's header.
fn documented_edges() -> BTreeMap<String, BTreeSet<String>> {
    let names = |cell: &str| cell.split('`').skip(1).step_by(2).map(ToString::to_string).collect::<BTreeSet<_>>();
    include_str!("../interlock.rs")
        .lines()
        .filter_map(|line| line.strip_prefix("//! | `"))
        .map(|row| {
            let (from, to) = row.split_once("` |").unwrap();
            (from.to_string(), names(to))
        })
        .collect()
}

fn granted_after(interlock: &mut Interlock, request: Element) {
    for _ in 0..20 {
        interlock.tick(TICK, Armed, Some(request));
    }
    assert_eq!(interlock.line(), Line { contactor: true, grant: Some(request) });
}

#[test]
fn the_edges_are_exactly_those_of_the_table_in_the_header() {
    let mut found: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let states = reachable();
    for &state in &states {
        for (permission, request, elapsed) in inputs() {
            let to = next(state, elapsed, permission, request, TIMING);
            found.entry(kind(state).to_string()).or_default().insert(kind(to).to_string());
        }
    }
    assert_eq!(found, documented_edges());
    assert_eq!(found.len(), 6, "every state was reached: {states:?}");
}

#[test]
fn an_emergency_opens_everything_in_the_same_tick_from_every_state() {
    for state in reachable() {
        for (_, request, elapsed) in inputs() {
            assert_eq!(next(state, elapsed, Emergency, request, TIMING), State::Open, "{state:?}");
        }
    }
    let mut interlock = Interlock::new(TIMING);
    granted_after(&mut interlock, Element::BoilKettle);
    assert_eq!(interlock.tick(Span::ZERO, Emergency, Some(Element::BoilKettle)), Line::default());
}

#[test]
fn only_idle_and_armed_can_grant_and_only_what_was_asked_for() {
    for state in reachable() {
        for (permission, request, elapsed) in inputs() {
            let State::Granted(element) = next(state, elapsed, permission, request, TIMING) else { continue };
            assert_eq!((permission, request), (Armed, Some(element)), "{state:?}");
            assert!(matches!(state, State::Idle) || state == State::Granted(element), "{state:?} granted {element:?}");
        }
    }
}

#[test]
fn no_state_waits_longer_than_its_time() {
    for state in reachable() {
        let left = match state {
            State::Closing { left } => left,
            State::Changeover { left } | State::Opening { left } => {
                assert!(left <= TIMING.dead_time, "{state:?}");
                left
            }
            State::Open | State::Idle | State::Granted(_) => Span::ZERO,
        };
        assert!(left <= TIMING.contactor_settle, "{state:?}");
        let due = Interlock { state, timing: TIMING }.due_in();
        assert_eq!(due.is_some(), matches!(state, State::Closing { .. } | State::Changeover { .. } | State::Opening { .. }));
        assert_eq!(due.unwrap_or_default(), left);
    }
}

#[test]
fn after_a_reset_the_contactor_is_open_and_nothing_is_granted() {
    assert_eq!(Interlock::new(TIMING).line(), Line { contactor: false, grant: None });
    assert_eq!(Interlock::default().line(), Line { contactor: false, grant: None });
    assert_eq!(Interlock::new(TIMING).tick(TICK, Disarmed, Some(Element::LiquorTank)), Line::default());
}

#[test]
fn the_contactor_settles_before_the_first_grant() {
    let mut interlock = Interlock::new(TIMING);
    let mut grants = Vec::new();
    for _ in 0..8 {
        let line = interlock.tick(TICK, Armed, Some(Element::LiquorTank));
        assert!(line.contactor);
        grants.push(line.grant.is_some());
    }
    // Closed at 0 ms, settled at 50 ms, granted in the tick after.
    assert_eq!(grants, [false, false, false, false, false, false, true, true]);
}

#[test]
fn between_two_elements_lies_the_dead_time_and_it_is_not_cut_short_by_a_change_of_mind() {
    let mut interlock = Interlock::new(TIMING);
    granted_after(&mut interlock, Element::LiquorTank);
    let asks = [Element::BoilKettle, Element::LiquorTank, Element::BoilKettle, Element::BoilKettle, Element::BoilKettle];
    let grants: Vec<_> = asks.iter().map(|&ask| interlock.tick(TICK, Armed, Some(ask)).grant).collect();
    assert_eq!(grants, [None, None, None, None, Some(Element::BoilKettle)]);
}

#[test]
fn the_dead_time_runs_by_the_clock_and_not_by_the_number_of_ticks() {
    let mut interlock = Interlock::new(TIMING);
    granted_after(&mut interlock, Element::LiquorTank);
    interlock.tick(TICK, Armed, Some(Element::BoilKettle));
    for _ in 0..1_000 {
        assert_eq!(interlock.tick(Span::ZERO, Armed, Some(Element::BoilKettle)).grant, None, "no time passes, no grant comes");
    }
    interlock.tick(Span::from_secs(1), Armed, Some(Element::BoilKettle));
    assert_eq!(interlock.state(), State::Idle, "a late tick counts in full");
}

#[test]
fn a_hold_takes_the_element_but_leaves_the_contactor_closed() {
    let mut interlock = Interlock::new(TIMING);
    granted_after(&mut interlock, Element::LiquorTank);
    assert_eq!(interlock.tick(TICK, Hold, Some(Element::LiquorTank)), Line { contactor: true, grant: None });
    for _ in 0..100 {
        assert_eq!(interlock.tick(TICK, Hold, Some(Element::LiquorTank)), Line { contactor: true, grant: None });
    }
    assert_eq!(interlock.state(), State::Idle);
}

#[test]
fn disarming_opens_the_contactor_dry_a_dead_time_after_the_element() {
    let mut interlock = Interlock::new(TIMING);
    granted_after(&mut interlock, Element::LiquorTank);
    let lines: Vec<_> = (0..5).map(|_| interlock.tick(TICK, Disarmed, Some(Element::LiquorTank))).collect();
    assert!(lines.iter().all(|line| line.grant.is_none()));
    assert_eq!(lines.iter().map(|line| line.contactor).collect::<Vec<_>>(), [true, true, true, false, false]);
}

#[test]
fn disarming_during_a_changeover_waits_only_for_what_is_left_of_it() {
    let mut interlock = Interlock::new(TIMING);
    granted_after(&mut interlock, Element::LiquorTank);
    interlock.tick(TICK, Armed, None);
    interlock.tick(TICK, Armed, None);
    assert_eq!(interlock.state(), State::Changeover { left: Span::from_millis(20) });
    interlock.tick(TICK, Disarmed, None);
    assert_eq!(interlock.state(), State::Opening { left: Span::from_millis(20) });
    interlock.tick(TICK, Disarmed, None);
    interlock.tick(TICK, Disarmed, None);
    assert_eq!(interlock.state(), State::Open);
}

#[test]
fn a_contactor_that_opens_is_not_closed_again_half_way() {
    let mut interlock = Interlock::new(TIMING);
    granted_after(&mut interlock, Element::LiquorTank);
    interlock.tick(TICK, Disarmed, None);
    let contactor: Vec<_> = (0..4).map(|_| interlock.tick(TICK, Armed, None).contactor).collect();
    assert_eq!(contactor, [true, true, false, true]);
    assert_eq!(interlock.state(), State::Closing { left: TIMING.contactor_settle });
}

#[test]
fn an_emergency_that_cuts_the_dead_time_short_is_paid_back_when_the_contactor_closes() {
    let quick = Timing { dead_time: Span::from_millis(30), contactor_settle: Span::ZERO };
    let mut interlock = Interlock::new(quick);
    granted_after(&mut interlock, Element::LiquorTank);
    interlock.tick(TICK, Emergency, None);
    let mut waited = Span::ZERO;
    while interlock.tick(TICK, Armed, Some(Element::BoilKettle)).grant.is_none() {
        waited = waited.plus(TICK);
    }
    assert!(waited >= quick.dead_time, "the kettle followed the tank after {waited:?}");
}
