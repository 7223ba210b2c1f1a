//! Contacts: debounced switches, the press and hold of a button, the knob.
//!
//! All of it is sampled on the fast tick: no interrupt per edge, so a bouncing contact costs nothing.

/// A contact that must read the same for a number of samples before it is believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Debounced {
    state: bool,
    count: u8,
    on_after: u8,
    off_after: u8,
}

impl Debounced {
    /// Believed on after `on_after` samples in a row, off after `off_after`. Starts off.
    pub const fn new(on_after: u8, off_after: u8) -> Debounced {
        Debounced { state: false, count: 0, on_after, off_after }
    }

    /// A safety contact: its opening is believed at once, its closing after 50 ms of samples at 100 Hz.
    pub const fn safety() -> Debounced {
        Debounced::new(5, 1)
    }

    /// A button: 30 ms either way at 100 Hz.
    pub const fn button() -> Debounced {
        Debounced::new(3, 3)
    }

    /// Takes a sample; gives the believed state.
    pub fn sample(&mut self, closed: bool) -> bool {
        if closed == self.state {
            self.count = 0;
        } else {
            self.count = self.count.saturating_add(1);
            let enough = if closed { self.on_after } else { self.off_after };
            if self.count >= enough {
                self.state = closed;
                self.count = 0;
            }
        }
        self.state
    }

    /// The believed state.
    pub const fn state(&self) -> bool {
        self.state
    }
}

/// What a person did at the knob.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gesture {
    /// Turned by one click of the knob: 1 to the right, -1 to the left.
    Turn(i8),
    /// Pressed and let go.
    Click,
    /// Pressed and held for [`HOLD_TICKS`].
    Hold,
}

/// Fast ticks for which the knob must be pressed to count as held: 0.8 s at 100 Hz.
pub const HOLD_TICKS: u8 = 80;

/// The knob: quadrature contacts with two changes per click, and a push.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Knob {
    quadrature: u8,
    quarter: i8,
    push: Debounced,
    /// Ticks pressed; `None` while released, or until it is released after a hold or a press at the start.
    pressed: Option<u8>,
    was_down: bool,
}

impl Default for Knob {
    fn default() -> Knob {
        Knob::new()
    }
}

impl Knob {
    /// A knob that nobody has touched. One that is held down at the start does nothing until it is let go.
    pub const fn new() -> Knob {
        Knob { quadrature: 0b11, quarter: 0, push: Debounced::button(), pressed: None, was_down: true }
    }

    /// How far a press has come towards a hold, 0 to [`HOLD_TICKS`].
    pub fn held(&self) -> u8 {
        self.pressed.unwrap_or(0)
    }

    /// Takes a sample of both contacts and the push, each true when closed; gives what it amounts to, if anything.
    #[inline(never)]
    pub fn sample(&mut self, a: bool, b: bool, push: bool) -> Option<Gesture> {
        let turned = self.turn(a, b);
        let pushed = self.press(push);
        pushed.or(turned)
    }

    fn turn(&mut self, a: bool, b: bool) -> Option<Gesture> {
        // Open contacts read as ones, as the pull-ups give it: rest is 11.
        let now = (u8::from(!a) << 1) | u8::from(!b);
        let step = match (self.quadrature, now) {
            (0b11, 0b01) | (0b01, 0b00) | (0b00, 0b10) | (0b10, 0b11) => 1,
            (0b11, 0b10) | (0b10, 0b00) | (0b00, 0b01) | (0b01, 0b11) => -1,
            // No change, or both at once: a sample was missed, and which way is not known.
            _ => 0,
        };
        self.quadrature = now;
        self.quarter = self.quarter.saturating_add(step);
        if now != 0b11 {
            return None;
        }
        // At rest: most of a click counts as one, less is forgotten.
        let quarters = core::mem::take(&mut self.quarter);
        match quarters {
            2.. => Some(Gesture::Turn(1)),
            ..=-2 => Some(Gesture::Turn(-1)),
            -1..=1 => None,
        }
    }

    fn press(&mut self, push: bool) -> Option<Gesture> {
        let down = self.push.sample(push);
        let fresh = down && !self.was_down;
        // At the start the contact counts as down until it has been seen open.
        self.was_down = down || (self.was_down && push);
        if fresh {
            self.pressed = Some(0);
        }
        let ticks = self.pressed?;
        if !down {
            self.pressed = None;
            return Some(Gesture::Click);
        }
        let ticks = ticks.saturating_add(1);
        self.pressed = (ticks < HOLD_TICKS).then_some(ticks);
        (ticks >= HOLD_TICKS).then_some(Gesture::Hold)
    }
}
