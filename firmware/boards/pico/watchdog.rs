//! The watchdog, by its registers: the HAL's `pause_on_debug` and `enable` overwrite each other's bits, and what is written here is read
//! back before anything may heat.

use crate::hal::pac;
use copperhold_firmware::restart::{FORGET_AFTER, Restart};

/// Half a second. The counter goes down twice per microsecond (RP2040-E1).
const LOAD: u32 = 500_000 * 2;
/// Everything but the oscillators is reset.
const RESET_ALL: u32 = 0x0001_FFFC;

/// Reads and clears the notes of the last run.
pub fn read_restart(watchdog: &pac::WATCHDOG) -> Restart {
    let note = watchdog.scratch0().read().bits();
    let by_watchdog = watchdog.reason().read().timer().bit_is_set();
    let restart = Restart::new(by_watchdog, note, watchdog.scratch1().read().bits());
    // SAFETY: scratch registers take any value.
    unsafe {
        watchdog.scratch0().write(|w| w.bits(0));
        watchdog.scratch1().write(|w| w.bits(restart.count()));
    }
    restart
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
