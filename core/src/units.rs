//! Quantities with their units, in integers and fixed point.
//!
//! | type | format | unit | range | resolution |
//! | --- | --- | --- | --- | --- |
//! | [`Celsius`] | I16F16 | degrees Celsius | -100 to 300 | 15 uK |
//! | [`Kelvin`] | I16F16 | kelvin, a difference | -32768 to 32767 | 15 uK |
//! | [`Slope`] | I8F24 | kelvin per second | -128 to 127 | 60 nK/s |
//! | [`Duty`] | U16F16, at most 1 | share of full power | 0 to 1 | 15 ppm |
//! | [`Span`], [`Instant`] | u64 | microseconds | 584,000 years | 1 us |
//! | [`Watts`] | u32 | watts | 0 to 100,000 | 1 W |
//! | [`Litres`] | I16F16 | litres | 0 to 32767 | 15 uL |
//!
//! Every operation saturates at the type's range; none wraps, none panics. Conversions from milli-units round to nearest; a product or
//! quotient rounds toward zero. Time spans that guard safety are compared with `>=`, so rounding never keeps heat on for longer.

use crate::wide::{product_i64, product_u64};
use fixed::types::{I8F24, I16F16, U16F16};

/// A temperature, -100 to 300 degrees Celsius. Construction saturates to that range.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Celsius(I16F16);

/// A difference of two temperatures, in kelvin.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Kelvin(I16F16);

/// A rate of change of temperature, in kelvin per second.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Slope(I8F24);

/// A share of an element's full power, 0 to 1.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Duty(U16F16);

/// A length of time, in microseconds.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Span(u64);

/// A point in time: microseconds since the controller started. The core never reads a clock; each tick is told the time.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Instant(u64);

/// Electric power, 0 to 100,000 W. Construction saturates.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Watts(u32);

/// A volume, in litres.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Litres(I16F16);

/// One, as I16F16 bits.
const ONE_I16F16: i64 = 1 << 16;

/// `value / 1000` as I16F16 bits, rounded to nearest, half away from zero.
const fn milli_bits(value: i32) -> i32 {
    let wide = value as i64 * ONE_I16F16;
    let half = if wide < 0 { -500 } else { 500 };
    let bits = (wide + half) / 1000;
    if bits > i32::MAX as i64 {
        i32::MAX
    } else if bits < i32::MIN as i64 {
        i32::MIN
    } else {
        bits as i32
    }
}

/// I16F16 bits as thousandths, rounded to nearest, half away from zero.
#[inline(never)]
const fn bits_to_milli(bits: i32) -> i32 {
    let wide = bits as i64 * 1000;
    let half = if wide < 0 { -(1 << 15) } else { 1 << 15 };
    ((wide + half) / ONE_I16F16) as i32
}

impl Celsius {
    /// The lowest value, -100 degrees Celsius.
    pub const MIN: Celsius = Celsius::from_milli(-100_000);
    /// The highest value, 300 degrees Celsius.
    pub const MAX: Celsius = Celsius::from_milli(300_000);

    /// From thousandths of a degree Celsius, rounded to nearest, saturating.
    pub const fn from_milli(milli_c: i32) -> Celsius {
        let clamped = if milli_c < -100_000 {
            -100_000
        } else if milli_c > 300_000 {
            300_000
        } else {
            milli_c
        };
        Celsius(I16F16::from_bits(milli_bits(clamped)))
    }

    /// From the fixed-point value in degrees Celsius, saturating to the type's range.
    #[inline(never)]
    pub fn from_fixed(value: I16F16) -> Celsius {
        Celsius(value.clamp(Celsius::MIN.0, Celsius::MAX.0))
    }

    /// The fixed-point value in degrees Celsius.
    pub const fn fixed(self) -> I16F16 {
        self.0
    }

    /// In thousandths of a degree Celsius, rounded to nearest.
    pub const fn milli(self) -> i32 {
        bits_to_milli(self.0.to_bits())
    }

