//! Arming: the deliberate act of a person at the panel without which nothing heats.
//!
//! After a reset, a trip, a stop or a turn of the key, the sequence is: key seen off, key on, every block clear, button seen released,
//! button pressed and held. A button that is stuck, or pressed before the blocks cleared, arms nothing.
//!
//! ```text
//!   Cold --(key off)--> KeySeenOff --(key on, button up)--> Ready --(button down)--> Pressing --(held long enough)--> Armed
//!                                                             ^--------(button up)-------+
//!
//!   any state -- trip or open stop loop --> Cold;  any state -- key off --> KeySeenOff
//! ```

use crate::units::Span;

/// Why arming is refused, worst first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "wire", derive(serde::Serialize, serde::Deserialize))]
pub enum Block {
    /// A trip is latched.
    Tripped,
    /// The stop loop is open.
    StopLoopOpen,
    /// The key is off.
    KeyOff,
    /// The key has not been seen off since the last reset, trip or stop.
    KeyNotCycled,
    /// The arm button must be released first.
    ButtonHeld,
}

impl Block {
    /// What the person at the panel should do.
    pub const fn remedy(self) -> &'static str {
        match self {
            Block::Tripped => "a trip is latched: remove its cause and acknowledge it at the panel",
            Block::StopLoopOpen => "the stop loop is open: release the emergency stop and check the cut-out",
            Block::KeyOff => "the key is off: turn it on",
            Block::KeyNotCycled => "turn the key off and on again",
            Block::ButtonHeld => "release the arm button, then press and hold it; if it is stuck, repair it",
        }
    }
}

/// What arming looks at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Panel {
    /// A trip is latched.
    pub tripped: bool,
    /// The stop loop is closed.
    pub stop_loop: bool,
    /// The key is on.
    pub key: bool,
    /// The arm button is down.
    pub button: bool,
}

/// How long the button must be held unless a front end says otherwise.
pub const PRESS: Span = Span::from_secs(1);
/// Two looks at the button further apart than this say nothing about the time between them.
pub const WATCHED: Span = Span::from_secs(1);

/// Where arming stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum State {
    /// Waits to see the key off. The state after a reset.
    #[default]
    Cold,
    /// The key has been seen off; waits to see it on with the button released.
    KeySeenOff,
    /// Waits for a press.
    Ready,
    /// The button is down.
    Pressing {
        /// For how long.
        held: Span,
    },
    /// Armed. The button may still be down from arming.
    Armed,
}

/// The arming sequence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Arming {
    state: State,
    press: Span,
}

impl Arming {
    /// Starts cold. The button must be held for `press`, usually [`PRESS`]; zero where the press and hold has been seen elsewhere.
    pub const fn new(press: Span) -> Arming {
        Arming { state: State::Cold, press }
    }

    /// Where it stands.
    pub const fn state(&self) -> State {
        self.state
    }

    /// Whether heat is allowed.
    pub const fn is_armed(&self) -> bool {
        matches!(self.state, State::Armed)
    }

    /// Moves on by `elapsed`; returns whether it is armed now.
    pub fn tick(&mut self, elapsed: Span, panel: Panel) -> bool {
        self.state = next(self.state, elapsed, panel, self.press);
        self.is_armed()
    }

    /// Back to the state after a reset. The key must be cycled again.
    pub fn disarm(&mut self) {
        self.state = State::Cold;
    }

    /// What stands in the way of arming; `None` if a press and hold would arm now, or it is armed.
    pub fn block(&self, panel: Panel) -> Option<Block> {
        if panel.tripped {
            return Some(Block::Tripped);
        }
        if !panel.stop_loop {
            return Some(Block::StopLoopOpen);
        }
        if !panel.key {
            return Some(Block::KeyOff);
        }
        match self.state {
            State::Cold => Some(Block::KeyNotCycled),
            State::KeySeenOff if panel.button => Some(Block::ButtonHeld),
            State::KeySeenOff | State::Ready | State::Pressing { .. } | State::Armed => None,
        }
    }
}

/// The step itself: where arming stands after `elapsed` in `state`. Total: every state with every panel has one answer.
pub fn next(state: State, elapsed: Span, panel: Panel, press: Span) -> State {
    if panel.tripped || !panel.stop_loop {
        // Only a turn of the key after the cause has gone counts.
        return State::Cold;
    }
    if !panel.key {
        return State::KeySeenOff;
    }
    match (state, panel.button) {
        (State::Cold, _) => State::Cold,
        // A button that is stuck, or was pressed too early, stays here.
        (State::KeySeenOff, true) => State::KeySeenOff,
        (State::KeySeenOff | State::Ready | State::Pressing { .. }, false) => State::Ready,
        (State::Ready, true) => pressing(Span::ZERO, press),
        // Nobody has seen the button stay down through a gap: the press starts anew.
        (State::Pressing { .. }, true) if elapsed > WATCHED => pressing(Span::ZERO, press),
        (State::Pressing { held }, true) => pressing(held.plus(elapsed), press),
        (State::Armed, _) => State::Armed,
    }
}

fn pressing(held: Span, press: Span) -> State {
    if held >= press { State::Armed } else { State::Pressing { held } }
}

#[cfg(test)]
mod tests;
