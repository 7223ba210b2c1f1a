//! One clock of 48 MHz from the crystal for everything: more than enough, and USB needs it anyway.

use crate::hal;
use hal::clocks::{Clock, ClockSource, ClocksManager};
use hal::fugit::RateExtU32;
use hal::pac;

/// Of processor and peripherals.
pub const HZ: u32 = 48_000_000;
const CRYSTAL_HZ: u32 = 12_000_000;

/// Starts the clocks; `None` if the crystal or the PLL does not come up.
pub fn start(
    xosc: pac::XOSC,
    clocks: pac::CLOCKS,
    pll: pac::PLL_USB,
    resets: &mut pac::RESETS,
    watchdog: &pac::WATCHDOG,
) -> Option<ClocksManager> {
    let crystal = hal::xosc::setup_xosc_blocking(xosc, CRYSTAL_HZ.Hz()).ok()?;
    // One tick per microsecond, for timer and watchdog.
    // SAFETY: any cycle count is allowed; 12 suits the crystal.
    watchdog.tick().write(|w| unsafe { w.cycles().bits((CRYSTAL_HZ / 1_000_000) as u16).enable().set_bit() });
    let mut clocks = ClocksManager::new(clocks);
    let pll = hal::pll::setup_pll_blocking(
        pll,
        crystal.operating_frequency(),
        hal::pll::common_configs::PLL_USB_48MHZ,
        &mut clocks,
        resets,
    )
    .ok()?;
    clocks.reference_clock.configure_clock(&crystal, crystal.get_freq()).ok()?;
    clocks.system_clock.configure_clock(&pll, pll.get_freq()).ok()?;
    clocks.usb_clock.configure_clock(&pll, pll.get_freq()).ok()?;
    clocks.adc_clock.configure_clock(&pll, pll.get_freq()).ok()?;
    clocks.peripheral_clock.configure_clock(&clocks.system_clock, clocks.system_clock.freq()).ok()?;
    Some(clocks)
}
