//! Walks a TOML document by its keys and gathers every problem on the way, instead of stopping at the first.

use super::diagnose::{Diagnostic, Problem, ProblemKind, place};
use super::key::{Form, Key, Range, list};
use super::quantity::{Quantity, QuantityError};
use super::suggest::nearest;
use crate::day::Units;
use std::ops;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A table of the document with the name a person would give it.
#[derive(Clone)]
pub struct Section<'d> {
    table: &'d DeTable<'d>,
    /// Where it stands in the text.
    pub span: ops::Range<usize>,
    /// `the rig`, `liquor_tank`, `a boil step`.
    pub name: String,
}

impl<'d> Section<'d> {
    /// The value of a key with its place, if the key is there.
    pub fn value(&self, key: &Key) -> Option<&'d Spanned<DeValue<'d>>> {
        self.table.iter().find(|(k, _)| k.get_ref() == key.name).map(|(_, v)| v)
    }

    /// Where the value of each of the keys stands.
    pub fn places(&self, keys: &[&'static Key]) -> Vec<(&'static str, ops::Range<usize>)> {
        keys.iter().filter_map(|key| self.value(key).map(|value| (key.name, value.span()))).collect()
    }

    /// Where a key's value stands; the section's own place if the key is not there.
    pub fn place_of(&self, key: &Key) -> ops::Range<usize> {
        self.value(key).map_or_else(|| self.span.clone(), Spanned::span)
    }
}

/// Reads values and remembers what was wrong and whose units were used.
pub struct Reader<'s> {
    source: &'s str,
    path: &'s str,
    problems: Vec<Problem>,
    metric: usize,
    us: usize,
}

