//! What runs in the timer interrupt, 100 times a second: contacts in, [`FastPath`], lines out.
//!
//! The stop loop and the key have a second way in: [`FastTask::edge`] is called from their own edge interrupt, lowers the lines at
//! once and leaves a note, so that the next tick treats the opening as seen even if the contact has closed again.

use crate::buttons::{Button, Gesture, Knob, SafetyContact};
use crate::lines::{Coil, Line, LinePort, levels, never_two};
use copperhold_core::fast::{FastPath, FastReport, Lease, Outputs, Selector, Switches};
use copperhold_core::guard::sense::Sense;
use copperhold_core::units::{Instant, Span};
use heapless::Deque;

/// The fast tick comes this often.
pub const FAST_PERIOD: Span = Span::from_millis(10);

/// The contacts: as they stand, true when closed, or a board's pins for them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Contacts<T = bool> {
    /// Stop loop.
    pub stop_loop: T,
    /// Key.
    pub key: T,
    /// The button that arms when held and acknowledges when pressed.
    pub button: T,
    /// First contact of the knob.
    pub knob_a: T,
    /// Second contact of the knob.
    pub knob_b: T,
    /// Push of the knob.
    pub knob_push: T,
}

impl<T> Contacts<T> {
    /// Each by itself.
    pub fn map<U>(&self, mut of: impl FnMut(&T) -> U) -> Contacts<U> {
        Contacts {
            stop_loop: of(&self.stop_loop),
            key: of(&self.key),
            button: of(&self.button),
            knob_a: of(&self.knob_a),
            knob_b: of(&self.knob_b),
            knob_push: of(&self.knob_push),
        }
    }
}

/// An edge must last: samples that must all read open, 10 us from one to the next. A spike from a relay is shorter.
const EDGE_SAMPLES: u8 = 8;

/// A pad may stand otherwise than it is driven for so many fast ticks: a spike ends sooner. The limit is a tenth of a second.
const ASTRAY_PATIENCE: u8 = 5;

/// The interrupt's own state.
#[derive(Debug)]
pub struct FastTask<L> {
    fast: FastPath,
    lines: L,
    /// The contactor's bit if its coil needs pulses, or none.
    pulsed: u8,
    /// Lines held low for this tick: every other one, those that are pulsed.
    trough: u8,
    /// Fast ticks in a row that found a pad astray.
    astray: u8,
    stop_loop: SafetyContact,
    key: SafetyContact,
    button: Button,
    knob: Knob,
    /// Openings that the edge interrupt has seen since the last tick: stop loop, key.
    opened: (bool, bool),
    switches: Switches,
    selector: Selector,
    /// The button was down at some time since the last report: a short press must not fall between two control ticks.
    acknowledge: bool,
    gestures: Deque<Gesture, 8>,
    ticks: u32,
    at: Instant,
}

impl<L: LinePort> FastTask<L> {
    /// Everything off, and driven so.
    pub fn new(fast: FastPath, mut lines: L, coil: Coil) -> FastTask<L> {
        lines.drive(0);
        FastTask {
            fast,
            lines,
            pulsed: if coil == Coil::Pulses { Line::Contactor.bit() } else { 0 },
            trough: 0,
            astray: 0,
            stop_loop: SafetyContact::new(),
            key: SafetyContact::new(),
            button: Button::new(),
            knob: Knob::new(),
            opened: (false, false),
            selector: Selector::Auto,
            acknowledge: false,
            switches: Switches {
                stop_loop: false,
                key: false,
                arm: false,
                acknowledge: false,
                selector: Selector::Auto,
                sense: Sense::NONE,
            },
            gestures: Deque::new(),
            ticks: 0,
            at: Instant::START,
        }
    }

    /// One fast tick.
    pub fn tick(&mut self, now: Instant, contacts: &Contacts) {
        let (stop_opened, key_opened) = core::mem::take(&mut self.opened);
        let button = self.button.sample(contacts.button);
        self.switches = Switches {
            stop_loop: self.stop_loop.sample(contacts.stop_loop && !stop_opened),
            key: self.key.sample(contacts.key && !key_opened),
            arm: button,
            acknowledge: button,
            selector: self.selector,
            sense: Sense::NONE,
        };
        self.acknowledge |= button;
        if let Some(gesture) = self.knob.sample(contacts.knob_a, contacts.knob_b, contacts.knob_push) {
            // A full queue means that the panel is not listening; it loses the newest.
            let _ = self.gestures.push_back(gesture);
        }
        self.look();
        let outputs = self.fast.tick(now, &self.switches);
        self.trough ^= self.pulsed;
        self.drive(&outputs);
        self.ticks = self.ticks.wrapping_add(1);
        self.at = now;
    }

    /// Reads the pads back, which have had a tick's time to follow.
    fn look(&mut self) {
        self.astray = if self.lines.astray() { self.astray.saturating_add(1) } else { 0 };
        if self.astray >= ASTRAY_PATIENCE {
            self.fast.lines_astray();
        }
    }

    /// The stop loop or the key has an edge: believed once it lasts. `wait` is for 10 us. Called from the edge interrupt.
    pub fn edge(&mut self, mut read: impl FnMut() -> Contacts, mut wait: impl FnMut()) {
        let mut seen = read();
        for _ in 1..EDGE_SAMPLES {
            wait();
            let again = read();
            seen.stop_loop |= again.stop_loop;
            seen.key |= again.key;
        }
        self.emergency(&seen);
    }

    /// The stop loop or the key is open: everything off now, and let the next tick know.
    pub fn emergency(&mut self, contacts: &Contacts) {
        if contacts.stop_loop && contacts.key {
            return;
        }
        self.lines.drive(0);
        let (stop_opened, key_opened) = self.opened;
        self.opened = (stop_opened || !contacts.stop_loop, key_opened || !contacts.key);
    }

    /// Takes a fresh lease from the control tick. While an emergency waits for its tick, the lines stay low.
    pub fn renew(&mut self, lease: Lease) -> Outputs {
        self.fast.renew(lease);
        let outputs = self.fast.apply(&self.switches);
        if self.opened == (false, false) {
            self.drive(&outputs);
        }
        outputs
    }

    /// Only the tick moves the coil's wave on: nothing else can keep the contactor closed.
    fn drive(&mut self, outputs: &Outputs) {
        self.lines.drive(never_two(levels(outputs)) & !self.trough);
    }

    /// What the control tick needs to know.
    pub fn report(&mut self) -> (FastReport, Switches) {
        let switches = Switches { acknowledge: core::mem::replace(&mut self.acknowledge, self.switches.arm), ..self.switches };
        (self.fast.report(), switches)
    }

    /// The selector is read over a slow bus, outside the interrupt.
    pub const fn select(&mut self, selector: Selector) {
        self.selector = selector;
    }

    /// The fast path, to look at.
    pub const fn fast(&self) -> &FastPath {
        &self.fast
    }

    /// The switches as believed.
    pub const fn switches(&self) -> &Switches {
        &self.switches
    }

    /// The next thing a person did at the knob.
    pub fn gesture(&mut self) -> Option<Gesture> {
        self.gestures.pop_front()
    }

    /// How far a press of the knob has come towards a hold.
    pub fn knob_held(&self) -> u8 {
        self.knob.held()
    }

    /// When the last fast tick was due. The control tick counts from there, however late it comes to it.
    pub const fn at(&self) -> Instant {
        self.at
    }

    /// Fast ticks so far.
    pub const fn ticks(&self) -> u32 {
        self.ticks
    }
}
