//! What a key may hold. One list of keys serves the reader, the error messages and the reference table, so that they cannot disagree.

use super::quantity::Dimension;
use crate::day::Units;

/// A key of a file.
#[derive(Debug)]
pub struct Key {
    /// As written in the file.
    pub name: &'static str,
    /// What it holds.
    pub form: Form,
    /// What holds when it is not given, in words; `required` when it must be.
    pub default: &'static str,
    /// What it is for.
    pub about: &'static str,
}

/// The shape of a value.
#[derive(Debug, Clone, Copy)]
pub enum Form {
    /// A number with a unit, within a range in the base unit.
    Quantity(Range),
    /// A number with a unit, whose dimension says which of these keys of the same name is meant.
    OneOf(&'static [&'static Key]),
    /// A number with a unit, or a table that says more.
    QuantityOrTable(Range, &'static [&'static Key]),
    /// One of some words, or a table that says more.
    WordOrTable(&'static [&'static str], &'static [&'static Key]),
    /// One of some words.
    Word(&'static [&'static str]),
    /// Free text.
    Text,
    /// `true` or `false`.
    YesNo,
    /// A table.
    Table(&'static [&'static Key]),
    /// A list of tables. Their keys are listed elsewhere where they depend on the entry.
    Tables(&'static [&'static Key]),
}

/// A permitted range, both ends included, in the base unit of its dimension.
#[derive(Debug, Clone, Copy)]
pub struct Range {
    /// What is measured.
    pub dimension: Dimension,
    /// Least permitted value.
    pub least: f64,
    /// Greatest permitted value.
    pub most: f64,
}

/// A key that holds a quantity.
pub const fn quantity(
    name: &'static str,
    dimension: Dimension,
    (least, most): (f64, f64),
    default: &'static str,
    about: &'static str,
) -> Key {
    Key { name, form: Form::Quantity(Range { dimension, least, most }), default, about }
}

/// A key that holds free text.
pub const fn text(name: &'static str, default: &'static str, about: &'static str) -> Key {
    Key { name, form: Form::Text, default, about }
}

/// A key that holds a table.
pub const fn table(name: &'static str, keys: &'static [&'static Key], about: &'static str) -> Key {
    Key { name, form: Form::Table(keys), default: "all its defaults", about }
}

impl Key {
    /// What it wants, in words.
    pub fn wants(&self) -> String {
        match self.form {
            Form::Quantity(range) => format!("{} in quotes", range.dimension.label()),
            Form::QuantityOrTable(range, _) => format!("{} in quotes, or a table", range.dimension.label()),
            Form::OneOf(keys) => keys.iter().map(|key| key.wants()).collect::<Vec<_>>().join(", or "),
            Form::Word(words) => format!("one of {}", list(words.iter().copied())),
            Form::WordOrTable(words, _) => format!("one of {}, or a table", list(words.iter().copied())),
            Form::Text => "text in quotes".to_owned(),
            Form::YesNo => "true or false".to_owned(),
            Form::Table(_) => "a table".to_owned(),
            Form::Tables(_) => "a list of tables".to_owned(),
        }
    }

    /// A value that it would take, as TOML.
    pub fn example(&self) -> String {
        let first = |keys: &[&Key]| keys.first().map_or_else(|| "{}".to_owned(), |k| format!("{{ {} = {} }}", k.name, k.example()));
        match self.form {
            Form::Quantity(range) | Form::QuantityOrTable(range, _) => format!("{:?}", range.example()),
            Form::OneOf(keys) => keys.first().map_or_else(String::new, |key| key.example()),
            Form::Word(words) | Form::WordOrTable(words, _) => format!("{:?}", words.first().copied().unwrap_or("")),
            Form::Text => "\"some text\"".to_owned(),
            Form::YesNo => "true".to_owned(),
            Form::Table(keys) => first(keys),
            Form::Tables(keys) => format!("[{}]", first(keys)),
        }
    }

    /// Advice for a number that lacks its unit: the first unit that makes it a permitted value, else an example.
    pub fn with_unit(&self, range: Range, number: &str) -> String {
        let mut spelled = range.dimension.unit_names().into_iter().map(|unit| format!("{number} {unit}"));
        match spelled.find(|text| range.takes(text)) {
            Some(text) => format!("write {} = {text:?} if that is what you mean", self.name),
            None => format!("write {} = {}", self.name, self.example()),
        }
    }
}

impl Range {
    fn takes(self, text: &str) -> bool {
        self.dimension.parse(text).is_ok_and(|q| q.value >= self.least && q.value <= self.most)
    }

    /// A permitted value: the dimension's usual one if the range has it, else a round number from its middle.
    fn example(self) -> String {
        let usual = self.dimension.sample();
        if self.takes(usual) {
            return usual.to_owned();
        }
        let middle = if self.least > 0.0 { (self.least * self.most).sqrt() } else { f64::midpoint(self.least, self.most) };
        // Two significant digits.
        let scale = 10f64.powf(middle.abs().max(1e-6).log10().floor() - 1.0);
        self.dimension.show((middle / scale).round() * scale, Units::Metric, 4)
    }
}

/// Words with commas between.
pub fn list<'a>(words: impl Iterator<Item = &'a str>) -> String {
    words.collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::super::{rig_keys, sheet_keys};
    use super::*;

    fn every(keys: &[&'static Key], visit: &mut impl FnMut(&'static Key)) {
        for key in keys {
            visit(key);
            match key.form {
                Form::QuantityOrTable(_, inner)
                | Form::WordOrTable(_, inner)
                | Form::OneOf(inner)
                | Form::Table(inner)
                | Form::Tables(inner) => every(inner, visit),
                Form::Quantity(_) | Form::Word(_) | Form::Text | Form::YesNo => {}
            }
        }
    }

    #[test]
    fn every_example_is_a_permitted_value() {
        let mut seen = 0;
        let mut check = |key: &'static Key| {
            if let Form::Quantity(range) | Form::QuantityOrTable(range, _) = key.form {
                assert!(range.takes(&range.example()), "{}: {}", key.name, range.example());
                seen += 1;
            }
        };
        every(rig_keys::RIG, &mut check);
        for word in sheet_keys::WORDS {
            every(sheet_keys::of_step(word), &mut check);
        }
        assert!(seen > 50, "{seen}");
    }

    #[test]
    fn a_bare_number_gets_a_unit_that_makes_sense() {
        let Form::Quantity(range) = rig_keys::DIAMETER.form else { panic!("not a quantity") };
        assert_eq!(rig_keys::DIAMETER.with_unit(range, "40"), "write diameter = \"40 cm\" if that is what you mean");
        assert_eq!(rig_keys::DIAMETER.with_unit(range, "900000"), "write diameter = \"40 cm\"");
    }
}
