//! Numbers with units, as people write them: `38 L`, `10 gal`, `160 F`, `1 h 30 min`.
//!
//! Conversion factors are the exact ones of NIST Special Publication 811 (2008), appendix B. Gallons, quarts and pints are the US
//! liquid measures. Capital letters do not matter; a space before the unit is optional; the decimal mark is a point.

use crate::day::Units;

/// What a quantity measures. The base unit of each is the one that [`crate::rig`] and the sheet use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dimension {
    /// Volume; base L.
    Volume,
    /// Temperature; base degrees Celsius.
    Temperature,
    /// Difference of two temperatures; base K.
    Difference,
    /// Power; base W.
    Power,
    /// Time; base s. Also written in parts (`1 h 30 min`) or as an ISO 8601 duration (`PT1H30M`).
    Time,
    /// Mass; base kg.
    Mass,
    /// Length; base m.
    Length,
    /// Electric tension; base V.
    Voltage,
    /// Frequency; base Hz.
    Frequency,
    /// Share of a whole, written in percent; base 1.
    Share,
    /// Flow; base L/min.
    Flow,
    /// Thermal conductance; base W/K.
    Conductance,
    /// Heat capacity; base J/K.
    HeatCapacity,
}

/// Why a text is not the quantity that was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum QuantityError {
    /// No number at the start, or something after the end.
    NotAQuantity,
    /// A decimal comma; the text holds the number with a point in its place.
    DecimalComma(String),
    /// A number without a unit.
    NoUnit,
    /// A unit that does not measure this. `measures` says what it does measure, where that is known.
    WrongUnit {
        /// The unit as written.
        unit: String,
        /// What it measures.
        measures: Option<Dimension>,
    },
    /// More digits than a number can hold.
    TooLong,
}

/// A unit: how it is written (the first spelling is the one to show), its size in base units, where its zero lies, and whose it is.
struct Unit {
    spellings: &'static [&'static str],
    factor: f64,
    /// Base value at this unit's zero. Only temperatures have one.
    zero: f64,
    system: Option<Units>,
}

const fn metric(spellings: &'static [&'static str], factor: f64) -> Unit {
    Unit { spellings, factor, zero: 0.0, system: Some(Units::Metric) }
}

const fn us(spellings: &'static [&'static str], factor: f64) -> Unit {
    Unit { spellings, factor, zero: 0.0, system: Some(Units::Us) }
}

const fn either(spellings: &'static [&'static str], factor: f64) -> Unit {
    Unit { spellings, factor, zero: 0.0, system: None }
}

const GALLON_L: f64 = 3.785_411_784;
const POUND_KG: f64 = 0.453_592_37;
const FOOT_M: f64 = 0.304_8;

/// Absolute temperatures in fahrenheit are computed as `(F - 32) / 1.8`; see [`Dimension::parse`].
const FAHRENHEIT_ZERO_C: f64 = -32.0 / 1.8;

const VOLUME: &[Unit] = &[
    metric(&["L", "litre", "litres", "liter", "liters"], 1.0),
    us(&["gal", "gallon", "gallons"], GALLON_L),
    metric(&["mL"], 1e-3),
    us(&["qt", "quart", "quarts"], GALLON_L / 4.0),
    us(&["pt", "pint", "pints"], GALLON_L / 8.0),
];
const TEMPERATURE: &[Unit] = &[
    metric(&["C", "°C"], 1.0),
    Unit { spellings: &["F", "°F"], factor: 1.0 / 1.8, zero: FAHRENHEIT_ZERO_C, system: Some(Units::Us) },
];
const DIFFERENCE: &[Unit] = &[metric(&["K", "C", "°C"], 1.0), us(&["F", "°F"], 1.0 / 1.8)];
const POWER: &[Unit] = &[either(&["W", "watt", "watts"], 1.0), either(&["kW"], 1e3)];
const TIME: &[Unit] = &[
    either(&["min", "minute", "minutes"], 60.0),
    either(&["s", "sec", "second", "seconds"], 1.0),
    either(&["h", "hour", "hours"], 3600.0),
];
const MASS: &[Unit] = &[
    metric(&["kg"], 1.0),
    us(&["lb", "lbs", "pound", "pounds"], POUND_KG),
    metric(&["g"], 1e-3),
    us(&["oz", "ounce", "ounces"], POUND_KG / 16.0),
];
const LENGTH: &[Unit] = &[
    metric(&["m"], 1.0),
    metric(&["cm"], 1e-2),
    us(&["ft", "foot", "feet"], FOOT_M),
    metric(&["mm"], 1e-3),
    us(&["in", "inch", "inches"], FOOT_M / 12.0),
];
const VOLTAGE: &[Unit] = &[either(&["V", "volt", "volts"], 1.0)];
const FREQUENCY: &[Unit] = &[either(&["Hz"], 1.0)];
const SHARE: &[Unit] = &[either(&["%", "percent"], 1e-2)];
const FLOW: &[Unit] = &[
    metric(&["L/min"], 1.0),
    us(&["gal/min"], GALLON_L),
    metric(&["L/h"], 1.0 / 60.0),
    us(&["gal/h"], GALLON_L / 60.0),
    us(&["qt/min"], GALLON_L / 4.0),
];
const CONDUCTANCE: &[Unit] = &[either(&["W/K", "W/C", "W/°C"], 1.0), either(&["W/F", "W/°F"], 1.8)];
const HEAT_CAPACITY: &[Unit] = &[either(&["J/K", "J/C", "J/°C"], 1.0), either(&["kJ/K", "kJ/C", "kJ/°C"], 1e3)];

