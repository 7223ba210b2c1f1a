//! Why the board started, and when it has started too often.

/// A panic; left for the next start by the code that lowered the lines.
pub const PANICKED: u32 = 0xC0_DE_00_01;
/// The processor met an instruction or an address that cannot be, or its crystal stopped.
pub const FAULTED: u32 = 0xC0_DE_00_02;
/// The start could not be completed.
pub const NOT_STARTED: u32 = 0xC0_DE_00_03;

/// More abnormal restarts than this, and nothing heats until the supply has been off.
const MOST: u32 = 3;
/// So many fed watchdogs, about ten minutes, and the restarts are forgotten: one feed per control tick.
pub const FORGET_AFTER: u32 = 2_400;

/// Why it started.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Restart {
    reason: Reason,
    count: u32,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reason {
    PowerOn,
    Watchdog,
    Panic,
    Fault,
    NotStarted,
}

impl Restart {
    /// From what the last run left: whether its watchdog ended it, its note, and how many abnormal restarts came before.
    pub const fn new(by_watchdog: bool, note: u32, before: u32) -> Restart {
        let reason = match (by_watchdog, note) {
            (false, _) => Reason::PowerOn,
            (true, PANICKED) => Reason::Panic,
            (true, FAULTED) => Reason::Fault,
            (true, NOT_STARTED) => Reason::NotStarted,
            (true, _) => Reason::Watchdog,
        };
        Restart { reason, count: if by_watchdog { before.saturating_add(1) } else { 0 } }
    }

    /// In words.
    pub const fn why(self) -> &'static str {
        match self.reason {
            Reason::PowerOn => "power on",
            Reason::Watchdog => "watchdog",
            Reason::Panic => "panic",
            Reason::Fault => "processor fault",
            Reason::NotStarted => "start failed",
        }
    }

    /// Abnormal restarts in a row.
    pub const fn count(self) -> u32 {
        self.count
    }

    /// It has restarted too often: locked until the supply has been off.
    pub const fn locked(self) -> bool {
        self.count > MOST
    }
}
