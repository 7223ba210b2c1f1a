//! Platinum RTD, 100 ohm, through a 15-bit ratiometric front end (MAX31865 datasheet).
//!
//! The front end sends resistance over reference resistance in 1/32768. IEC 60751 gives the resistance of the element at a temperature,
//! R = R0 (1 + A t + B t^2), and this room solves that for t in integers: t = (A - sqrt(A^2 - 4 |B| (R/R0 - 1))) / (2 |B|).
//! Below 0 degrees the standard adds a cubic term; at the low end of the working range, -10, leaving it out reads 0.00012 degrees low,
//! less than one 250th of a count.
//!
//! Error against the exact curve: below 0.0005 degrees over the working range (the front end's own step is 0.03 degrees).

use super::{ProbeFault, Reading, in_working_range};
use crate::units::Celsius;
use crate::wide::{Product, square_root};
use fixed::types::I16F16;

/// Resistance at 0 degrees Celsius, in microohms (IEC 60751: 100 ohm).
const R0_MICROOHM: u32 = 100_000_000;
/// A of IEC 60751, 3.9083e-3 per degree, in 1e-9 per degree.
const A_NANO: u64 = 3_908_300;
/// |B| of IEC 60751, 5.775e-7 per square degree: 4 |B| in 1e-18 per square degree and microohm of R0.
const FOUR_B: u64 = 23_100;
/// 2 |B| in 1e-9 per square degree.
const TWO_B_NANO: i64 = 1_155;
/// The front end's full scale: the code is 15 bits.
const LAST_CODE: u16 = 0x7FFF;
/// Below half of R0 (-125 degrees if it were platinum) the element is bridged. A dry short with its leads is a few ohms.
const SHORT_BELOW_MICROOHM: u32 = 50_000_000;
/// Above twice R0 (266 degrees if it were platinum) the element is broken, or its plug makes no contact.
const OPEN_ABOVE_MICROOHM: u32 = 200_000_000;

/// The checked constants of one RTD channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Pt100 {
    r_ref_milliohm: u32,
}

/// A reference resistor outside 400,000 to 430,000 milliohm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct ReferenceOutOfRange {
    /// What was asked for, in milliohms.
    pub r_ref_milliohm: u32,
}

impl Pt100 {
    /// A Pt100 with the datasheet's reference resistor, 400 ohm.
    pub const R_REF_400: Pt100 = Pt100 { r_ref_milliohm: 400_000 };
    /// A Pt100 with the reference resistor that most boards carry, 430 ohm.
    pub const R_REF_430: Pt100 = Pt100 { r_ref_milliohm: 430_000 };

    /// A Pt100 (R0 = 100 ohm) with the reference resistor as measured, 400,000 to 430,000 milliohm.
    ///
    /// # Errors
    /// [`ReferenceOutOfRange`] outside that range: with a smaller one hot readings would clip, and a larger one belongs to a Pt1000.
    pub const fn new(r_ref_milliohm: u32) -> Result<Pt100, ReferenceOutOfRange> {
        if r_ref_milliohm < 400_000 || r_ref_milliohm > 430_000 {
            return Err(ReferenceOutOfRange { r_ref_milliohm });
        }
        Ok(Pt100 { r_ref_milliohm })
    }

    /// The reference resistor, in milliohms.
    pub const fn r_ref_milliohm(self) -> u32 {
        self.r_ref_milliohm
    }

    /// The temperature for a code, 0 to 32,767.
    ///
    /// # Errors
    /// `FrontEnd` if the front end's fault bit is set or the code has more than 15 bits; `Shorted` and `Open` at the rails, one count from
    /// them, and below 50 or above 200 ohm; `OutOfRange` outside the working range.
    pub fn convert(self, code: u16, fault: bool) -> Reading {
        if fault || code > LAST_CODE {
            return Err(ProbeFault::FrontEnd);
        }
        if code <= 1 {
            return Err(ProbeFault::Shorted);
        }
        if code >= LAST_CODE - 1 {
            return Err(ProbeFault::Open);
        }
        // At most 430e6 * 32767 >> 15: fits u32 after the shift.
        let microohm = (u64::from(code) * u64::from(self.r_ref_milliohm) * 1_000 + (1 << 14)) >> 15;
        celsius_at(u32::try_from(microohm).map_err(|_| ProbeFault::Open)?)
    }
}

