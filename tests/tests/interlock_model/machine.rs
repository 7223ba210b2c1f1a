//! The machine that is searched: gate, guard and a person's part, and one step of them with its watchers.

use super::gate::{Gate, Spans, Steps};
use super::watch::{Broken, Moment, Past, Person};
use copperhold_core::fast::{Lease, Switches};
use copperhold_core::guard::{Facts, Guard, Notice, PATIENCE_RETURNS, PROBE_PATIENCE, Trip, Verdict};
use copperhold_core::interlock::{Line, Timing};
use copperhold_core::probe::ProbeFault;
use copperhold_core::units::{Celsius, Duty, Instant, Span};
use copperhold_core::vessel::{Element, PerVessel, Pumps};

pub const TICK: Span = Span::from_millis(10);
pub const SPANS: Spans = Spans {
    timing: Timing { dead_time: Span::from_millis(30), contactor_settle: Span::from_millis(20) },
    press: Span::from_millis(20),
    lease: Span::from_millis(30),
};
/// Guard ticks: a hot vessel trips in the first, a blind one in the second.
const GUARD_TICK: Span = Span::from_millis(2_500);

/// How time goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Pace {
    Tick,
    /// Longer than the dead time and the lease.
    Late,
    /// The clock stands.
    Stuck,
    /// The supply dips, or the watchdog strikes: everything that is not hardware or a person starts anew.
    Reset,
}

/// What the guard sees.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Probes {
    Fine,
    Blind,
    Hot,
}

/// One tick's inputs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Input {
    pub stop_loop: bool,
    pub key: bool,
    pub arm: bool,
    pub pace: Pace,
    /// The supervisor's part, if it is due: readings, acknowledge button, what the arbiter would like.
    pub control: Option<(Probes, bool, Option<Element>)>,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct State {
    pub gate: Gate,
    pub guard: Guard,
    pub past: Past,
    pub person: Person,
    pub acknowledge_was_down: bool,
    pub silent: Span,
    pub blind_for: Span,
    pub broken: Option<Broken>,
}

/// How the guard is asked: the real one, or a mutant.
pub type Watch = fn(&mut Guard, &Facts) -> Verdict;

pub struct Machine {
    pub steps: Steps,
    pub watch: Watch,
}

pub fn real_guard(guard: &mut Guard, facts: &Facts) -> Verdict {
    guard.tick(facts, |_: Notice| {})
}

pub fn fresh_guard() -> Guard {
    Guard::new(PerVessel::build(|_| Celsius::from_milli(90_000)))
}

impl Machine {
    pub const REAL: Machine = Machine { steps: Steps::REAL, watch: real_guard };

    fn see(&self, state: &mut State, before: Gate, elapsed: Option<Span>, switches: &Switches) {
        let lease = state.gate.lease;
        let moment = Moment {
            before: before.line(),
            after: state.gate.line(),
            elapsed: elapsed.unwrap_or_default(),
            emergency: !switches.stop_loop || !switches.key || lease.is_some_and(|lease| lease.tripped),
            armed: state.gate.is_armed(),
            clock_runs: elapsed.is_some(),
            asked: lease.filter(|lease| !lease.hold).and_then(|lease| lease.heat).map(|(element, _)| element),
            silent: state.silent,
        };
        let broken = state.past.see(&moment, &SPANS);
        state.broken = state.broken.or(broken);
        if state.gate.is_armed() && !state.person.may_be_armed() {
            state.broken = state.broken.or(Some(Broken::ArmedWithoutAPerson));
        }
    }

    pub fn step(&self, state: &mut State, input: &Input) {
        let switches = Switches { stop_loop: input.stop_loop, key: input.key, arm: input.arm, ..Switches::default() };
        let elapsed = match input.pace {
            Pace::Tick => Some(TICK),
            Pace::Late => Some(Span::from_millis(40)),
            Pace::Stuck => None,
            Pace::Reset => return self.reset(state),
        };
        state.silent = state.silent.plus(elapsed.unwrap_or_default()).min(SPANS.silence());
        let blocked = !input.stop_loop || state.gate.lease.is_none_or(|lease| lease.tripped);
        state.person.see(blocked, input.key, input.arm, elapsed.unwrap_or_default());
        let before = state.gate;
        state.gate.tick(&self.steps, &SPANS, elapsed, &switches);
        self.see(state, before, elapsed, &switches);
        let Some((probes, acknowledge, request)) = input.control else { return };

        let lease = self.control(state, input.stop_loop, probes, acknowledge, request);
        state.silent = Span::ZERO;
        if lease.tripped {
            state.person = Person::default();
        } else {
            // The tick in which a trip is acknowledged, or the very first, may already see the key.
            state.person.see(!input.stop_loop, input.key, input.arm, Span::ZERO);
        }
        let before = state.gate;
        state.gate.renew(&self.steps, &SPANS, lease, &switches, elapsed.is_some());
        self.see(state, before, elapsed.map(|_| Span::ZERO), &switches);
    }

