//! The reader's units, and numbers as the report prints them.

use crate::day::Units;

/// What stands where a figure does not apply.
pub const NONE: &str = "–";

/// Converts SI figures to the reader's units.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Measure(pub Units);

impl Measure {
    /// A temperature from degrees Celsius.
    pub fn temperature(self, celsius: f64) -> f64 {
        match self.0 {
            Units::Metric => celsius,
            Units::Us => celsius * 1.8 + 32.0,
        }
    }

    /// A difference of temperatures from kelvin.
    pub fn difference(self, kelvin: f64) -> f64 {
        match self.0 {
            Units::Metric => kelvin,
            Units::Us => kelvin * 1.8,
        }
    }

    /// A volume from litres; the US gallon is 231 cubic inches of 2.54 cm.
    pub fn volume(self, litres: f64) -> f64 {
        match self.0 {
            Units::Metric => litres,
            Units::Us => litres / 3.785_411_784,
        }
    }

    /// `°C` or `°F`.
    pub fn degrees(self) -> &'static str {
        match self.0 {
            Units::Metric => "°C",
            Units::Us => "°F",
        }
    }

    /// `L` or `gal`.
    pub fn volumes(self) -> &'static str {
        match self.0 {
            Units::Metric => "L",
            Units::Us => "gal",
        }
    }

    /// A temperature with its unit, one decimal.
    pub fn degrees_text(self, celsius: f64) -> String {
        format!("{} {}", fixed(self.temperature(celsius), 1), self.degrees())
    }

    /// A difference of temperatures with its unit, two decimals.
    pub fn difference_text(self, kelvin: f64) -> String {
        format!("{} {}", fixed(self.difference(kelvin), 2), self.degrees())
    }

    /// A volume with its unit: a tenth of a litre, a hundredth of a gallon.
    pub fn volume_text(self, litres: f64) -> String {
        format!("{} {}", fixed(self.volume(litres), self.volume_decimals()), self.volumes())
    }

    /// What a person is asked, with the volume it is about.
    pub fn asked_text(self, ask: &str, litres: Option<f64>) -> String {
        litres.map_or_else(|| ask.to_owned(), |litres| format!("{ask} ({})", self.volume_text(litres)))
    }

    /// A rate of boil-off with its unit.
    pub fn rate_text(self, litres_per_hour: f64) -> String {
        format!("{} {}/h", fixed(self.volume(litres_per_hour), 2), self.volumes())
    }

    fn volume_decimals(self) -> usize {
        match self.0 {
            Units::Metric => 1,
            Units::Us => 2,
        }
    }
}

/// A number with a fixed count of decimals, a true minus sign, and never a negative zero. Not a number: [`NONE`].
pub fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return NONE.to_owned();
    }
    let digits = format!("{:.decimals$}", value.abs());
    let is_zero = digits.bytes().all(|byte| byte == b'0' || byte == b'.');
    if value < 0.0 && !is_zero { format!("−{digits}") } else { digits }
}

/// The same for a figure that may be absent.
pub fn fixed_or_none(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| NONE.to_owned(), |value| fixed(value, decimals))
}

/// A length of time as people say it: `45 s`, `4.5 min`, `23 min`, `1 h 05 min`.
pub fn duration(seconds: f64) -> String {
    if !seconds.is_finite() || seconds < 0.0 {
        return NONE.to_owned();
    }
    let minutes = (seconds / 60.0).round();
    if seconds < 59.5 {
        format!("{seconds:.0} s")
    } else if seconds < 597.0 {
        format!("{:.1} min", seconds / 60.0)
    } else if minutes < 60.0 {
        format!("{minutes:.0} min")
    } else {
        format!("{:.0} h {:02.0} min", (minutes / 60.0).floor(), minutes % 60.0)
    }
}

/// A moment of the day as `h:mm`.
pub fn clock(seconds: f64) -> String {
    if !seconds.is_finite() || seconds < 0.0 {
        return NONE.to_owned();
    }
    let minutes = (seconds / 60.0).floor();
    format!("{:.0}:{:02.0}", (minutes / 60.0).floor(), minutes % 60.0)
}

/// Text from outside made safe to print: control characters and marks that turn the direction of writing become `�`.
pub fn plain(text: &str) -> String {
    text.chars()
        .map(|letter| match letter {
            '\n' | '\t' => ' ',
            '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{2028}' | '\u{2029}' => '\u{fffd}',
            '\u{fffe}' | '\u{ffff}' => '\u{fffd}',
            letter if letter.is_control() => '\u{fffd}',
            letter => letter,
        })
        .collect()
}
