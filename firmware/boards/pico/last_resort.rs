//! When nothing else can be trusted: lines low by a plain register write, a note of why, then wait for the watchdog.

use crate::hal::pac;
use copperhold_firmware::restart::NOT_STARTED;

/// The lines to the power side: GP10 to GP15.
pub const LINES: u32 = 0b11_1111 << 10;

/// Everything off, and a note for the next start in a scratch register of the watchdog; never returns. Touches no lock and uses next to no stack.
pub fn off_for_good(note: u32) -> ! {
    cortex_m::interrupt::disable();
    // SAFETY: a write of ones to the clear register lowers these lines whatever else goes on; this code never returns to anyone who
    // could be surprised.
    unsafe {
        (*pac::SIO::PTR).gpio_out_clr().write(|w| w.bits(LINES));
        (*pac::WATCHDOG::PTR).scratch0().write(|w| w.bits(note));
    }
    loop {
        // The watchdog ends this. Before it runs, nothing has been on.
        cortex_m::asm::nop();
    }
}

/// The start cannot go on.
pub fn stop() -> ! {
    off_for_good(NOT_STARTED)
}