    /// This temperature raised by a difference, saturating.
    #[must_use]
    #[inline(never)]
    pub fn plus(self, by: Kelvin) -> Celsius {
        Celsius::from_fixed(self.0.saturating_add(by.0))
    }

    /// This temperature lowered by a difference, saturating.
    #[must_use]
    #[inline(never)]
    pub fn less(self, by: Kelvin) -> Celsius {
        Celsius::from_fixed(self.0.saturating_sub(by.0))
    }

    /// How far this temperature lies above `other`.
    pub fn above(self, other: Celsius) -> Kelvin {
        Kelvin(self.0.saturating_sub(other.0))
    }
}

impl Kelvin {
    /// No difference.
    pub const ZERO: Kelvin = Kelvin(I16F16::ZERO);

    /// From thousandths of a kelvin, rounded to nearest, saturating.
    pub const fn from_milli(milli_k: i32) -> Kelvin {
        Kelvin(I16F16::from_bits(milli_bits(milli_k)))
    }

    /// From the fixed-point value in kelvin.
    pub const fn from_fixed(value: I16F16) -> Kelvin {
        Kelvin(value)
    }

    /// The fixed-point value in kelvin.
    pub const fn fixed(self) -> I16F16 {
        self.0
    }

    /// In thousandths of a kelvin, rounded to nearest.
    pub const fn milli(self) -> i32 {
        bits_to_milli(self.0.to_bits())
    }

    /// Size without sign, saturating.
    #[must_use]
    pub fn abs(self) -> Kelvin {
        Kelvin(self.0.saturating_abs())
    }

    /// Sum, saturating.
    #[must_use]
    pub fn plus(self, other: Kelvin) -> Kelvin {
        Kelvin(self.0.saturating_add(other.0))
    }

    /// Difference, saturating.
    #[must_use]
    pub fn less(self, other: Kelvin) -> Kelvin {
        Kelvin(self.0.saturating_sub(other.0))
    }

    /// Product with a plain number, saturating, rounded toward zero.
    #[must_use]
    pub fn times(self, factor: I16F16) -> Kelvin {
        let bits = i64::from(self.0.to_bits()) * i64::from(factor.to_bits()) / ONE_I16F16;
        Kelvin(I16F16::from_bits(narrow(bits)))
    }
}

impl Slope {
    /// No change.
    pub const ZERO: Slope = Slope(I8F24::ZERO);

    /// From millionths of a kelvin per second, rounded to nearest, saturating. [`Slope::micro`] gives the same number back.
    pub const fn from_micro(micro_k_per_s: i32) -> Slope {
        let wide = (micro_k_per_s as i64) << 24;
        let bits = (wide + if wide < 0 { -500_000 } else { 500_000 }) / 1_000_000;
        if bits > i32::MAX as i64 {
            Slope(I8F24::MAX)
        } else if bits < i32::MIN as i64 {
            Slope(I8F24::MIN)
        } else {
            Slope(I8F24::from_bits(bits as i32))
        }
    }

    /// From the fixed-point value in kelvin per second.
    pub const fn from_fixed(value: I8F24) -> Slope {
        Slope(value)
    }

    /// The fixed-point value in kelvin per second.
    pub const fn fixed(self) -> I8F24 {
        self.0
    }

    /// In millionths of a kelvin per second, rounded to nearest.
    #[inline(never)]
    pub const fn micro(self) -> i32 {
        let wide = self.0.to_bits() as i64 * 1_000_000;
        ((wide + if wide < 0 { -(1 << 23) } else { 1 << 23 }) / (1 << 24)) as i32
    }

