//! Burst-fire: turns a duty into whole mains cycles of a zero-cross relay.
//!
//! A first-order error accumulator. Each *window* adds the duty; when a whole window is owed, the element conducts for one. The window is
//! the shortest time that holds both whole mains cycles and whole 10 ms ticks: 20 ms (1 cycle) at 50 Hz, 50 ms (3 cycles) at 60 Hz, so
//! the relay always conducts whole cycles and the supply sees no direct current. What was really delivered is accounted by elapsed time, so
//! a late tick, or a co-simulation with longer steps, keeps the mean right.

use crate::units::{Duty, Span};

/// Mains frequency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Mains {
    /// 50 Hz.
    Hz50,
    /// 60 Hz.
    Hz60,
}

impl Mains {
    /// The burst window.
    pub const fn window(self) -> Span {
        match self {
            Mains::Hz50 => Span::from_millis(20),
            Mains::Hz60 => Span::from_millis(50),
        }
    }
}

/// One full window at full power, in the accumulator's unit (duty bits x microseconds).
const FULL: i64 = 1 << 16;
/// The accumulator keeps at most this much credit or debt, in microseconds of full power: longer gaps are forgotten, not made up for.
const MEMORY_US: i64 = 2_000_000;

/// The accumulator of one element.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Burst {
    window: Span,
    left: Span,
    owed: i64,
    on: bool,
}

impl Burst {
    /// Starts off, owing nothing.
    pub const fn new(mains: Mains) -> Burst {
        Burst { window: mains.window(), left: Span::ZERO, owed: 0, on: false }
    }

    /// Whether the element conducts.
    pub const fn is_on(&self) -> bool {
        self.on
    }

    /// Time until the next decision.
    pub const fn due_in(&self) -> Span {
        self.left
    }

    /// Off at once; forgets what it owes.
    pub fn stop(&mut self) {
        self.left = Span::ZERO;
        self.owed = 0;
        self.on = false;
    }

    /// Moves on by `elapsed`, during which `duty` was asked for, and says whether the element conducts from now on.
    #[inline(never)]
    pub fn tick(&mut self, elapsed: Span, duty: Duty) -> bool {
        let delivered = if self.on { FULL } else { 0 };
        // Duties have 17 bits and times 32: no product of the two overflows, and on a processor without a wide multiplier a saturating
        // one costs a fifth of the whole fast tick.
        let balance = i64::from(duty.bits()) - delivered;
        const MEMORY: i64 = MEMORY_US * FULL;
        self.owed = self.owed.saturating_add(balance * micros(elapsed)).clamp(-MEMORY, MEMORY);
        self.left = self.left.less(elapsed);
        if duty == Duty::ZERO {
            self.on = false;
        } else if self.left == Span::ZERO {
            let window_us = micros(self.window);
            let after = self.owed.saturating_add(i64::from(duty.bits()) * window_us);
            self.on = after >= FULL * window_us;
            self.left = self.window;
        }
        self.on
    }
}

/// Microseconds, saturating at an hour: nothing here runs for longer between two ticks.
fn micros(span: Span) -> i64 {
    i64::try_from(span.as_micros()).unwrap_or(i64::MAX).min(3_600_000_000)
}

#[cfg(test)]
mod tests;
