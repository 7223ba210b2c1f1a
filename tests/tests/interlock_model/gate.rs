//! The fast path's decisions without its clock and its bookkeeping, so that a state can be compared and hashed: the real step functions,
//! wired as the fast path wires them. A test drives both side by side.

use copperhold_core::arming::{self, Panel};
use copperhold_core::fast::{self, Lease, Switches};
use copperhold_core::interlock::{self, Line, Permission, Timing};
use copperhold_core::units::Span;
use copperhold_core::vessel::Element;

/// The step functions under test. The product's are [`Steps::REAL`]; mutants replace one.
#[derive(Clone, Copy)]
pub struct Steps {
    pub arming: fn(arming::State, Span, Panel, Span) -> arming::State,
    pub interlock: fn(interlock::State, Span, Permission, Option<Element>, Timing) -> interlock::State,
    pub permission: fn(&Switches, bool, Option<&Lease>, bool) -> Permission,
    /// The lease in force, of one that has so much left.
    pub in_force: fn(Option<Lease>, Span) -> Option<Lease>,
    /// What a reset leaves.
    pub reset: fn(&Gate) -> Gate,
}

impl Steps {
    pub const REAL: Steps = Steps {
        arming: arming::next,
        interlock: interlock::next,
        permission: fast::permission,
        in_force: |lease, left| lease.filter(|_| left > Span::ZERO),
        reset: |_| Gate::RESET,
    };
}

/// Spans of the hardware, short in the model so that its counters stay small.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Spans {
    pub timing: Timing,
    pub press: Span,
    pub lease: Span,
}

impl Spans {
    /// A supervisor silent for this long must find the contactor open: its lease, the dead time, and a late tick to notice.
    pub const fn silence(&self) -> Span {
        self.lease.plus(self.timing.dead_time).plus(Span::from_millis(30))
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Gate {
    pub arming: arming::State,
    pub interlock: interlock::State,
    pub lease: Option<Lease>,
    pub lease_left: Span,
    pub stopped: bool,
}

impl Gate {
    pub const RESET: Gate = Gate {
        arming: arming::State::Cold,
        interlock: interlock::State::Open,
        lease: None,
        lease_left: Span::ZERO,
        stopped: false,
    };

    pub fn is_armed(&self) -> bool {
        self.arming == arming::State::Armed
    }

    pub fn line(&self) -> Line {
        line(self.interlock)
    }

    /// One fast tick. `elapsed` is `None` while the clock does not run.
    pub fn tick(&mut self, steps: &Steps, spans: &Spans, elapsed: Option<Span>, switches: &Switches) {
        let step = elapsed.unwrap_or_default();
        self.lease_left = self.lease_left.less(step);
        self.stopped |= self.is_armed() && !switches.stop_loop;
        self.decide(steps, spans, step, switches, elapsed.is_some());
    }

    /// A fresh lease takes effect within the tick.
    pub fn renew(&mut self, steps: &Steps, spans: &Spans, lease: Lease, switches: &Switches, clock_runs: bool) {
        self.lease = Some(lease);
        self.lease_left = spans.lease;
        self.decide(steps, spans, Span::ZERO, switches, clock_runs);
    }

    fn decide(&mut self, steps: &Steps, spans: &Spans, step: Span, switches: &Switches, clock_runs: bool) {
        let panel = Panel {
            tripped: self.lease.is_none_or(|lease| lease.tripped),
            stop_loop: switches.stop_loop,
            key: switches.key,
            button: switches.arm,
        };
        self.arming = (steps.arming)(self.arming, step, panel, spans.press);
        let lease = (steps.in_force)(self.lease, self.lease_left);
        let permission = (steps.permission)(switches, self.is_armed(), lease.as_ref(), clock_runs);
        let request = lease.and_then(|lease| lease.heat).map(|(element, _)| element);
        self.interlock = (steps.interlock)(self.interlock, step, permission, request, spans.timing);
    }
}

/// What a state lets through, as the board's contactor and grant.
pub fn line(state: interlock::State) -> Line {
    match state {
        interlock::State::Open => Line { contactor: false, grant: None },
        interlock::State::Closing { .. }
        | interlock::State::Idle
        | interlock::State::Changeover { .. }
        | interlock::State::Opening { .. } => Line { contactor: true, grant: None },
        interlock::State::Granted(element) => Line { contactor: true, grant: Some(element) },
    }
}