    /// What this rate adds up to over a span, saturating, rounded toward zero.
    pub fn over(self, span: Span) -> Kelvin {
        // bits are 2^-24 K/s; microseconds are 1e-6 s; the result's bits are 2^-16 K.
        // A product beyond 64 bits stands for more than any Kelvin, and so does its saturated value.
        let us = i64::try_from(span.as_micros()).unwrap_or(i64::MAX);
        let product = product_i64(i64::from(self.0.to_bits()), us);
        // By 2^8 first: what is left is nearly always a quotient of 32-bit numbers.
        let size = (product.unsigned_abs() >> 8) / 1_000_000;
        let size = i64::try_from(size).unwrap_or(i64::MAX);
        Kelvin(I16F16::from_bits(narrow(if product < 0 { -size } else { size })))
    }

    /// The rate at which a difference builds up over a span, saturating, rounded toward zero. `None` for an empty span.
    pub fn of(change: Kelvin, span: Span) -> Option<Slope> {
        // At most 59 bits.
        let scaled = i64::from(change.0.to_bits()) * (1_000_000 << 8);
        let us = i64::try_from(span.as_micros()).unwrap_or(i64::MAX);
        scaled.checked_div(us).map(|bits| Slope(I8F24::from_bits(narrow(bits))))
    }
}

/// Narrows, saturating.
#[inline(never)]
pub(crate) fn narrow(value: i64) -> i32 {
    i32::try_from(value).unwrap_or(if value < 0 { i32::MIN } else { i32::MAX })
}

impl Duty {
    /// Off.
    pub const ZERO: Duty = Duty(U16F16::ZERO);
    /// Full power.
    pub const FULL: Duty = Duty(U16F16::ONE);

    /// From hundredths of a percent (0 to 10,000), rounded to nearest, saturating at full power.
    pub const fn from_basis_points(hundredths_of_percent: u32) -> Duty {
        let clamped = if hundredths_of_percent > 10_000 { 10_000 } else { hundredths_of_percent };
        Duty(U16F16::from_bits((clamped * 65_536 + 5_000) / 10_000))
    }

    /// From a fixed-point share, saturating to 0..=1.
    pub fn from_fixed(value: I16F16) -> Duty {
        Duty(U16F16::saturating_from_num(value).min(U16F16::ONE))
    }

    /// The fixed-point share.
    pub fn fixed(self) -> I16F16 {
        I16F16::saturating_from_num(self.0)
    }

    /// In units of 1/65536 of full power: 0 to 65,536.
    pub const fn bits(self) -> u32 {
        self.0.to_bits()
    }

    /// The same for sums with a sign.
    pub(crate) const fn signed_bits(self) -> i32 {
        self.0.to_bits() as i32
    }

    /// In hundredths of a percent, rounded to nearest.
    pub const fn basis_points(self) -> u32 {
        (self.0.to_bits() * 10_000 + 32_768) / 65_536
    }
}

impl Span {
    /// No time.
    pub const ZERO: Span = Span(0);

    /// From microseconds.
    pub const fn from_micros(us: u64) -> Span {
        Span(us)
    }

    /// From milliseconds, saturating.
    pub const fn from_millis(ms: u64) -> Span {
        Span(product_u64(ms, 1_000))
    }

    /// From seconds, saturating.
    pub const fn from_secs(s: u64) -> Span {
        Span(product_u64(s, 1_000_000))
    }

    /// From minutes, saturating.
    pub const fn from_mins(min: u64) -> Span {
        Span(product_u64(min, 60_000_000))
    }

    /// In microseconds.
    pub const fn as_micros(self) -> u64 {
        self.0
    }

    /// In microseconds, in a word: 71 minutes and more count as that long.
    #[expect(clippy::cast_possible_truncation, reason = "the bound is checked")]
    pub const fn short_us(self) -> u32 {
        if self.0 > u32::MAX as u64 { u32::MAX } else { self.0 as u32 }
    }

    /// In milliseconds, rounded down.
    pub const fn as_millis(self) -> u64 {
        self.0 / 1_000
    }

    /// In seconds, rounded down.
    pub const fn as_secs(self) -> u64 {
        self.0 / 1_000_000
    }

