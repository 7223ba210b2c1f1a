//! Arming: the deliberate act of a person at the panel without which nothing heats.
//!
//! After a reset, a trip, a stop or a turn of the key, the sequence is: key seen off, key on, every block clear, button seen released,
//! button pressed and held. A button that is stuck, or pressed before the blocks cleared, arms nothing.

use crate::units::Span;

/// Why arming is refused, worst first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Block {
    /// A trip is latched.
    Tripped,
    /// The stop loop is open.
    StopLoopOpen,
    /// The key is off.
    KeyOff,
    /// The key has not been seen off since the last reset, trip or stop.
    KeyNotCycled,
    /// The arm button has been held for too long to be a person's press.
    ButtonStuck,
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
            Block::ButtonStuck => "the arm button seems stuck: release it or repair it",
            Block::ButtonHeld => "release the arm button, then press and hold it",
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

/// Times of the button.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Press {
    /// How long it must be held.
    pub hold: Span,
    /// Held for longer than this, it counts as stuck.
    pub stuck: Span,
}

impl Default for Press {
    /// Held for 1 s; stuck after 10 s.
    fn default() -> Press {
        Press { hold: Span::from_secs(1), stuck: Span::from_secs(10) }
    }
}

/// Where arming stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum State {
    /// Waits to see the key off. The state after a reset.
    #[default]
    Cold,
    /// The key has been seen off; waits for it to come on and the blocks to clear.
    KeySeenOff,
    /// Blocks clear; waits to see the button released.
    Clear,
    /// Waits for a press.
    Ready,
    /// The button is down.
    Pressing {
        /// For how long.
        held: Span,
    },
    /// Armed. The button may still be down from arming.
    Armed,
    /// The button was held for too long; waits for its release.
    Stuck,
}

/// The arming sequence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Arming {
    state: State,
    press: Press,
}

impl Arming {
    /// Starts cold.
    pub const fn new(press: Press) -> Arming {
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
            State::Stuck => Some(Block::ButtonStuck),
            State::KeySeenOff | State::Clear if panel.button => Some(Block::ButtonHeld),
            State::KeySeenOff | State::Clear | State::Ready | State::Pressing { .. } | State::Armed => None,
        }
    }
}

fn next(state: State, elapsed: Span, panel: Panel, press: Press) -> State {
    if panel.tripped || !panel.stop_loop {
        // Only a turn of the key after the cause has gone counts.
        return State::Cold;
    }
    if !panel.key {
        return State::KeySeenOff;
    }
    match (state, panel.button) {
        (State::Cold, _) => State::Cold,
        (State::KeySeenOff, true) => State::Clear,
        (State::Clear, true) => State::Clear,
        (State::KeySeenOff | State::Clear | State::Stuck, false) => State::Ready,
        (State::Stuck, true) => State::Stuck,
        (State::Ready | State::Pressing { .. }, false) => State::Ready,
        (State::Ready, true) => pressing(Span::ZERO, press),
        (State::Pressing { held }, true) => pressing(held.plus(elapsed), press),
        (State::Armed, _) => State::Armed,
    }
}

fn pressing(held: Span, press: Press) -> State {
    if held >= press.stuck {
        State::Stuck
    } else if held >= press.hold {
        State::Armed
    } else {
        State::Pressing { held }
    }
}
