//! The names of every trip there is, read from the source: a list kept by hand would forget the next one.

use copperhold_core::guard::Trip;
use std::collections::BTreeSet;

const SOURCE: &str = include_str!("../../core/src/guard/trip.rs");

/// Every variant of [`Trip`] by name.
///
/// # Panics
/// The source no longer looks as expected.
pub fn variants() -> BTreeSet<String> {
    let (_, body) = SOURCE.split_once("pub enum Trip {").expect("the enum is in its file");
    let (body, _) = body.split_once("\n}").expect("and ends");
    let names: BTreeSet<String> = body
        .lines()
        .map(str::trim)
        .filter(|line| !line.starts_with("//"))
        .filter_map(|line| name(line).map(str::to_owned))
        .collect();
    assert!(names.len() >= 13, "only {names:?}");
    names
}

/// A trip's name, without what it holds.
///
/// # Panics
/// It has none.
pub fn name_of(trip: Trip) -> String {
    name(&format!("{trip:?}")).expect("a name").to_owned()
}

fn name(text: &str) -> Option<&str> {
    let end = text.find(|c: char| !c.is_alphanumeric()).unwrap_or(text.len());
    text.get(..end).filter(|name| !name.is_empty())
}