    /// In seconds as fixed point, saturating at 32,767 s, rounded down.
    pub fn seconds(self) -> I16F16 {
        // Above 2^48 us it saturates anyway.
        let bits = (self.0.min(1 << 47) << 16) / 1_000_000;
        I16F16::from_bits(i32::try_from(bits).unwrap_or(i32::MAX))
    }

    /// Sum, saturating.
    #[must_use]
    #[inline(never)]
    pub const fn plus(self, other: Span) -> Span {
        Span(self.0.saturating_add(other.0))
    }

    /// Difference, not below zero.
    #[must_use]
    #[inline(never)]
    pub const fn less(self, other: Span) -> Span {
        Span(self.0.saturating_sub(other.0))
    }

    /// Product with a whole number, saturating.
    #[must_use]
    pub const fn times(self, factor: u64) -> Span {
        Span(product_u64(self.0, factor))
    }

    /// This share of it, rounded down. Spans above 8.9 years count as that long.
    #[must_use]
    pub const fn share(self, duty: Duty) -> Span {
        Span(product_u64(self.0, duty.bits() as u64) >> 16)
    }
}

impl Instant {
    /// The controller's start.
    pub const START: Instant = Instant(0);

    /// From microseconds since the start.
    pub const fn from_micros(us: u64) -> Instant {
        Instant(us)
    }

    /// Microseconds since the start.
    pub const fn as_micros(self) -> u64 {
        self.0
    }

    /// The time from `earlier` to this instant; `None` if this instant is before it (a clock that ran backwards is a fault, not a span).
    pub const fn since(self, earlier: Instant) -> Option<Span> {
        match self.0.checked_sub(earlier.0) {
            Some(us) => Some(Span(us)),
            None => None,
        }
    }

    /// This instant moved later, saturating.
    #[must_use]
    #[inline(never)]
    pub const fn plus(self, span: Span) -> Instant {
        Instant(self.0.saturating_add(span.0))
    }
}

impl Watts {
    /// From watts, saturating at 100,000.
    pub const fn new(watts: u32) -> Watts {
        Watts(if watts > 100_000 { 100_000 } else { watts })
    }

    /// In watts.
    pub const fn get(self) -> u32 {
        self.0
    }
}

impl Litres {
    /// From millilitres, saturating, not below zero.
    pub const fn from_millilitres(ml: i32) -> Litres {
        Litres(I16F16::from_bits(milli_bits(if ml < 0 { 0 } else { ml })))
    }

    /// In millilitres, rounded to nearest.
    pub const fn millilitres(self) -> i32 {
        bits_to_milli(self.0.to_bits())
    }

    /// The fixed-point value in litres.
    pub const fn fixed(self) -> I16F16 {
        self.0
    }
}

macro_rules! debug_as {
    ($($type:ty: $unit:literal, $milli:expr;)*) => {$(
        impl core::fmt::Debug for $type {
            fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
                let milli: i64 = $milli(self);
                let sign = if milli < 0 { "-" } else { "" };
                let size = milli.unsigned_abs();
                write!(f, "{sign}{}.{:03} {}", size / 1000, size % 1000, $unit)
            }
        }
    )*};
}

debug_as! {
    Celsius: "C", |v: &Celsius| i64::from(v.milli());
    Kelvin: "K", |v: &Kelvin| i64::from(v.milli());
    Slope: "mK/s", |v: &Slope| i64::from(v.micro());
    Duty: "%", |v: &Duty| i64::from(v.basis_points()) * 10;
    Span: "s", |v: &Span| i64::try_from(v.as_millis()).unwrap_or(i64::MAX);
    Instant: "s", |v: &Instant| i64::try_from(v.as_micros() / 1_000).unwrap_or(i64::MAX);
    Watts: "W", |v: &Watts| i64::from(v.get()) * 1000;
    Litres: "L", |v: &Litres| i64::from(v.millilitres());
}

#[cfg(test)]
mod tests;
