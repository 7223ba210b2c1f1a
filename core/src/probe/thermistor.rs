//! Thermistor of 10 kilo-ohm at 25 degrees, low side of a divider with a fixed resistor to the reference, on a 12-bit converter.
//!
//! The converter is ratiometric: code / 4095 = R / (R + series), so the supply drops out. The resistance is looked up in a table of the
//! curve at whole degrees and interpolated. The table comes from the published Steinhart-Hart coefficients (Steinhart and Hart, Deep-Sea
//! Research 15, 1968); interpolation errs by less than 0.01 degrees over the working range. The converter's own step, with 10 kilo-ohm in
//! series, is 0.02 degrees at 25, 0.05 at 66 and 0.14 at 100.

use super::thermistor_table::{BETA_3435, TEN_K3};
use super::{LOWEST, ProbeFault, Reading, in_working_range};
use crate::units::Kelvin;
use fixed::types::I16F16;

/// The converter's full scale: the code is 12 bits.
const LAST_CODE: u16 = 4_095;
/// Below a hundredth of the nominal resistance (150 degrees or hotter) the element is bridged, in hundredths of an ohm.
const SHORT_BELOW_CENTIOHM: u32 = 10_000;
/// Above a hundred times the nominal resistance (-45 degrees or colder) the element is broken, in hundredths of an ohm.
const OPEN_ABOVE_CENTIOHM: u32 = 100_000_000;

/// The curve of a 10 kilo-ohm thermistor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Curve {
    /// 10K3, material type 1: sold as "10k 3950" (B25/50) or "10k 3977" (B25/85).
    TenK3,
    /// B25/85 = 3435 K, B25/50 = 3380 K.
    Beta3435,
}

impl Curve {
    /// Every curve.
    pub const ALL: [Curve; 2] = [Curve::TenK3, Curve::Beta3435];

    const fn table(self) -> &'static [u32] {
        match self {
            Curve::TenK3 => &TEN_K3,
            Curve::Beta3435 => &BETA_3435,
        }
    }
}

/// The checked constants of one thermistor channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Divider {
    series_ohm: u32,
    curve: Curve,
}

/// A series resistor outside 1,000 to 20,000 ohm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct SeriesOutOfRange {
    /// What was asked for, in ohms.
    pub series_ohm: u32,
}

impl Divider {
    /// A 10K3 thermistor with 10 kilo-ohm in series.
    pub const TEN_K3: Divider = Divider { series_ohm: 10_000, curve: Curve::TenK3 };

    /// A divider with a series resistor of 1,000 to 20,000 ohm, from the converter's input to its reference.
    ///
    /// # Errors
    /// [`SeriesOutOfRange`] outside that range; within it one count is worth less than half a degree from 0 to 110.
    pub const fn new(series_ohm: u32, curve: Curve) -> Result<Divider, SeriesOutOfRange> {
        if series_ohm < 1_000 || series_ohm > 20_000 {
            return Err(SeriesOutOfRange { series_ohm });
        }
        Ok(Divider { series_ohm, curve })
    }

    /// The series resistor, in ohms.
    pub const fn series_ohm(self) -> u32 {
        self.series_ohm
    }

    /// The thermistor's curve.
    pub const fn curve(self) -> Curve {
        self.curve
    }

    /// The temperature for a code, 0 to 4095.
    ///
    /// # Errors
    /// `FrontEnd` if the code has more than 12 bits; `Shorted` and `Open` at the rails, one count from them, and below 100 ohm or above 1
    /// megohm; `OutOfRange` outside the working range.
    pub fn convert(self, code: u16) -> Reading {
        if code > LAST_CODE {
            return Err(ProbeFault::FrontEnd);
        }
        if code <= 1 {
            return Err(ProbeFault::Shorted);
        }
        if code >= LAST_CODE - 1 {
            return Err(ProbeFault::Open);
        }
        let across = u64::from(code) * u64::from(self.series_ohm) * 100;
        let rest = u64::from(LAST_CODE - code);
        // Half of the divisor is added first, to round to nearest.
        let centiohm = (across + rest / 2).checked_div(rest).ok_or(ProbeFault::Open)?;
        celsius_at(u32::try_from(centiohm).map_err(|_| ProbeFault::Open)?, self.curve)
    }
}

