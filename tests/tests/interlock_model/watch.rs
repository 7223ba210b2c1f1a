//! What must never be seen, judged from outside: by the lines, the panel and the past, not by what the code believes of itself.

use crate::gate::Spans;
use copperhold_core::interlock::{Line, Timing};
use copperhold_core::units::Span;
use copperhold_core::vessel::Element;

/// A zero-cross relay lets go within a half-cycle: one tick in the model.
const RELEASE: Span = Span::from_millis(10);

/// A rule that was broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Broken {
    TwoElements,
    EmergencyNotObeyed,
    HeatWhileDisarmed,
    HeatWithoutClock,
    HeatWithoutLease,
    ContactorLeftClosed,
    HeatNobodyAskedFor,
    DeadTimeCutShort,
    ClosesUnderLoad,
    OpensUnderLoad,
    ArmedWithoutAPerson,
    TripLeftWithoutAPress,
    FirstCauseReplaced,
    ResetNotCold,
}

/// What one moment looked like.
#[derive(Debug, Clone, Copy)]
pub struct Moment {
    pub before: Line,
    pub after: Line,
    /// Time that passed in between.
    pub elapsed: Span,
    /// Stop loop open, key off, or a trip.
    pub emergency: bool,
    pub armed: bool,
    pub clock_runs: bool,
    /// What the supervisor asked for while its word counts.
    pub asked: Option<Element>,
    /// Time since the supervisor last spoke.
    pub silent: Span,
}

/// The past, as far as it matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Past {
    /// Which element conducted last, and how long ago (capped).
    last_on: Option<(Element, Span)>,
    /// How long the contactor has been closed (capped).
    closed_for: Span,
}

impl Past {
    /// Which elements may conduct: one with a grant, and one whose relay has not had the time to let go.
    fn conducts(&self, line: Line, element: Element) -> bool {
        line.grant == Some(element) || self.last_on.is_some_and(|(last, ago)| last == element && ago < RELEASE)
    }

    /// After a reset: the relay that conducted lets go, the contactor opens.
    pub const fn let_go(self, line: Line) -> Past {
        let last_on = match line.grant {
            Some(element) => Some((element, Span::ZERO)),
            None => self.last_on,
        };
        Past { last_on, closed_for: Span::ZERO }
    }

    pub fn see(&mut self, moment: &Moment, spans: &Spans) -> Option<Broken> {
        let Timing { dead_time, contactor_settle: settle } = spans.timing;
        let Moment { before, after, elapsed, .. } = *moment;
        self.last_on = match (before.grant, self.last_on) {
            (Some(element), _) => Some((element, Span::ZERO)),
            (None, Some((element, ago))) => Some((element, ago.plus(elapsed).min(dead_time))),
            (None, None) => None,
        };
        self.closed_for = if before.contactor { self.closed_for.plus(elapsed).min(settle) } else { Span::ZERO };
        let let_go = self.last_on.is_none_or(|(_, ago)| ago >= dead_time);
        if Element::ALL.iter().all(|&element| self.conducts(after, element)) {
            return Some(Broken::TwoElements);
        }
        if moment.emergency && after != Line::default() {
            return Some(Broken::EmergencyNotObeyed);
        }
        if after.contactor && moment.silent >= spans.silence() {
            return Some(Broken::ContactorLeftClosed);
        }
        if before.contactor && !after.contactor && !moment.emergency && (before.grant.is_some() || !let_go) {
            return Some(Broken::OpensUnderLoad);
        }
        let element = after.grant?;
        let other_was_on = self.last_on.is_some_and(|(last, _)| last != element);
        match () {
            () if !after.contactor || !before.contactor || self.closed_for < settle => Some(Broken::ClosesUnderLoad),
            () if !moment.armed => Some(Broken::HeatWhileDisarmed),
            () if !moment.clock_runs => Some(Broken::HeatWithoutClock),
            () if moment.silent >= spans.lease => Some(Broken::HeatWithoutLease),
            () if moment.asked != Some(element) => Some(Broken::HeatNobodyAskedFor),
            () if other_was_on && !let_go => Some(Broken::DeadTimeCutShort),
            () => None,
        }
    }
}

/// What the person at the panel has done since the last reset, stop, trip or turn of the key.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Person {
    key_was_off: bool,
    button_was_up: bool,
    button_is_down: bool,
    has_pressed: bool,
}

impl Person {
    pub fn see(&mut self, blocked: bool, key: bool, button: bool, elapsed: Span) {
        if blocked {
            *self = Person::default();
        } else if !key {
            *self = Person { key_was_off: true, ..Person::default() };
        } else if self.key_was_off {
            self.has_pressed |= self.button_is_down && button && elapsed > Span::ZERO;
            self.button_is_down = button && self.button_was_up;
            self.button_was_up |= !button;
        }
    }

    pub fn may_be_armed(&self) -> bool {
        self.has_pressed
    }
}