impl<'s> Reader<'s> {
    /// A reader of one text.
    pub fn new(path: &'s str, source: &'s str) -> Reader<'s> {
        Reader { source, path, problems: Vec::new(), metric: 0, us: 0 }
    }

    /// Parses the text as TOML.
    ///
    /// # Errors
    /// Every fault of syntax in it.
    pub fn document(&self) -> Result<Spanned<DeTable<'s>>, Diagnostic> {
        let (document, faults) = DeTable::parse_recoverable(self.source);
        if faults.is_empty() {
            return Ok(document);
        }
        let problems = faults.into_iter().map(|fault| {
            let span = fault.span().unwrap_or(0..0);
            let message = fault.message().lines().collect::<Vec<_>>().join("; ");
            if message.contains("duplicate key") {
                let what = "this key is already given above";
                return Problem::at(
                    ProblemKind::DuplicateKey,
                    span,
                    "a key is given twice",
                    what,
                    "keep one of the two and remove the other",
                );
            }
            let advice = "write one `key = value` to a line, text and quantities in double quotes: element = \"5500 W\"";
            Problem::at(
                ProblemKind::NotToml,
                span,
                format!("this is not TOML: {message}"),
                "the text cannot be read from here",
                advice,
            )
        });
        Err(Diagnostic::new(self.path, self.source, problems.collect()))
    }

    /// The whole document as a section.
    pub fn root<'d>(&mut self, document: &'d Spanned<DeTable<'d>>, name: &str, keys: &[&Key]) -> Section<'d> {
        let section = Section { table: document.get_ref(), span: 0..0, name: name.to_owned() };
        self.check_keys(&section, keys);
        section
    }

    /// Notes a problem.
    pub fn fault(
        &mut self,
        kind: ProblemKind,
        span: ops::Range<usize>,
        message: impl Into<String>,
        expected: impl Into<String>,
        remedy: impl Into<String>,
    ) {
        self.problems.push(Problem::at(kind, span, message, expected, remedy));
    }

    /// Ends the reading.
    ///
    /// # Errors
    /// Everything that was wrong, if anything was.
    pub fn finish(self) -> Result<(), Diagnostic> {
        if self.problems.is_empty() { Ok(()) } else { Err(Diagnostic::new(self.path, self.source, self.problems)) }
    }

    /// Whether nothing was wrong so far.
    pub fn clean(&self) -> bool {
        self.problems.is_empty()
    }

    /// The units most quantities were written in; metric if it is a draw.
    pub fn usual_units(&self) -> Units {
        if self.us > self.metric { Units::Us } else { Units::Metric }
    }

    /// The line of a place, from 1.
    pub fn line(&self, span: &ops::Range<usize>) -> usize {
        place(self.source, span.start).0
    }

    /// Tells of each key of the section that is none of `keys`.
    pub fn check_keys(&mut self, section: &Section<'_>, keys: &[&Key]) {
        for (key, _) in section.table {
            let word: &str = key.get_ref();
            if keys.iter().any(|k| k.name == word) {
                continue;
            }
            if section.name == "mash_tun" && word == "element" {
                self.fault(
                    ProblemKind::UnknownKey,
                    key.span(),
                    "the mash tun has no element of its own",
                    "the coil in the liquor tank heats the mash",
                    "remove this line; if you mean the tank's element, write it under liquor_tank",
                );
                continue;
            }
            let names = keys.iter().map(|k| k.name);
            let remedy = match nearest(word, names.clone()) {
                Some(name) => format!("did you mean `{name}`?"),
                None => format!("remove it; the keys of {} are {}", section.name, list(names)),
            };
            let expected = "not a key of ".to_owned() + &section.name;
            self.fault(ProblemKind::UnknownKey, key.span(), format!("unknown key `{word}`"), expected, remedy);
        }
    }

    /// Notes a key that is not there but must be.
    pub fn missing(&mut self, section: &Section<'_>, key: &Key) {
        let message = format!("{} lacks `{}`", section.name, key.name);
        let expected = format!("`{}` is required: {}", key.name, key.about);
        self.fault(
            ProblemKind::MissingKey,
            section.span.clone(),
            message,
            expected,
            format!("add {} = {}", key.name, key.example()),
        );
    }

    /// The quantity of a key in its base unit. `None` if it is absent, or wrong and told of.
    pub fn quantity(&mut self, section: &Section<'_>, key: &Key) -> Option<f64> {
        let value = section.value(key)?;
        self.quantity_of(key, value)
    }

    /// As [`Reader::quantity`], and told of if it is absent.
    pub fn needed(&mut self, section: &Section<'_>, key: &Key) -> Option<f64> {
        if section.value(key).is_none() {
            self.missing(section, key);
        }
        self.quantity(section, key)
    }

    /// Free text. `None` if it is absent, or wrong and told of.
    pub fn text(&mut self, section: &Section<'_>, key: &Key) -> Option<String> {
        let value = section.value(key)?;
        match value.get_ref() {
            DeValue::String(text) if !text.trim().is_empty() => Some(text.trim().to_owned()),
            DeValue::String(_) => {
                self.fault(
                    ProblemKind::OutOfRange,
                    value.span(),
                    format!("`{}` is empty", key.name),
                    "some text",
                    format!("write {} = {}, or remove the line", key.name, key.example()),
                );
                None
            }
            _ => self.wrong_type(key, value),
        }
    }

    /// `true` or `false`. `None` if it is absent, or wrong and told of.
    pub fn yes_no(&mut self, section: &Section<'_>, key: &Key) -> Option<bool> {
        let value = section.value(key)?;
        match value.get_ref() {
            DeValue::Boolean(yes) => Some(*yes),
            _ => self.wrong_type(key, value),
        }
    }

    /// One of the key's words. `None` if it is absent, or wrong and told of.
    pub fn word(&mut self, section: &Section<'_>, key: &Key) -> Option<&'static str> {
        let value = section.value(key)?;
        let (Form::Word(words) | Form::WordOrTable(words, _)) = key.form else { return None };
        let DeValue::String(text) = value.get_ref() else { return self.wrong_type(key, value) };
        let written = text.trim().to_lowercase();
        let found = words.iter().find(|w| **w == written);
        if found.is_none() {
            let remedy = match nearest(&written, words.iter().copied()) {
                Some(word) => format!("did you mean {word:?}?"),
                None => format!("write one of {}", list(words.iter().copied())),
            };
            let expected = format!("one of {}", list(words.iter().copied()));
            let message = format!("`{}` cannot be {:?}", key.name, text.as_ref());
            self.fault(ProblemKind::UnknownWord, value.span(), message, expected, remedy);
        }
        found.copied()
    }

    /// The table of a key, its keys checked. `None` if it is absent or holds something else.
    pub fn table<'d>(&mut self, section: &Section<'d>, key: &Key) -> Option<Section<'d>> {
        let value = section.value(key)?;
        let keys = match key.form {
            Form::Table(keys) | Form::QuantityOrTable(_, keys) | Form::WordOrTable(_, keys) | Form::Tables(keys) => keys,
            _ => return None,
        };
        match value.get_ref() {
            DeValue::Table(table) => {
                let inner = Section { table, span: value.span(), name: key.name.to_owned() };
                self.check_keys(&inner, keys);
                Some(inner)
            }
            _ if matches!(key.form, Form::Table(_)) => self.wrong_type(key, value),
            _ => None,
        }
    }

    /// The entries of a list of tables, keys not yet checked. Empty if it is absent, or wrong and told of.
    pub fn tables<'d>(&mut self, section: &Section<'d>, key: &Key, name: &str) -> Vec<Section<'d>> {
        let Some(value) = section.value(key) else { return Vec::new() };
        let DeValue::Array(entries) = value.get_ref() else {
            self.wrong_type::<()>(key, value);
            return Vec::new();
        };
        let mut sections = Vec::new();
        for entry in entries.iter() {
            match entry.get_ref() {
                DeValue::Table(table) => sections.push(Section { table, span: entry.span(), name: name.to_owned() }),
                _ => drop(self.wrong_type::<()>(key, entry)),
            }
        }
        sections
    }

    /// A value as the key's quantity. `None` if it is wrong, and told of.
    pub fn quantity_of(&mut self, key: &Key, value: &Spanned<DeValue<'_>>) -> Option<f64> {
        let (Form::Quantity(range) | Form::QuantityOrTable(range, _)) = key.form else { return None };
        let bare = match value.get_ref() {
            DeValue::String(text) => return self.quantity_in(key, range, text, value.span()),
            DeValue::Integer(n) => n.to_string(),
            DeValue::Float(n) => n.to_string(),
            _ => return self.wrong_type(key, value),
        };
        self.fault(
            ProblemKind::WrongType,
            value.span(),
            format!("`{}` is a number without a unit", key.name),
            format!("{} in quotes, in {}", range.dimension.label(), range.dimension.unit_list()),
            key.with_unit(range, &bare),
        );
        None
    }

    fn quantity_in(&mut self, key: &Key, range: Range, text: &str, span: ops::Range<usize>) -> Option<f64> {
        let dimension = range.dimension;
        let quantity = match dimension.parse(text) {
            Ok(quantity) => quantity,
            Err(error) => {
                self.unreadable_quantity(key, range, text, span, &error);
                return None;
            }
        };
        self.tally(quantity);
        let value = quantity.value;
        if value >= range.least && value <= range.most {
            return Some(value);
        }
        let units = quantity.system.unwrap_or_else(|| self.usual_units());
        let expected = format!("from {}", dimension.show_range(range.least, range.most, units, 2));
        let (kind, message) = if value < 0.0 && range.least >= 0.0 {
            (ProblemKind::Negative, format!("`{}` cannot be below zero", key.name))
        } else {
            let side = if value < range.least { "small" } else { "large" };
            (ProblemKind::OutOfRange, format!("`{}` is too {side}", key.name))
        };
        let remedy = format!("check the number and its unit; {} is: {}", key.name, key.about);
        self.fault(kind, span, message, expected, remedy);
        None
    }

    fn unreadable_quantity(&mut self, key: &Key, range: Range, text: &str, span: ops::Range<usize>, error: &QuantityError) {
        let dimension = range.dimension;
        let sample = format!("write {} = {}", key.name, key.example());
        let (kind, message, remedy) = match error {
            QuantityError::NotAQuantity => {
                (ProblemKind::NotAQuantity, format!("`{}` is not a number with a unit: {text:?}", key.name), sample)
            }
            QuantityError::DecimalComma(point) => (
                ProblemKind::NotAQuantity,
                format!("`{}` has a decimal comma: {text:?}", key.name),
                format!("write a point: {} = {point:?}", key.name),
            ),
            QuantityError::NoUnit => (
                ProblemKind::WrongUnit,
                format!("`{}` is a number without a unit: {text:?}", key.name),
                key.with_unit(range, text.trim()),
            ),
            QuantityError::WrongUnit { unit, measures: Some(other) } => {
                let message =
                    format!("`{}` is {}, but {unit:?} is a unit of {}", key.name, dimension.label(), bare_label(other.label()));
                (ProblemKind::WrongUnit, message, sample)
            }
            QuantityError::WrongUnit { unit, measures: None } => {
                (ProblemKind::WrongUnit, format!("`{}` has an unknown unit {unit:?}", key.name), sample)
            }
            QuantityError::TooLong => (ProblemKind::OutOfRange, format!("`{}` is too large", key.name), sample),
        };
        self.fault(kind, span, message, format!("{} in {}", dimension.label(), dimension.unit_list()), remedy);
    }

    fn tally(&mut self, quantity: Quantity) {
        match quantity.system {
            Some(Units::Metric) => self.metric += 1,
            Some(Units::Us) => self.us += 1,
            None => {}
        }
    }

    /// Notes a value of the wrong type; always `None`.
    pub fn wrong_type<T>(&mut self, key: &Key, value: &Spanned<DeValue<'_>>) -> Option<T> {
        let found = match value.get_ref() {
            DeValue::String(_) => "text",
            DeValue::Integer(_) | DeValue::Float(_) => "a bare number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        let message = format!("`{}` cannot be {found}", key.name);
        let remedy = format!("write {} = {}", key.name, key.example());
        self.fault(ProblemKind::WrongType, value.span(), message, key.wants(), remedy);
        None
    }
}

fn bare_label(label: &'static str) -> &'static str {
    label.strip_prefix("a ").unwrap_or(label)
}
