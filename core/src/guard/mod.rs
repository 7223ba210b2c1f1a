//! The guard: watches for danger, before and without knowing what is demanded.
//!
//! Job: look at readings, at what was really fired, switches and time each control tick; *hold* (no element, recovers by itself) while it cannot see, *trip*
//! (everything off, latched) when it has seen danger for long enough, *advise* when a person should look but nothing needs to stop.
//!
//! Terms: a *cause* is a fact that holds now; a trip outlives its cause. The first cause is the one that is reported; later ones are
//! counted. A trip is left by one door only: a fresh press of the acknowledge button after every cause has gone.

pub mod detectors;
pub mod flow;
pub mod heat_watch;
pub mod sense;
pub mod service;
#[cfg(test)]
mod tests;
mod trip;

pub use trip::{Advice, Trip};

use crate::probe::Reading;
use crate::units::{Celsius, Instant, Kelvin, Span};
use crate::vessel::{PerVessel, Vessel};

/// A probe that is relied upon may be without a reading for this long; meanwhile no element is granted. Three conversions of the slowest
/// probe (one-wire, 0.75 s) fit twice. The hold ends by itself: 10 L on 5.5 kW move by 0.7 K in that time, and a brewer who is called for
/// every second's break in a cable stops listening.
pub const PROBE_PATIENCE: Span = Span::from_secs(5);
/// But it comes back slowly, a second for this many that are well: a probe that is away for one second in sixteen trips in the end.
pub const PATIENCE_RETURNS: u64 = 15;
/// A vessel must read above its limit for this long: a glitch has passed the median filter by then, real water has moved by 0.2 K at
/// most (10 L on 5.5 kW climbs 0.13 K/s).
pub const LIMIT_PATIENCE: Span = Span::from_secs(2);
/// A vessel that tripped on its limit must fall this far below it before the trip can be acknowledged.
pub const LIMIT_RELEASE: Kelvin = Kelvin::from_milli(1_000);

const BLIND_US: u32 = PROBE_PATIENCE.short_us();
const HOT_US: u32 = LIMIT_PATIENCE.short_us();

/// The facts of one control tick.
#[derive(Debug, Clone, Copy)]
pub struct Facts {
    /// When.
    pub now: Instant,
    /// Time since the last control tick.
    pub elapsed: Span,
    /// Readings, after the plausibility filter.
    pub readings: PerVessel<Reading>,
    /// Vessels that heat was sent to lately, see [`service`].
    pub relied: PerVessel<bool>,
    /// The stop loop opened while armed, at any moment since the last control tick.
    pub stopped: bool,
    /// The stop loop is closed now.
    pub stop_loop: bool,
    /// The clock misbehaved, beyond the patience of the fast path.
    pub clock_fault: bool,
    /// The acknowledge button is down.
    pub acknowledge: bool,
    /// What the detectors in [`heat_watch`] and [`sense`] found.
    pub found: Option<Trip>,
    /// A detector asks for no element just now.
    pub hold: bool,
}

/// What the guard allows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// Nothing is wrong.
    Clear,
    /// No element until it recovers.
    Hold,
    /// A trip is latched.
    Tripped,
}

/// A latched trip.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Latch {
    /// The first cause.
    pub trip: Trip,
    /// When it tripped.
    pub at: Instant,
    /// Other causes that have come since, not counting the first.
    pub later: u16,
}

/// The guard.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Guard {
    limits: PerVessel<Celsius>,
    latch: Option<Latch>,
    last_cause: Option<Trip>,
    /// In microseconds: a word each, not two.
    blind_us: PerVessel<u32>,
    hot_us: PerVessel<u32>,
    acknowledge_was_down: bool,
    advised: PerVessel<bool>,
}

impl Guard {
    /// A guard with nothing latched. The acknowledge button counts as held until it has been seen released.
    pub fn new(limits: PerVessel<Celsius>) -> Guard {
        Guard {
            limits,
            latch: None,
            last_cause: None,
            blind_us: PerVessel::default(),
            hot_us: PerVessel::default(),
            acknowledge_was_down: true,
            advised: PerVessel::default(),
        }
    }

    /// The trip that is latched.
    pub const fn latch(&self) -> Option<Latch> {
        self.latch
    }

    /// Hard limit of a vessel.
    pub const fn limit(&self, vessel: Vessel) -> Celsius {
        *self.limits.get(vessel)
    }

