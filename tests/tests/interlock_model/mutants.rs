//! Step functions with one defect each, as somebody might write them on a bad day.

use super::machine::{TICK, Watch, fresh_guard, real_guard};
use crate::gate::{Gate, Steps};
use copperhold_core::arming::{self, Panel};
use copperhold_core::fast::{self, Lease, Switches};
use copperhold_core::guard::{Facts, Guard, Verdict};
use copperhold_core::interlock::{self, Permission, Timing};
use copperhold_core::units::Span;
use copperhold_core::vessel::Element;

/// A mutant, and the rules any of which must catch it.
pub struct Mutant {
    pub name: &'static str,
    pub steps: Steps,
    pub watch: Watch,
    pub rules: &'static [&'static str],
}

const DEAD_TIME: &str = "dead time between different elements";
const EMERGENCY: &str = "everything off in the tick of an emergency";
const SILENT: &str = "contactor open when the supervisor is silent";
const PERSON: &str = "armed only by key off, key on, and a fresh press";
const OPENS: &str = "contactor opens without load, except in an emergency";
const CLOSES: &str = "contactor closes and settles without load";
const ASKED: &str = "no element that was not asked for, nor through a hold";
const CLOCK: &str = "no element while the clock stands";
const LIVENESS: &str = "whoever means well gets heat in the end";
const TWO: &str = "never two elements";
const UNARMED: &str = "no element unless armed";
const LEASE: &str = "no element beyond the lease";
const FIRST: &str = "the first cause stays";
const RESET: &str = "a reset is cold";
const LATCH: &str = "a trip is left only by a fresh press without a cause";

