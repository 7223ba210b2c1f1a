//! Words and figures on the panel.

use copperhold_core::probe::Reading;
use copperhold_core::units::{Celsius, Span};
use copperhold_core::vessel::Vessel;
use core::fmt::Write;
use heapless::String;

/// A short text; what does not fit is left out.
pub type Short = String<24>;

/// Formats into a short text.
pub fn short(args: core::fmt::Arguments<'_>) -> Short {
    let mut text = Short::new();
    // Too long: what fits so far is shown.
    let _ = text.write_fmt(args);
    text
}

/// A vessel's name on the panel.
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
    short(format_args!("{sign}{}.{}", size / 10, size % 10))
}

/// A reading, or dashes.
pub fn reading(reading: Reading) -> Short {
    match reading {
        Ok(temperature) => celsius(temperature),
        Err(_) => short(format_args!("---")),
    }
}

/// Minutes and seconds, rounded up so that it reads zero only at the end.
pub fn clock(left: Span) -> Short {
    let seconds = left.plus(Span::from_millis(999)).as_secs();
    short(format_args!("{}:{:02}", seconds / 60, seconds % 60))
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
