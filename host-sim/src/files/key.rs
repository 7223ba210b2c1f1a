//! What a key may hold. One list of keys serves the reader, the error messages and the reference table, so that they cannot disagree.

use super::quantity::Dimension;

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