pub fn all() -> Vec<Mutant> {
    use arming::State as A;
    use interlock::State as I;
    type Interlock = fn(I, Span, Permission, Option<Element>, Timing) -> I;
    type Arming = fn(A, Span, Panel, Span) -> A;
    type Allow = fn(&Switches, bool, Option<&Lease>, bool) -> Permission;
    let interlock =
        |name, step: Interlock, rules| Mutant { name, steps: Steps { interlock: step, ..Steps::REAL }, watch: real_guard, rules };
    let arming =
        |name, step: Arming, rules| Mutant { name, steps: Steps { arming: step, ..Steps::REAL }, watch: real_guard, rules };
    let permission =
        |name, step: Allow, rules| Mutant { name, steps: Steps { permission: step, ..Steps::REAL }, watch: real_guard, rules };
    let guard = |name, watch: Watch, rules| Mutant { name, steps: Steps::REAL, watch, rules };
    vec![
        interlock(
            "the other element gets the grant before the first relay has let go",
            |state, elapsed, allowed, request, timing| match (state, allowed, request) {
                (I::Granted(_), Permission::Armed, Some(element)) => I::Granted(element),
                _ => interlock::next(state, elapsed, allowed, request, timing),
            },
            &[TWO],
        ),
        permission(
            "nobody asks whether it is armed",
            |switches, _, lease, clock_runs| fast::permission(switches, true, lease, clock_runs),
            &[UNARMED],
        ),
        Mutant {
            name: "a lease never expires",
            steps: Steps { in_force: |lease, _| lease, ..Steps::REAL },
            watch: real_guard,
            rules: &[LEASE],
        },
        Mutant {
            name: "a reset forgets the guard and keeps what was armed",
            steps: Steps { reset: |gate| Gate { lease: None, ..*gate }, ..Steps::REAL },
            watch: real_guard,
            rules: &[RESET],
        },
        guard(
            "a later cause takes the place of the first",
            |guard, facts| {
                let first = guard.latch();
                let verdict = guard.tick(facts, |_| {});
                let mut fresh = fresh_guard();
                let second = (fresh.tick(facts, |_| {}) == Verdict::Tripped).then(|| fresh.latch()).flatten();
                if first.is_some() && second.is_some() {
                    *guard = fresh;
                }
                verdict
            },
            &[FIRST],
        ),
        interlock(
            "the dead time is one tick short",
            |state, elapsed, allowed, request, timing| match interlock::next(state, elapsed, allowed, request, timing) {
                I::Changeover { left } if matches!(state, I::Granted(_)) => I::Changeover { left: left.less(TICK) },
                next => next,
            },
            &[DEAD_TIME],
        ),
        interlock(
            "no settling at all",
            |state, elapsed, allowed, request, timing| match interlock::next(state, elapsed, allowed, request, timing) {
                I::Closing { .. } => I::Idle,
                next => next,
            },
            &[CLOSES],
        ),
        interlock(
            "an emergency is treated as an orderly disarm",
            |state, elapsed, allowed, request, timing| {
                let allowed = if allowed == Permission::Emergency { Permission::Hold } else { allowed };
                interlock::next(state, elapsed, allowed, request, timing)
            },
            &[EMERGENCY],
        ),
        interlock(
            "an emergency is not seen while an element is granted",
            |state, elapsed, allowed, request, timing| match state {
                I::Granted(_) if allowed == Permission::Emergency => state,
                _ => interlock::next(state, elapsed, allowed, request, timing),
            },
            &[EMERGENCY],
        ),
        interlock(
            "disarming opens the contactor together with the element",
            |state, elapsed, allowed, request, timing| match (state, allowed) {
                (I::Granted(_), Permission::Disarmed) => I::Open,
                _ => interlock::next(state, elapsed, allowed, request, timing),
            },
            &[OPENS],
        ),
        interlock(
            "disarming during a changeover forgets the dead time",
            |state, elapsed, allowed, request, timing| match (state, allowed) {
                (I::Changeover { .. }, Permission::Disarmed) => I::Opening { left: Span::ZERO },
                _ => interlock::next(state, elapsed, allowed, request, timing),
            },
            &[OPENS],
        ),
        interlock(
            "a hold keeps the grant",
            |state, elapsed, allowed, request, timing| match (state, allowed) {
                (I::Granted(_), Permission::Hold) => state,
                _ => interlock::next(state, elapsed, allowed, request, timing),
            },
            &[ASKED, CLOCK],
        ),
        interlock(
            "the kettle is never granted",
            |state, elapsed, allowed, request, timing| {
                interlock::next(state, elapsed, allowed, request.filter(|&element| element == Element::LiquorTank), timing)
            },
            &[LIVENESS],
        ),
        interlock(
            "a contactor that opens never gets there",
            |state, elapsed, allowed, request, timing| match (state, allowed) {
                (I::Opening { .. }, Permission::Disarmed | Permission::Hold | Permission::Armed) => state,
                _ => interlock::next(state, elapsed, allowed, request, timing),
            },
            &[SILENT],
        ),
        arming(
            "a stop needs no turn of the key",
            |state, elapsed, panel, press| match arming::next(state, elapsed, panel, press) {
                A::Cold if state != A::Cold => A::KeySeenOff,
                next => next,
            },
            &[PERSON],
        ),
        arming(
            "a key that is on after a reset will do",
            |state, elapsed, panel, press| match (state, panel) {
                (A::Cold, Panel { tripped: false, stop_loop: true, key: true, .. }) => A::KeySeenOff,
                _ => arming::next(state, elapsed, panel, press),
            },
            &[PERSON],
        ),
        arming(
            "a button that was never up will do",
            |state, elapsed, panel, press| match (state, panel) {
                (A::KeySeenOff, Panel { tripped: false, stop_loop: true, key: true, button: true }) => {
                    A::Pressing { held: Span::ZERO }
                }
                _ => arming::next(state, elapsed, panel, press),
            },
            &[PERSON],
        ),
        arming(
            "no press is needed",
            |state, elapsed, panel, press| match arming::next(state, elapsed, panel, press) {
                A::Ready => A::Armed,
                next => next,
            },
            &[PERSON],
        ),
        arming(
            "armed stays armed with the stop loop open",
            |state, elapsed, panel, press| match state {
                A::Armed if panel.key && !panel.tripped => A::Armed,
                _ => arming::next(state, elapsed, panel, press),
            },
            &[PERSON],
        ),
        arming(
            "armed stays armed through a turn of the key",
            |state, elapsed, panel, press| match state {
                A::Armed if panel.stop_loop && !panel.tripped => A::Armed,
                _ => arming::next(state, elapsed, panel, press),
            },
            &[PERSON],
        ),
        arming(
            "a trip does not disarm",
            |state, elapsed, panel, press| arming::next(state, elapsed, Panel { tripped: false, ..panel }, press),
            &[PERSON],
        ),
        permission(
            "an expired lease is as good as a fresh one",
            |switches, armed, lease, clock_runs| match lease {
                None if armed && switches.stop_loop && switches.key => Permission::Armed,
                _ => fast::permission(switches, armed, lease, clock_runs),
            },
            // The request goes with the lease, so no element is on; but the contactor stays closed.
            &[SILENT],
        ),
        permission(
            "a clock that stands is not noticed",
            |switches, armed, lease, _| fast::permission(switches, armed, lease, true),
            &[CLOCK],
        ),
        permission(
            "the key is not looked at",
            |switches, armed, lease, clock_runs| fast::permission(&Switches { key: true, ..*switches }, armed, lease, clock_runs),
            // Arming looks at it too, and disarms in good order; but the key must take everything at once.
            &[EMERGENCY],
        ),
        guard(
            "a trip goes away with its cause",
            |guard, facts| {
                let held = Facts { acknowledge: true, ..*facts };
                let released = Facts { acknowledge: false, ..*facts };
                guard.tick(&released, |_| {});
                guard.tick(&held, |_| {})
            },
            &[LATCH],
        ),
        guard(
            "an acknowledge button held down will do",
            |guard, facts| {
                if facts.acknowledge {
                    guard.tick(&Facts { acknowledge: false, ..*facts }, |_| {});
                }
                guard.tick(facts, |_| {})
            },
            &[LATCH],
        ),
        guard(
            "an acknowledgement is taken while the cause holds",
            |guard: &mut Guard, facts: &Facts| {
                let before = guard.latch();
                let verdict = guard.tick(facts, |_| {});
                if before.is_some() && facts.acknowledge { (*guard = fresh_guard(), Verdict::Clear).1 } else { verdict }
            },
            &[LATCH],
        ),
    ]
}