/// A number read from text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    /// Value in the base unit of its dimension. Always finite.
    pub value: f64,
    /// Whose unit it was written in, where a unit tells.
    pub system: Option<Units>,
}

impl Dimension {
    /// Every dimension.
    pub const ALL: [Dimension; 13] = [
        Dimension::Volume,
        Dimension::Temperature,
        Dimension::Power,
        Dimension::Time,
        Dimension::Mass,
        Dimension::Length,
        Dimension::Voltage,
        Dimension::Frequency,
        Dimension::Share,
        Dimension::Flow,
        Dimension::Conductance,
        Dimension::HeatCapacity,
        Dimension::Difference,
    ];

    /// What a person calls it, with its article.
    pub const fn label(self) -> &'static str {
        match self {
            Dimension::Volume => "a volume",
            Dimension::Temperature => "a temperature",
            Dimension::Difference => "a temperature difference",
            Dimension::Power => "a power",
            Dimension::Time => "a time",
            Dimension::Mass => "a mass",
            Dimension::Length => "a length",
            Dimension::Voltage => "a voltage",
            Dimension::Frequency => "a frequency",
            Dimension::Share => "a percentage",
            Dimension::Flow => "a flow",
            Dimension::Conductance => "a thermal conductance",
            Dimension::HeatCapacity => "a heat capacity",
        }
    }

    /// A value as people write it, for messages.
    pub const fn sample(self) -> &'static str {
        match self {
            Dimension::Volume => "38 L",
            Dimension::Temperature => "66 C",
            Dimension::Difference => "0.5 K",
            Dimension::Power => "5500 W",
            Dimension::Time => "60 min",
            Dimension::Mass => "7.5 kg",
            Dimension::Length => "40 cm",
            Dimension::Voltage => "240 V",
            Dimension::Frequency => "60 Hz",
            Dimension::Share => "60 %",
            Dimension::Flow => "8 L/min",
            Dimension::Conductance => "600 W/K",
            Dimension::HeatCapacity => "900 J/K",
        }
    }

    const fn units(self) -> &'static [Unit] {
        match self {
            Dimension::Volume => VOLUME,
            Dimension::Temperature => TEMPERATURE,
            Dimension::Difference => DIFFERENCE,
            Dimension::Power => POWER,
            Dimension::Time => TIME,
            Dimension::Mass => MASS,
            Dimension::Length => LENGTH,
            Dimension::Voltage => VOLTAGE,
            Dimension::Frequency => FREQUENCY,
            Dimension::Share => SHARE,
            Dimension::Flow => FLOW,
            Dimension::Conductance => CONDUCTANCE,
            Dimension::HeatCapacity => HEAT_CAPACITY,
        }
    }

    fn unit(self, written: &str) -> Option<&'static Unit> {
        let wanted = written.to_lowercase();
        self.units().iter().find(|u| u.spellings.iter().any(|s| s.to_lowercase() == wanted))
    }

    /// The units that measure it, each by its first spelling.
    pub fn unit_names(self) -> Vec<&'static str> {
        self.units().iter().filter_map(|u| u.spellings.first().copied()).collect()
    }

    /// The units that measure it, in the order to offer them: `L, gal, mL, qt or pt`.
    pub fn unit_list(self) -> String {
        let names = self.unit_names();
        match names.split_last() {
            Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
            _ => names.concat(),
        }
    }

    /// Reads a quantity of this dimension. Never panics, whatever the text.
    ///
    /// # Errors
    /// The text is not a number with one of this dimension's units, or it is too large for a double.
    pub fn parse(self, text: &str) -> Result<Quantity, QuantityError> {
        let text = text.trim();
        if self == Dimension::Time {
            if text.starts_with(['P', 'p']) {
                return iso_duration(text).ok_or(QuantityError::NotAQuantity);
            }
            return self.parts(text);
        }
        let (number, rest) = number(text)?;
        self.convert(number, rest)
    }

    fn convert(self, number: f64, unit: &str) -> Result<Quantity, QuantityError> {
        if unit.is_empty() {
            return Err(QuantityError::NoUnit);
        }
        let Some(found) = self.unit(unit) else {
            let measures = Dimension::ALL.into_iter().find(|d| d.unit(unit).is_some());
            return Err(QuantityError::WrongUnit { unit: unit.to_owned(), measures });
        };
        // Subtracting before scaling keeps 212 F at exactly 100 C.
        let value = if found.zero == 0.0 { number * found.factor } else { (number - 32.0) / 1.8 };
        if value.is_finite() { Ok(Quantity { value, system: found.system }) } else { Err(QuantityError::TooLong) }
    }

    /// A sum of parts with units, largest first: `1 h 30 min`.
    fn parts(self, text: &str) -> Result<Quantity, QuantityError> {
        let mut rest = text;
        let mut total = 0.0;
        let mut last_factor = f64::INFINITY;
        loop {
            let (value, after) = number(rest)?;
            let end = after.find(|c: char| c.is_ascii_digit() || c.is_whitespace()).unwrap_or(after.len());
            let (unit, tail) = after.split_at(end);
            let part = self.convert(value, unit)?;
            let factor = self.unit(unit).map_or(0.0, |u| u.factor);
            let negative_part = value < 0.0 && !(last_factor.is_infinite() && tail.trim().is_empty());
            if factor >= last_factor || negative_part {
                return Err(QuantityError::NotAQuantity);
            }
            (total, last_factor, rest) = (total + part.value, factor, tail.trim_start());
            if rest.is_empty() {
                return if f64::is_finite(total) {
                    Ok(Quantity { value: total, system: None })
                } else {
                    Err(QuantityError::TooLong)
                };
            }
        }
    }

    /// Writes a value (in the base unit) with the reader's unit, so that [`Dimension::parse`] reads it back.
    pub fn write(self, base: f64, units: Units) -> String {
        let table = self.units();
        let Some(unit) = table.iter().find(|u| u.system.is_none_or(|s| s == units)).or(table.first()) else {
            return base.to_string();
        };
        let number = if unit.zero == 0.0 { base / unit.factor } else { base * 1.8 + 32.0 };
        format!("{number} {}", unit.spellings.first().copied().unwrap_or(""))
    }

    /// A range, for messages. Flows of a drop at a time are told by the hour.
    pub fn show_range(self, least: f64, most: f64, units: Units, decimals: usize) -> String {
        if self == Dimension::Flow && most <= 1.0 {
            let (litres, unit) = match units {
                Units::Metric => (1.0, "L/h"),
                Units::Us => (GALLON_L, "gal/h"),
            };
            let by_the_hour = |flow: f64| (flow * 60.0 / litres * 100.0).round() / 100.0;
            return format!("{} {unit} to {} {unit}", by_the_hour(least), by_the_hour(most));
        }
        format!("{} to {}", self.show(least, units, decimals), self.show(most, units, decimals))
    }

    /// As [`Dimension::write`], rounded to `decimals` places, for messages.
    pub fn show(self, base: f64, units: Units, decimals: usize) -> String {
        let full = self.write(base, units);
        match full.split_once(' ') {
            Some((number, unit)) => {
                let number: f64 = number.parse().unwrap_or(base);
                let scale = 10f64.powi(i32::try_from(decimals).unwrap_or(0));
                // Adding zero turns -0 into 0.
                format!("{} {unit}", (number * scale).round() / scale + 0.0)
            }
            None => full,
        }
    }
}

