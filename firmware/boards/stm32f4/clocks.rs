//! 48 MHz from a crystal of 8 MHz, for the processor and for USB. Without the crystal it runs from the chip's own oscillator, to say so at
//! the panel, and nothing heats: that oscillator may be wrong by some percent.

use crate::hal::pac;
use crate::hal::prelude::*;
use crate::hal::rcc::{Config, Rcc, RccExt};

/// Looks at the crystal before it counts as missing: some 30 ms, far longer than any takes.
const PATIENCE: u32 = 60_000;

/// The clocks as started.
pub struct Clocks {
    /// For the parts that need to know.
    pub rcc: Rcc,
    /// Cycles in a microsecond.
    pub per_us: u32,
    /// The crystal runs.
    pub crystal: bool,
}

/// Starts the clocks.
pub fn start(rcc: pac::RCC) -> Clocks {
    rcc.cr().modify(|_, w| w.hseon().set_bit());
    let crystal = (0..PATIENCE).any(|_| rcc.cr().read().hserdy().bit_is_set());
    let rcc = if crystal {
        let rcc = rcc.freeze(Config::hse(8.MHz()).sysclk(48.MHz()).require_pll48clk());
        // From here on a crystal that stops is an exception.
        rcc.cr().modify(|_, w| w.csson().set_bit());
        rcc
    } else {
        rcc.cr().modify(|_, w| w.hseon().clear_bit());
        rcc.constrain()
    };
    let per_us = rcc.clocks.sysclk().raw() / 1_000_000;
    Clocks { rcc, per_us, crystal }
}
