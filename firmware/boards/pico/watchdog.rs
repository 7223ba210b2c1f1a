//! The watchdog, by its registers: the HAL's `pause_on_debug` and `enable` overwrite each other's bits, and what is written here is read
//! back before anything may heat.

use crate::hal::pac;
use crate::last_resort::{FAULTED, NOT_STARTED, PANICKED};

/// Half a second. The counter goes down twice per microsecond (RP2040-E1).
const LOAD: u32 = 500_000 * 2;
/// Everything but the oscillators is reset.
const RESET_ALL: u32 = 0x0001_FFFC;
/// More abnormal restarts than this, and nothing heats until the supply has been off.
const MOST_RESTARTS: u32 = 3;
/// So many fed watchdogs, about ten minutes, and the restarts are forgotten: one feed per control tick.
const FORGET_AFTER: u32 = 2_400;

/// Why it started.
#[derive(Clone, Copy)]
pub struct Restart {
    reason: Reason,
    count: u32,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Reason {
    PowerOn,
    Watchdog,
    Panic,
    Fault,
    NotStarted,
}

impl Restart {
    /// Reads and clears the notes of the last run.
    pub fn read(watchdog: &pac::WATCHDOG) -> Restart {
        let note = watchdog.scratch0().read().bits();
        let by_watchdog = watchdog.reason().read().timer().bit_is_set();
        let reason = match (by_watchdog, note) {
            (false, _) => Reason::PowerOn,
            (true, PANICKED) => Reason::Panic,
            (true, FAULTED) => Reason::Fault,
            (true, NOT_STARTED) => Reason::NotStarted,
            (true, _) => Reason::Watchdog,
        };
        let count = if by_watchdog { watchdog.scratch1().read().bits().saturating_add(1) } else { 0 };
        // SAFETY: scratch registers take any value.
        unsafe {
            watchdog.scratch0().write(|w| w.bits(0));
            watchdog.scratch1().write(|w| w.bits(count));
        }
        Restart { reason, count }
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
        self.count > MOST_RESTARTS
    }
}

/// Starts it: half a second, never paused, resetting everything.
pub fn start(watchdog: &pac::WATCHDOG, psm: &pac::PSM) {
    // SAFETY: any mask is allowed; this one leaves the oscillators running.
    psm.wdsel().write(|w| unsafe { w.bits(RESET_ALL) });
    feed_registers(watchdog);
    // Its reset value has every pause bit set.
    watchdog.ctrl().write(|w| {
        w.pause_dbg0().clear_bit().pause_dbg1().clear_bit().pause_jtag().clear_bit();
        w.enable().set_bit()
    });
}

/// Whether it runs as it should: enabled, not paused by a debugger, resetting everything.
pub fn is_sound(watchdog: &pac::WATCHDOG) -> bool {
    let ctrl = watchdog.ctrl().read();
    let paused = ctrl.pause_dbg0().bit() || ctrl.pause_dbg1().bit() || ctrl.pause_jtag().bit();
    ctrl.enable().bit() && !paused
}

fn feed_registers(watchdog: &pac::WATCHDOG) {
    // SAFETY: 24 bits, and the value fits.
    watchdog.load().write(|w| unsafe { w.bits(LOAD) });
}

/// Feeds it, and after a long good run forgets the restarts before.
pub fn feed(watchdog: &pac::WATCHDOG) {
    feed_registers(watchdog);
    let good = watchdog.scratch2().read().bits().saturating_add(1);
    // SAFETY: scratch registers take any value.
    unsafe {
        watchdog.scratch2().write(|w| w.bits(good));
        if good == FORGET_AFTER {
            watchdog.scratch1().write(|w| w.bits(0));
        }
    }
}