/// Splits a leading decimal number off, and the space after it.
fn number(text: &str) -> Result<(f64, &str), QuantityError> {
    let signed = text.strip_prefix(['-', '+', '\u{2212}']).unwrap_or(text);
    let negative = text.starts_with(['-', '\u{2212}']);
    let end = signed.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(signed.len());
    let (digits, rest) = signed.split_at(end);
    if !digits.contains(|c: char| c.is_ascii_digit()) {
        return Err(QuantityError::NotAQuantity);
    }
    if rest.strip_prefix(',').is_some_and(|r| r.starts_with(|c: char| c.is_ascii_digit())) {
        return Err(QuantityError::DecimalComma(text.replacen(',', ".", 1)));
    }
    let size: f64 = digits.parse().map_err(|_| QuantityError::NotAQuantity)?;
    if !size.is_finite() {
        return Err(QuantityError::TooLong);
    }
    Ok((if negative { -size } else { size }, rest.trim_start()))
}

/// `PT1H30M20S`: the time part of an ISO 8601 duration. Days and longer have no place in a brew day.
fn iso_duration(text: &str) -> Option<Quantity> {
    let upper = text.to_ascii_uppercase();
    let mut rest = upper.strip_prefix("PT")?;
    let mut total = 0.0;
    let mut last = f64::INFINITY;
    while !rest.is_empty() {
        let end = rest.find(['H', 'M', 'S'])?;
        let (digits, tail) = rest.split_at(end);
        let factor = match tail.chars().next()? {
            'H' => 3600.0,
            'M' => 60.0,
            _ => 1.0,
        };
        let plain = digits.chars().all(|c| c.is_ascii_digit() || c == '.');
        if !plain || factor >= last {
            return None;
        }
        total += digits.parse::<f64>().ok()? * factor;
        last = factor;
        rest = tail.get(1..)?;
    }
    (last.is_finite() && f64::is_finite(total)).then_some(Quantity { value: total, system: None })
}

#[cfg(test)]
mod tests;
