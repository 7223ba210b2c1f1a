//! The fast path: switches, arming, interlock and burst-fire, 100 times a second or faster.
//!
//! It trusts nobody. A stop or the key takes effect in the tick that sees it. Heat is a *lease*: the supervisor renews it each control
//! tick, and when it does not, the element drops by itself and the contactor opens. Time that does not move forward drops the element
//! too.

use crate::arming::{Arming, Block, Panel};
use crate::burst::{Burst, Mains};
use crate::guard::sense::Sense;
use crate::interlock::{Interlock, Permission, Timing};
use crate::units::{Duty, Instant, Span};
use crate::vessel::{Element, PerElement, Pumps};

/// A lease lasts this long: six control ticks, and half again the longest step of a co-simulation (1 s), which renews it only after
/// the step has passed.
pub const LEASE: Span = Span::from_millis(1_500);
/// Ticks in a row in which time did not move forward before it is a fault of the clock.
pub const CLOCK_PATIENCE: u8 = 10;
/// A gap between two ticks that no honest scheduler leaves while armed.
pub const CLOCK_JUMP: Span = Span::from_secs(5);

/// Switches at the panel, as wired: every one reads false when its wire is broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Switches {
    /// The stop loop is closed: emergency stop released, cut-out in order.
    pub stop_loop: bool,
    /// The key is on.
    pub key: bool,
    /// The arm button is down.
    pub arm: bool,
    /// The acknowledge button is down.
    pub acknowledge: bool,
    /// The selector.
    pub selector: Selector,
    /// Sense lines, where the rig has them.
    pub sense: Sense,
}

/// A switch with which a person decides who may have the element.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Selector {
    /// The arbiter decides.
    #[default]
    Auto,
    /// Only this element may be granted.
    Only(Element),
}

impl Selector {
    /// Whether this element may be granted.
    pub fn allows(self, element: Element) -> bool {
        match self {
            Selector::Auto => true,
            Selector::Only(only) => only == element,
        }
    }
}

/// What the supervisor lets the fast path do until it is renewed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Lease {
    /// A trip is latched.
    pub tripped: bool,
    /// The guard cannot see: no element, but stay armed.
    pub hold: bool,
    /// Which element, and at what share of full power.
    pub heat: Option<(Element, Duty)>,
    /// Pumps. They run through a hold, but only while armed: a stop stops them too. They never energise an element.
    pub pumps: Pumps,
}

/// What the power side gets until the next tick. Everything is off by default.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Outputs {
    /// Contactor coil.
    pub contactor: bool,
    /// The element that conducts now, if any.
    pub element: Option<Element>,
    /// The element that holds the grant; it conducts when burst-fire says so.
    pub grant: Option<Element>,
    /// Pumps.
    pub pumps: Pumps,
    /// Armed.
    pub armed: bool,
}

/// What the fast path tells the supervisor at each control tick.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct FastReport {
    /// Armed now.
    pub armed: bool,
    /// It was disarmed at some moment since the last report, even if it is armed again.
    pub disarmed: bool,
    /// The stop loop opened while armed since the last report.
    pub stopped: bool,
    /// The clock misbehaved since the last report.
    pub clock_fault: bool,
    /// An output's pad did not follow its command.
    pub astray: bool,
    /// Mean share of full power each element really had since the last report.
    pub applied: PerElement<Duty>,
    /// Who holds the grant.
    pub grant: Option<Element>,
    /// The contactor's coil is commanded.
    pub contactor: bool,
}

/// The fast path.
#[derive(Debug, Clone)]
pub struct FastPath {
    arming: Arming,
    interlock: Interlock,
    burst: Burst,
    lease: Option<Lease>,
    lease_left: Span,
    last: Option<Instant>,
    still: u8,
    disarmed: bool,
    stopped: bool,
    clock_fault: bool,
    astray: bool,
    since_report: Span,
    on_time: PerElement<Span>,
    outputs: Outputs,
}

impl FastPath {
    /// Starts disarmed, everything off. `press` is how long the arm button must be held.
    pub const fn new(mains: Mains, timing: Timing, press: Span) -> FastPath {
        FastPath {
            arming: Arming::new(press),
            interlock: Interlock::new(timing),
            burst: Burst::new(mains),
            lease: None,
            lease_left: Span::ZERO,
            last: None,
            still: 0,
            disarmed: false,
            stopped: false,
            clock_fault: false,
            astray: false,
            since_report: Span::ZERO,
            on_time: PerElement { liquor_tank: Span::ZERO, boil_kettle: Span::ZERO },
            outputs: Outputs {
                contactor: false,
                element: None,
                grant: None,
                pumps: Pumps { liquor: false, mash: false, wort: false },
                armed: false,
            },
        }
    }

    /// Takes a fresh lease from the supervisor.
    pub fn renew(&mut self, lease: Lease) {
        self.lease = Some(lease);
        self.lease_left = LEASE;
    }

    /// Where the interlock stands.
    pub const fn interlock(&self) -> &Interlock {
        &self.interlock
    }

    /// The outputs of the last tick.
    pub const fn outputs(&self) -> Outputs {
        self.outputs
    }

    /// The clock has misbehaved since the last report, beyond patience.
    pub const fn clock_is_faulty(&self) -> bool {
        self.clock_fault
    }

    /// A pad was read back and does not follow its command: elements and contactor off, and the supervisor will hear of it.
    pub const fn lines_astray(&mut self) {
        self.astray = true;
    }

    /// What stands in the way of arming.
    pub fn block(&self, switches: &Switches) -> Option<Block> {
        self.arming.block(self.panel(switches))
    }

