//! Proof of progress: the watchdog is fed in one place, and only after every task has moved on.

/// A task that must move on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Task {
    /// The timer interrupt.
    Fast = 1,
    /// The control tick.
    Control = 2,
    /// Thermometers.
    Probes = 4,
    /// The front panel.
    Panel = 8,
    /// The serial link.
    Link = 16,
}

const ALL: u8 = 31;

/// Who has moved on since the watchdog was last fed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Progress {
    seen: u8,
    fast_ticks: u32,
}

impl Progress {
    /// Nobody yet.
    pub const fn new() -> Progress {
        Progress { seen: 0, fast_ticks: 0 }
    }

    /// A task has moved on.
    pub const fn mark(&mut self, task: Task) {
        self.seen |= task as u8;
    }

    /// The timer interrupt's count, as read.
    pub const fn mark_fast(&mut self, ticks: u32) {
        if ticks != self.fast_ticks {
            self.fast_ticks = ticks;
            self.mark(Task::Fast);
        }
    }

    /// True once every task has moved on; then all start again.
    #[must_use]
    pub const fn complete(&mut self) -> bool {
        let complete = self.seen == ALL;
        if complete {
            self.seen = 0;
        }
        complete
    }
}
