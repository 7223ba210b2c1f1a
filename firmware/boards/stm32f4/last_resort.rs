//! When nothing else can be trusted: lines low by a plain register write, a note of why, then wait for the watchdog.

use crate::hal::pac;
use copperhold_firmware::restart::{FAULTED, NOT_STARTED};

/// The lines to the power side: PC0 to PC5.
pub const LINES: u32 = 0b11_1111;

/// Everything off, and a note for the next start in a backup register; never returns. Touches no lock and uses next to no stack.
pub fn off_for_good(note: u32) -> ! {
    cortex_m::interrupt::disable();
    // SAFETY: the upper half of the register lowers these lines whatever else goes on; this code never returns to anyone who could be
    // surprised.
    unsafe {
        (*pac::GPIOC::PTR).bsrr().write(|w| w.bits(LINES << 16));
        (*pac::RTC::PTR).bkpr(0).write(|w| w.bits(note));
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

// The clock security system found that the crystal has stopped; the processor now runs from its inner oscillator.
// SAFETY: the handler uses nothing but what `off_for_good` needs.
#[cortex_m_rt::exception]
unsafe fn NonMaskableInt() -> ! {
    off_for_good(FAULTED)
}