    /// Looks at the facts. `tell` hears of a new trip, an acknowledgement and advice.
    pub fn tick(&mut self, facts: &Facts, mut tell: impl FnMut(Notice)) -> Verdict {
        for vessel in Vessel::ALL {
            self.watch_probe(vessel, facts, &mut tell);
        }
        let cause = self.cause(facts);
        self.latch_cause(cause, facts.now, &mut tell);
        let pressed = facts.acknowledge && !self.acknowledge_was_down;
        self.acknowledge_was_down = facts.acknowledge;
        if pressed
            && cause.is_none()
            && let Some(latch) = self.latch.take()
        {
            self.blind_us = PerVessel::default();
            tell(Notice::Acknowledged(latch.trip));
        }
        if self.latch.is_some() {
            Verdict::Tripped
        } else if facts.hold || self.is_blind(facts) {
            Verdict::Hold
        } else {
            Verdict::Clear
        }
    }

    fn watch_probe(&mut self, vessel: Vessel, facts: &Facts, tell: &mut impl FnMut(Notice)) {
        let reading = *facts.readings.get(vessel);
        let elapsed = facts.elapsed.short_us();
        let blind_us = self.blind_us.get_mut(vessel);
        let hot_us = self.hot_us.get_mut(vessel);
        match reading {
            Ok(temperature) => {
                *blind_us = blind_us.saturating_sub(elapsed / const { PATIENCE_RETURNS as u32 });
                let limit = *self.limits.get(vessel);
                if temperature >= limit {
                    *hot_us = hot_us.saturating_add(elapsed).min(HOT_US);
                } else if temperature < limit.less(LIMIT_RELEASE) || *hot_us < HOT_US {
                    *hot_us = 0;
                }
                *self.advised.get_mut(vessel) = false;
            }
            Err(fault) => {
                *blind_us = blind_us.saturating_add(elapsed).min(BLIND_US);
                let advised = self.advised.get_mut(vessel);
                // Once, and not for a probe that is only starting up: a warning that nags is not read.
                if !*facts.relied.get(vessel) && !*advised && *blind_us >= BLIND_US {
                    *advised = true;
                    tell(Notice::Advised(Advice::Probe(vessel, fault)));
                }
            }
        }
    }

    /// The worst cause that holds now.
    fn cause(&self, facts: &Facts) -> Option<Trip> {
        if facts.stopped || (self.latched(Trip::StopLoop) && !facts.stop_loop) {
            return Some(Trip::StopLoop);
        }
        if facts.clock_fault {
            return Some(Trip::Clock);
        }
        for vessel in Vessel::ALL {
            if *self.hot_us.get(vessel) >= HOT_US {
                return Some(Trip::OverTemperature(vessel));
            }
        }
        if facts.found.is_some() {
            return facts.found;
        }
        for vessel in Vessel::ALL {
            if let Err(fault) = *facts.readings.get(vessel) {
                let latched = matches!(self.latch, Some(Latch { trip: Trip::Probe(v, _), .. }) if v == vessel);
                let blind = *facts.relied.get(vessel) && *self.blind_us.get(vessel) >= BLIND_US;
                if latched || blind {
                    return Some(Trip::Probe(vessel, fault));
                }
            }
        }
        None
    }

    fn latched(&self, trip: Trip) -> bool {
        self.latch.is_some_and(|latch| latch.trip == trip)
    }

    fn latch_cause(&mut self, cause: Option<Trip>, now: Instant, tell: &mut impl FnMut(Notice)) {
        if cause == self.last_cause {
            return;
        }
        self.last_cause = cause;
        let Some(trip) = cause else { return };
        match &mut self.latch {
            Some(latch) => latch.later = latch.later.saturating_add(1),
            None => {
                self.latch = Some(Latch { trip, at: now, later: 0 });
                tell(Notice::Tripped(trip));
            }
        }
    }

    fn is_blind(&self, facts: &Facts) -> bool {
        Vessel::ALL.iter().any(|&vessel| *facts.relied.get(vessel) && facts.readings.get(vessel).is_err())
    }
}

/// What the guard reports for the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Notice {
    /// It tripped.
    Tripped(Trip),
    /// The latched trip was acknowledged.
    Acknowledged(Trip),
    /// It gives advice.
    Advised(Advice),
}