    /// Moves on to `now`.
    pub fn tick(&mut self, now: Instant, switches: &Switches) -> Outputs {
        let elapsed = self.elapse(now);
        let step = elapsed.unwrap_or(Span::ZERO);
        self.account(step);
        self.lease_left = self.lease_left.less(step);
        if self.arming.is_armed() && !switches.stop_loop {
            self.stopped = true;
        }
        self.arm(step, switches);
        self.decide(step, switches, elapsed.is_some())
    }

    /// Puts a fresh lease into force within the same tick: no time passes.
    pub fn apply(&mut self, switches: &Switches) -> Outputs {
        self.arm(Span::ZERO, switches);
        self.decide(Span::ZERO, switches, self.still == 0)
    }

    fn arm(&mut self, step: Span, switches: &Switches) {
        let was_armed = self.arming.is_armed();
        let is_armed = self.arming.tick(step, self.panel(switches));
        self.disarmed |= was_armed && !is_armed;
    }

    fn decide(&mut self, step: Span, switches: &Switches, clock_runs: bool) -> Outputs {
        let armed = self.arming.is_armed();
        // Without a lease nobody watches: no heat, no pumps.
        let lease = self.lease.filter(|_| self.lease_left > Span::ZERO);
        let permission = if self.astray { Permission::Emergency } else { permission(switches, armed, lease.as_ref(), clock_runs) };
        let heat = lease.and_then(|lease| lease.heat).filter(|&(element, _)| switches.selector.allows(element));
        let line = self.interlock.tick(step, permission, heat.map(|(element, _)| element));
        let duty = heat.map_or(Duty::ZERO, |(_, duty)| duty);
        self.outputs = Outputs {
            contactor: line.contactor,
            element: self.fire(step, line.grant, duty),
            grant: line.grant,
            pumps: lease.filter(|_| armed).map(|lease| lease.pumps).unwrap_or_default(),
            armed,
        };
        self.outputs
    }

    /// The time by which the next tick must come if no input changes before: until then the outputs stay as they are.
    pub fn due_in(&self) -> Span {
        let mut due = self.lease_left;
        if self.outputs.grant.is_some() && self.burst_is_partial() {
            due = due.min(self.burst.due_in());
        }
        if let Some(left) = self.interlock.due_in() {
            due = due.min(left);
        }
        due
    }

    /// Hands over what happened since the last report.
    pub fn report(&mut self) -> FastReport {
        let applied = PerElement::build(|element| share(*self.on_time.get(element), self.since_report));
        let report = FastReport {
            armed: self.outputs.armed,
            disarmed: self.disarmed,
            stopped: self.stopped,
            clock_fault: self.clock_fault,
            astray: self.astray,
            applied,
            grant: self.outputs.grant,
            contactor: self.outputs.contactor,
        };
        self.disarmed = false;
        self.stopped = false;
        self.clock_fault = false;
        self.astray = false;
        self.since_report = Span::ZERO;
        self.on_time = PerElement::default();
        report
    }

    fn burst_is_partial(&self) -> bool {
        let duty = self.lease.and_then(|lease| lease.heat).map_or(Duty::ZERO, |(_, duty)| duty);
        duty != Duty::ZERO && !(duty == Duty::FULL && self.burst.is_on())
    }

    fn panel(&self, switches: &Switches) -> Panel {
        Panel {
            tripped: self.lease.is_none_or(|lease| lease.tripped),
            stop_loop: switches.stop_loop,
            key: switches.key,
            button: switches.arm,
        }
    }

    /// Time since the last tick; `None` while the clock misbehaves. The very first tick has nothing to measure from.
    fn elapse(&mut self, now: Instant) -> Option<Span> {
        let Some(last) = self.last else {
            self.last = Some(now);
            return None;
        };
        match now.since(last) {
            Some(span) if span > Span::ZERO => {
                if span > CLOCK_JUMP && self.arming.is_armed() {
                    self.clock_fault = true;
                }
                self.last = Some(now);
                self.still = 0;
                Some(span)
            }
            Some(_) | None => {
                self.still = self.still.saturating_add(1);
                if self.still >= CLOCK_PATIENCE {
                    self.clock_fault = true;
                }
                None
            }
        }
    }

    /// Books the time that has passed on the element that conducted.
    fn account(&mut self, step: Span) {
        self.since_report = self.since_report.plus(step);
        if let Some(element) = self.outputs.element {
            let on_time = self.on_time.get_mut(element);
            *on_time = on_time.plus(step);
        }
    }

    fn fire(&mut self, step: Span, grant: Option<Element>, duty: Duty) -> Option<Element> {
        // A fresh grant owes nothing for the time before it.
        let step = if grant == self.outputs.grant {
            step
        } else {
            self.burst.stop();
            Span::ZERO
        };
        grant.filter(|_| self.burst.tick(step, duty))
    }
}

/// What the interlock may do. `lease`: the one in force; without it nobody watches, and the contactor opens.
pub fn permission(switches: &Switches, armed: bool, lease: Option<&Lease>, clock_runs: bool) -> Permission {
    if !switches.stop_loop || !switches.key {
        return Permission::Emergency;
    }
    match lease {
        Some(lease) if lease.tripped => Permission::Emergency,
        Some(lease) if armed => {
            if lease.hold || !clock_runs {
                Permission::Hold
            } else {
                Permission::Armed
            }
        }
        Some(_) | None => Permission::Disarmed,
    }
}

/// `part / whole` as a duty, rounded down; zero for an empty whole. A whole above an hour counts as an hour.
fn share(part: Span, whole: Span) -> Duty {
    let whole_us = whole.as_micros().min(3_600_000_000);
    let ratio = (part.as_micros().min(whole_us) << 16).checked_div(whole_us);
    Duty::from_fixed(fixed::types::I16F16::from_bits(i32::try_from(ratio.unwrap_or(0)).unwrap_or(i32::MAX)))
}

#[cfg(test)]
mod tests;