    fn reset(&self, state: &mut State) {
        let (before, armed_before) = (state.gate, state.gate.is_armed());
        *state = State {
            gate: (self.steps.reset)(&state.gate),
            guard: fresh_guard(),
            person: Person::default(),
            acknowledge_was_down: true,
            silent: SPANS.silence(),
            blind_for: Span::ZERO,
            ..state.clone()
        };
        state.past = state.past.let_go(before.line());
        if state.gate.line() != Line::default() || (armed_before && state.gate.is_armed()) {
            state.broken = state.broken.or(Some(Broken::ResetNotCold));
        }
    }

    fn control(&self, state: &mut State, stop_loop: bool, probes: Probes, acknowledge: bool, request: Option<Element>) -> Lease {
        let reading = match probes {
            Probes::Fine => Ok(Celsius::from_milli(20_000)),
            Probes::Blind => Err(ProbeFault::Open),
            Probes::Hot => Ok(Celsius::from_milli(95_000)),
        };
        let facts = Facts {
            now: Instant::START,
            // A tick that sees gives back as much patience as a blind one takes: a state for each would be fifteen times as many.
            elapsed: if probes == Probes::Blind { GUARD_TICK } else { GUARD_TICK.times(PATIENCE_RETURNS) },
            readings: PerVessel { boil_kettle: reading, ..PerVessel::build(|_| Ok(Celsius::from_milli(20_000))) },
            relied: PerVessel::build(|_| true),
            stopped: core::mem::take(&mut state.gate.stopped),
            stop_loop,
            clock_fault: false,
            acknowledge,
            found: None,
            hold: false,
        };
        let latch = state.guard.latch();
        let verdict = (self.watch)(&mut state.guard, &facts);
        let pressed = acknowledge && !state.acknowledge_was_down;
        state.acknowledge_was_down = acknowledge;
        let now = state.guard.latch();
        state.blind_for = match probes {
            Probes::Blind => state.blind_for.plus(GUARD_TICK).min(PROBE_PATIENCE),
            Probes::Fine | Probes::Hot => state.blind_for.less(GUARD_TICK),
        };
        let at_ease = !facts.stopped
            && match probes {
                Probes::Fine => stop_loop || latch.is_none_or(|latch| latch.trip != Trip::StopLoop),
                // Blind for less than the guard's patience is a hold, unless that is what it tripped on.
                Probes::Blind => {
                    state.blind_for < PROBE_PATIENCE && latch.is_none_or(|latch| !matches!(latch.trip, Trip::Probe(..)))
                }
                Probes::Hot => false,
            };
        if latch.is_some() && now.is_none() {
            state.blind_for = Span::ZERO;
        }
        let broken = match (latch, now) {
            (Some(_), None) if !(pressed && at_ease) => Some(Broken::TripLeftWithoutAPress),
            (Some(first), Some(now)) if first.trip != now.trip => Some(Broken::FirstCauseReplaced),
            (Some(_) | None, Some(_) | None) => None,
        };
        state.broken = state.broken.or(broken);
        let heat = request.filter(|_| verdict == Verdict::Clear).map(|element| (element, Duty::FULL));
        Lease { tripped: verdict == Verdict::Tripped, hold: verdict == Verdict::Hold, heat, pumps: Pumps::default() }
    }

    /// From here a person and a supervisor who mean well get heat within this many ticks: acknowledge, cycle the key, press, ask.
    pub fn gets_heat(&self, from: &State, element: Element) -> bool {
        let mut state = from.clone();
        let good = |key, arm, acknowledge| Input {
            stop_loop: true,
            key,
            arm,
            pace: Pace::Tick,
            control: Some((Probes::Fine, acknowledge, Some(element))),
        };
        let panel = [(true, false, false), (true, false, true), (true, false, false), (false, false, false), (true, false, false)];
        for (key, arm, acknowledge) in panel.into_iter().chain([(true, true, false); 4]) {
            self.step(&mut state, &good(key, arm, acknowledge));
        }
        (0..16).any(|_| {
            self.step(&mut state, &good(true, false, false));
            state.gate.line().grant == Some(element)
        })
    }
}
