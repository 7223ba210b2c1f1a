//! Thermometers: from raw counts to a temperature, or to the reason why there is none.
//!
//! A driver hands over a [`RawReading`]: counts as the chip sent them. [`convert`] checks them and gives a [`Reading`]. A reading
//! that cannot be trusted is a [`ProbeFault`], never a number: no value is made up, and 0 is never a stand-in.
//!
//! Working range of a brewery probe: [`LOWEST`] to [`HIGHEST`], -10 to 130 degrees Celsius. Frozen pipes to well above boiling wort under any
//! weather; a value outside it is a fault of the probe, not of the beer.

mod fault;
pub mod one_wire;
pub mod plausibility;
pub mod rtd;
pub mod thermistor;
mod thermistor_table;

pub use fault::ProbeFault;
pub use plausibility::{Limits, Plausibility};

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

impl RawReading {
    /// From the front end's two RTD registers (01h, 02h) as one 16-bit number: code in D15 to D1, fault bit in D0.
    pub const fn from_rtd_registers(registers: u16) -> RawReading {
        RawReading::Rtd { code: registers >> 1, fault: registers & 1 == 1 }
    }
}

/// What is needed to convert one probe's samples: only checked constants get in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ProbeSetup {
    /// Platinum RTD of 100 ohm.
    Rtd(rtd::Pt100),
    /// Thermistor of 10 kilo-ohm in a divider.
    Thermistor(thermistor::Divider),
    /// One-wire digital thermometer: it brings its own constants.
    OneWire,
}

/// Checks one sample and converts it to a temperature. Raw counts are range-checked before any arithmetic.
///
/// # Errors
/// The driver's own fault is passed on; `WrongKind` if the sample is not of the kind set up; otherwise see [`rtd::Pt100::convert`],
/// [`thermistor::Divider::convert`] and [`one_wire::convert`].
pub fn convert(setup: &ProbeSetup, raw: RawReading) -> Reading {
    match (setup, raw) {
        (_, RawReading::Fault(fault)) => Err(fault),
        (ProbeSetup::Rtd(element), RawReading::Rtd { code, fault }) => element.convert(code, fault),
        (ProbeSetup::Thermistor(divider), RawReading::Thermistor { code }) => divider.convert(code),
        (ProbeSetup::OneWire, RawReading::OneWire { scratchpad }) => one_wire::convert(scratchpad),
        (
            ProbeSetup::Rtd(_) | ProbeSetup::Thermistor(_) | ProbeSetup::OneWire,
            RawReading::Rtd { .. } | RawReading::Thermistor { .. } | RawReading::OneWire { .. },
        ) => Err(ProbeFault::WrongKind),
    }
}

/// Passes a temperature within the working range.
fn in_working_range(celsius: Celsius) -> Reading {
    if celsius < LOWEST || celsius > HIGHEST { Err(ProbeFault::OutOfRange) } else { Ok(celsius) }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SETUPS: [ProbeSetup; 3] =
        [ProbeSetup::Rtd(rtd::Pt100::R_REF_400), ProbeSetup::Thermistor(thermistor::Divider::TEN_K3), ProbeSetup::OneWire];

    #[test]
    fn a_sample_is_converted_only_by_the_setup_of_its_own_kind() {
        let scratchpad = [0x4D, 0x01, 0x4B, 0x46, 0x7F, 0xFF, 0x03, 0x10, 0xD8];
        let samples = [
            RawReading::from_rtd_registers(8_192 << 1),
            RawReading::Thermistor { code: 2_047 },
            RawReading::OneWire { scratchpad },
        ];
        for (row, setup) in SETUPS.iter().enumerate() {
            for (column, &raw) in samples.iter().enumerate() {
                let reading = convert(setup, raw);
                if row == column {
                    assert!(reading.is_ok(), "{setup:?}: {reading:?}");
                } else {
                    assert_eq!(reading, Err(ProbeFault::WrongKind));
                }
            }
        }
    }

    #[test]
    fn a_fault_of_the_driver_is_passed_on_whatever_is_set_up() {
        for setup in &SETUPS {
            for fault in ProbeFault::ALL {
                assert_eq!(convert(setup, RawReading::Fault(fault)), Err(fault));
            }
        }
    }

    #[test]
    fn the_front_ends_registers_are_split_into_code_and_fault_bit() {
        let split = RawReading::from_rtd_registers;
        assert_eq!(split(0x4000), RawReading::Rtd { code: 8_192, fault: false });
        assert_eq!(split(0xFFFF), RawReading::Rtd { code: 32_767, fault: true });
    }

    #[test]
    fn the_ends_of_the_working_range_are_inside_it() {
        assert_eq!(in_working_range(LOWEST), Ok(LOWEST));
        assert_eq!(in_working_range(HIGHEST), Ok(HIGHEST));
        for milli in [-10_001, 130_001] {
            assert_eq!(in_working_range(Celsius::from_milli(milli)), Err(ProbeFault::OutOfRange));
        }
    }
}
