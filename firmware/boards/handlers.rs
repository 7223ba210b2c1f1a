//! What ends in [`crate::last_resort`] on every board.

use crate::last_resort::off_for_good;
use copperhold_firmware::restart::{FAULTED, PANICKED};
use core::panic::PanicInfo;

#[panic_handler]
fn panic(_info: &PanicInfo<'_>) -> ! {
    off_for_good(PANICKED)
}

// SAFETY: the handler uses nothing but what `off_for_good` needs.
#[cortex_m_rt::exception]
unsafe fn HardFault(_frame: &cortex_m_rt::ExceptionFrame) -> ! {
    off_for_good(FAULTED)
}