/// The temperature of a thermistor of a resistance in hundredths of an ohm, rounded down to 15 uK.
///
/// # Errors
/// `Shorted` below 100 ohm, `Open` above 1 megohm, `OutOfRange` outside the working range.
pub fn celsius_at(centiohm: u32, curve: Curve) -> Reading {
    if centiohm < SHORT_BELOW_CENTIOHM {
        return Err(ProbeFault::Shorted);
    }
    if centiohm > OPEN_ABOVE_CENTIOHM {
        return Err(ProbeFault::Open);
    }
    let table = curve.table();
    // Resistance falls as it warms: the entries at or above the measured one are those of colder or equal degrees.
    let colder = table.partition_point(|&entry| entry >= centiohm);
    let below = colder.checked_sub(1).ok_or(ProbeFault::OutOfRange)?;
    let at_below = *table.get(below).ok_or(ProbeFault::OutOfRange)?;
    let fraction_bits = match table.get(colder) {
        Some(&at_above) => {
            let part = u64::from(at_below.saturating_sub(centiohm)) << 16;
            let step = u64::from(at_below.saturating_sub(at_above));
            part.checked_div(step).ok_or(ProbeFault::OutOfRange)?
        }
        // The last entry itself is still in range.
        None if at_below == centiohm => 0,
        None => return Err(ProbeFault::OutOfRange),
    };
    let degrees = u64::try_from(below).map_err(|_| ProbeFault::OutOfRange)?;
    let bits = i32::try_from((degrees << 16).saturating_add(fraction_bits)).map_err(|_| ProbeFault::OutOfRange)?;
    in_working_range(LOWEST.plus(Kelvin::from_fixed(I16F16::from_bits(bits))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Celsius;

    #[test]
    fn every_table_falls_all_the_way_and_spans_the_working_range() {
        for curve in Curve::ALL {
            let table = curve.table();
            assert_eq!(table.len(), 141);
            assert!(table.windows(2).all(|pair| pair[0] > pair[1]));
            let (first, last) = (table[0], table[140]);
            assert_eq!(celsius_at(first, curve), Ok(Celsius::from_milli(-10_000)));
            assert_eq!(celsius_at(first + 1, curve), Err(ProbeFault::OutOfRange));
            assert_eq!(celsius_at(last, curve), Ok(Celsius::from_milli(130_000)));
            assert_eq!(celsius_at(last - 1, curve), Err(ProbeFault::OutOfRange));
        }
    }

    #[test]
    fn an_entry_of_the_table_reads_its_whole_degree() {
        for curve in Curve::ALL {
            for (degree, &centiohm) in (-10..).zip(curve.table()) {
                assert_eq!(celsius_at(centiohm, curve), Ok(Celsius::from_milli(degree * 1_000)));
            }
        }
    }

    #[test]
    fn only_series_resistors_that_resolve_a_degree_are_accepted() {
        assert_eq!(Divider::new(10_000, Curve::TenK3), Ok(Divider::TEN_K3));
        assert!(Divider::new(1_000, Curve::TenK3).is_ok() && Divider::new(20_000, Curve::TenK3).is_ok());
        for series_ohm in [0, 999, 20_001, u32::MAX] {
            let refused = SeriesOutOfRange { series_ohm };
            assert_eq!(Divider::new(series_ohm, Curve::TenK3), Err(refused));
        }
    }

    #[test]
    fn a_thirteenth_bit_is_a_fault_of_the_converter() {
        for code in 4_096..=u16::MAX {
            assert_eq!(Divider::TEN_K3.convert(code), Err(ProbeFault::FrontEnd));
        }
    }

    #[test]
    fn every_resistance_gives_a_result() {
        for centiohm in (0..u32::MAX).step_by(4_999) {
            let inside = (TEN_K3[140]..=TEN_K3[0]).contains(&centiohm);
            assert_eq!(celsius_at(centiohm, Curve::TenK3).is_ok(), inside);
        }
    }
}
