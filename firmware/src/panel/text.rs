//! Words and figures on the panel.

use copperhold_core::probe::Reading;
use copperhold_core::units::{Celsius, Span};
use copperhold_core::vessel::Vessel;
use heapless::String;

/// A short text; what does not fit is left out.
pub type Short = String<24>;

/// Pieces one after the other. The compiler's formatting would do the same for 3 kB.
pub fn short(pieces: &[&str]) -> Short {
    let mut text = Short::new();
    // Too long: the pieces that fit are shown.
    let _ = pieces.iter().try_for_each(|piece| text.push_str(piece));
    text
}

/// A hexadecimal digit.
pub fn half_byte(value: u8) -> &'static str {
    let at = usize::from(value);
    "0123456789abcdef".get(at..=at).unwrap_or("")
}

/// A number in decimal digits, at least `least` of them, at most ten.
fn digits(number: u32, least: u32) -> Short {
    let mut text = Short::new();
    let count = number.checked_ilog10().map_or(1, |most| most + 1).max(least).min(10);
    for place in (0..count).rev() {
        let digit = (number / 10_u32.pow(place) % 10) as usize;
        // There is room for ten.
        let _ = text.push_str("0123456789".get(digit..=digit).unwrap_or(""));
    }
    text
}

/// A number.
pub fn number(number: u32) -> Short {
    digits(number, 1)
}

/// A vessel's name on the panel.
#[inline(never)]
pub const fn name(vessel: Vessel) -> &'static str {
    match vessel {
        Vessel::LiquorTank => "TANK",
        Vessel::MashTun => "MASH",
        Vessel::BoilKettle => "BOIL",
    }
}

/// A temperature with one decimal, rounded.
pub fn celsius(temperature: Celsius) -> Short {
    tenths(temperature.milli().saturating_add(if temperature.milli() < 0 { -50 } else { 50 }) / 100)
}

/// Tenths as a figure with one decimal.
pub fn tenths(tenths: i32) -> Short {
    let sign = if tenths < 0 { "-" } else { "" };
    let size = tenths.unsigned_abs();
    short(&[sign, &number(size / 10), ".", &number(size % 10)])
}

/// A reading, or dashes.
pub fn reading(reading: Reading) -> Short {
    match reading {
        Ok(temperature) => celsius(temperature),
        Err(_) => short(&["---"]),
    }
}

/// Minutes and seconds, rounded up so that it reads zero only at the end.
pub fn clock(left: Span) -> Short {
    let seconds = left.plus(Span::from_millis(999)).as_secs();
    short(&[&number(u32::try_from(seconds / 60).unwrap_or(u32::MAX)), ":", &digits((seconds % 60) as u32, 2)])
}

/// The name of a step.
pub const fn step(step: &copperhold_core::sheet::Step) -> &'static str {
    use copperhold_core::sheet::Step;
    match step {
        Step::HeatStrike { .. } => "strike",
        Step::DoughIn { .. } => "dough in",
        Step::Rest { .. } => "rest",
        Step::MashOut { .. } => "mash out",
        Step::Sparge { .. } => "sparge",
        Step::BringToBoil => "to boil",
        Step::Boil { .. } => "boil",
        Step::KnockOut => "knock out",
        Step::Whirlpool { .. } => "whirlpool",
        Step::Chill { .. } => "chill",
    }
}
