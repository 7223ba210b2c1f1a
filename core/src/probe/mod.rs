//! Thermometers: from raw counts to a temperature, or to the reason why there is none.
//!
//! A driver hands over a [`RawReading`]: counts as the chip sent them. `convert` checks them and gives a [`Reading`]. A reading
//! that cannot be trusted is a [`ProbeFault`], never a number: no value is made up, and 0 is never a stand-in.
//!
//! Working range of a brewery probe: [`LOWEST`] to [`HIGHEST`], -10 to 130 degrees Celsius. Frozen pipes to well above boiling wort under any
//! weather; a value outside it is a fault of the probe, not of the beer.

mod fault;

pub use fault::ProbeFault;

use crate::units::Celsius;

/// A temperature, or why there is none.
pub type Reading = Result<Celsius, ProbeFault>;

/// Lower end of the working range, -10 degrees Celsius, still accepted.
pub const LOWEST: Celsius = Celsius::from_milli(-10_000);
/// Upper end of the working range, 130 degrees Celsius, still accepted.
pub const HIGHEST: Celsius = Celsius::from_milli(130_000);

/// One sample as the hardware sent it, not yet checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum RawReading {
    /// From a 15-bit RTD front end (MAX31865).
    Rtd {
        /// Resistance over reference resistance, in 1/32768: 0 to 32,767.
        code: u16,
        /// The front end's fault bit (D0 of the RTD LSB register).
        fault: bool,
    },
    /// From a 12-bit converter across a thermistor's divider.
    Thermistor {
        /// Voltage over reference voltage, in 1/4095: 0 to 4095.
        code: u16,
    },
    /// From a one-wire thermometer (DS18B20).
    OneWire {
        /// The nine bytes as read, the check byte last.
        scratchpad: [u8; 9],
    },
    /// The driver already knows that there is no sample.
    Fault(ProbeFault),
}