/// The temperature of a Pt100 element of a resistance in microohms, rounded toward zero to 15 uK.
///
/// # Errors
/// `Shorted` below 50 ohm, `Open` above 200 ohm, `OutOfRange` outside the working range.
pub fn celsius_at(microohm: u32) -> Reading {
    if microohm < SHORT_BELOW_MICROOHM {
        return Err(ProbeFault::Shorted);
    }
    if microohm > OPEN_ABOVE_MICROOHM {
        return Err(ProbeFault::Open);
    }
    // In 1e-18: A^2 - 4 |B| (R/R0 - 1), here (A^2 + 4 |B|) - 4 |B| R/R0, so that no term goes below zero: 12.96e12 at 200 ohm.
    const AT_ZERO_OHM: u64 = A_NANO * A_NANO + FOUR_B * R0_MICROOHM as u64;
    let discriminant = AT_ZERO_OHM.saturating_sub(FOUR_B.product(u64::from(microohm)));
    // Shifted by 16, 60 bits in all: the root, in 1e-9 per degree, gets 8 bits of fraction.
    let root = square_root(discriminant << 16);
    let numerator = (A_NANO << 8).cast_signed() - i64::from(root);
    // The quotient, in 1/256 of a degree, is carried on to 1/65536.
    let bits = (numerator << 8) / TWO_B_NANO;
    let bits = i32::try_from(bits).map_err(|_| ProbeFault::OutOfRange)?;
    in_working_range(Celsius::from_fixed(I16F16::from_bits(bits)))
}

/// What a raw fault status (register 07h) says, the most telling bit first; `None` if no fault bit is set.
///
/// D7 (over the high threshold) and D3, D4 (with FORCE- opened) mean a broken lead, D6 (under the low threshold) a short; D5 (REFIN- too high)
/// and D2 (an input outside the supply) leave open which wire it is.
pub const fn fault_in_status(status: u8) -> Option<ProbeFault> {
    if status & 0b0000_0100 != 0 {
        Some(ProbeFault::FrontEnd)
    } else if status & 0b1001_1000 != 0 {
        Some(ProbeFault::Open)
    } else if status & 0b0100_0000 != 0 {
        Some(ProbeFault::Shorted)
    } else if status & 0b0010_0000 != 0 {
        Some(ProbeFault::FrontEnd)
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_reference_resistors_that_suit_a_pt100_are_accepted() {
        assert_eq!(Pt100::new(400_000), Ok(Pt100::R_REF_400));
        assert_eq!(Pt100::new(430_000), Ok(Pt100::R_REF_430));
        for r_ref_milliohm in [0, 399_999, 430_001, 4_300_000, u32::MAX] {
            let refused = ReferenceOutOfRange { r_ref_milliohm };
            assert_eq!(Pt100::new(r_ref_milliohm), Err(refused));
        }
    }

    #[test]
    fn a_set_fault_bit_or_a_sixteenth_bit_beats_a_good_code() {
        assert!(Pt100::R_REF_400.convert(8_192, false).is_ok());
        assert_eq!(Pt100::R_REF_400.convert(8_192, true), Err(ProbeFault::FrontEnd));
        assert_eq!(Pt100::R_REF_400.convert(0x8000, false), Err(ProbeFault::FrontEnd));
    }

    #[test]
    fn every_resistance_gives_a_result() {
        for microohm in (0..u32::MAX).step_by(10_007) {
            assert!(celsius_at(microohm).is_ok() == (96_085_925..=149_831_925).contains(&microohm));
        }
    }

    #[test]
    fn every_fault_status_is_named_and_reserved_bits_are_ignored() {
        for status in 0..=255_u8 {
            assert_eq!(fault_in_status(status).is_none(), status & 0xFC == 0, "{status:#04x}");
        }
    }
}
