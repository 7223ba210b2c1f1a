//! The interlock: which element, if any, may conduct, and whether the contactor is closed.
//!
//! Job:
//! 1. at most one element holds a *grant* - the state can name only one;
//! 2. between two grants lies a *changeover*, a dead time longer than a zero-cross relay needs to let go;
//! 3. the contactor closes before the first grant and opens after the last, without load, except in an emergency;
//! 4. an emergency withdraws everything in the same tick.
//!
//! Terms: *permission* is what the guard and arming allow; a *request* is what the arbiter would like; the *line* is what results.
//! The interlock does not know temperatures, modes or people.
//!
//! ```text
//!            may arm             settled           request
//!   Open ------------> Closing -----------> Idle ----------> Granted
//!    ^                    |                 |  ^                |
//!    |          not armed |       not armed |  | dead time over | request ends or changes, or hold
//!    |                    v                 v  |                v
//!    +---------------- Opening <------------+  +----------- Changeover
//!      dead time over     ^                                     |
//!                         +---- not armed (Granted too) <-------+
//! ```
//!
//! Every edge there is (a test holds this table to the code; emergency is the edge to `Open` from anywhere):
//!
//! | from | to |
//! | --- | --- |
//! | `Open` | `Open` `Closing` |
//! | `Closing` | `Open` `Closing` `Idle` `Opening` |
//! | `Idle` | `Open` `Idle` `Granted` `Opening` |
//! | `Granted` | `Open` `Granted` `Changeover` `Opening` |
//! | `Changeover` | `Open` `Idle` `Changeover` `Opening` |
//! | `Opening` | `Open` `Opening` |
//!
//! `Granted` to `Granted` keeps its element. An emergency may cut a grant short without its dead time, so the contactor settles for no
//! less than the dead time when it closes again.

use crate::units::Span;
use crate::vessel::Element;

/// What the guard and arming allow, worst first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Permission {
    /// A trip, an open stop loop, or the key off: everything off at once.
    Emergency,
    /// Not armed: finish in order and open the contactor.
    Disarmed,
    /// Armed, but no element may be granted now.
    Hold,
    /// Armed: grants are allowed.
    Armed,
}

/// Times of the switching hardware.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Timing {
    /// Dead time after a grant ends. A zero-cross relay lets go within half a mains cycle: 10 ms at 50 Hz.
    pub dead_time: Span,
    /// From closing the contactor to the first grant: coil, armature and bounce.
    pub contactor_settle: Span,
}

impl Default for Timing {
    /// 200 ms each: twenty half-cycles at 50 Hz, and twice the slowest pull-in time common for contactors of this size (common
    /// practice, no source).
    fn default() -> Timing {
        Timing { dead_time: Span::from_millis(200), contactor_settle: Span::from_millis(200) }
    }
}

/// Where the interlock stands. Spans count down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum State {
    /// Contactor open. The state after a reset.
    #[default]
    Open,
    /// Contactor closed, contacts settling.
    Closing {
        /// Time until they have settled.
        left: Span,
    },
    /// Contactor closed, no grant.
    Idle,
    /// This element may conduct.
    Granted(Element),
    /// The last grant has ended; its relay may still conduct.
    Changeover {
        /// Dead time left.
        left: Span,
    },
    /// Elements off, contactor about to open without load.
    Opening {
        /// Time until the last relay has surely let go.
        left: Span,
    },
}

/// What the interlock allows on the power side until the next tick.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Line {
    /// Contactor coil.
    pub contactor: bool,
    /// The one element that may conduct.
    pub grant: Option<Element>,
}

/// The interlock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Interlock {
    state: State,
    timing: Timing,
}

impl Interlock {
    /// Starts with the contactor open.
    pub const fn new(timing: Timing) -> Interlock {
        Interlock { state: State::Open, timing }
    }

    /// Where it stands.
    pub const fn state(&self) -> State {
        self.state
    }

    /// Moves on by `elapsed` and says what is allowed from now on.
    pub fn tick(&mut self, elapsed: Span, permission: Permission, request: Option<Element>) -> Line {
        self.state = next(self.state, elapsed, permission, request, self.timing);
        self.line()
    }

    /// What is allowed in the present state.
    pub const fn line(&self) -> Line {
        match self.state {
            State::Open => Line { contactor: false, grant: None },
            State::Closing { .. } | State::Idle | State::Changeover { .. } | State::Opening { .. } => {
                Line { contactor: true, grant: None }
            }
            State::Granted(element) => Line { contactor: true, grant: Some(element) },
        }
    }

    /// Time until the state changes by itself (at the next tick, if none); `None` if it waits for an input.
    pub const fn due_in(&self) -> Option<Span> {
        match self.state {
            State::Closing { left } | State::Changeover { left } | State::Opening { left } => Some(left),
            State::Open | State::Idle | State::Granted(_) => None,
        }
    }
}

/// The step itself: where the interlock stands after `elapsed` in `state`. Total: every state under every permission has one answer.
pub fn next(state: State, elapsed: Span, permission: Permission, request: Option<Element>, timing: Timing) -> State {
    use Permission::{Armed, Disarmed, Emergency, Hold};
    match (state, permission) {
        (_, Emergency) | (State::Open, Disarmed) => State::Open,
        (State::Open, Hold | Armed) => State::Closing { left: timing.contactor_settle.max(timing.dead_time) },
        // No element has conducted for a dead time or longer: the contactor may open at once.
        (State::Closing { .. } | State::Idle, Disarmed) => State::Opening { left: Span::ZERO },
        (State::Closing { left }, Hold | Armed) => match run_down(left, elapsed) {
            Some(left) => State::Closing { left },
            None => State::Idle,
        },
        (State::Idle, Hold) => State::Idle,
        (State::Idle, Armed) => request.map_or(State::Idle, State::Granted),
        (State::Granted(_), Disarmed) => State::Opening { left: timing.dead_time },
        (State::Granted(_), Hold) => State::Changeover { left: timing.dead_time },
        (State::Granted(element), Armed) => {
            if request == Some(element) {
                state
            } else {
                State::Changeover { left: timing.dead_time }
            }
        }
        (State::Changeover { left }, Disarmed) => State::Opening { left },
        (State::Changeover { left }, Hold | Armed) => match run_down(left, elapsed) {
            Some(left) => State::Changeover { left },
            None => State::Idle,
        },
        // Arming again while it opens lets it open first: the contactor is never re-closed half way.
        (State::Opening { left }, Disarmed | Hold | Armed) => match run_down(left, elapsed) {
            Some(left) => State::Opening { left },
            None => State::Open,
        },
    }
}

/// What is left of a countdown; `None` once it is over.
fn run_down(left: Span, elapsed: Span) -> Option<Span> {
    let rest = left.less(elapsed);
    (rest > Span::ZERO).then_some(rest)
}

#[cfg(test)]
mod tests;
