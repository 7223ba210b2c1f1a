//! Imports recipes from the open exchange formats BeerXML 1.0 and BeerJSON 1.0 into a sheet of our own.
//!
//! [`beer_xml`] and [`beer_json`] read a document into a [`recipe::Recipe`]: strict about units and ranges, and with a list of what the recipe
//! holds beyond a brew day's heat and times. [`sheet_text`] makes a sheet of it, for a rig, and says what it had to assume. The result is text
//! for a person to read and change. It starts nothing, demands nothing and arms nothing.
//!
//! Both schemas are from memory, not opened here; the tests' documents were written to them.

pub mod beer_json;
pub mod beer_xml;
pub mod recipe;
pub mod sheet_text;

use crate::files::{Diagnostic, Problem, ProblemKind, RigFile};
use recipe::Recipe;

/// A recipe as a sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Import {
    /// The sheet, TOML, with the two lists below in its head as comments.
    pub sheet: String,
    /// What the recipe holds and the sheet does not.
    pub left_out: Vec<String>,
    /// What the sheet holds and the recipe does not say.
    pub assumed: Vec<String>,
}

/// Reads every recipe of a document. The format is told from its first character.
///
/// # Errors
/// Everything that is wrong with it, with place and remedy.
pub fn recipes(path: &str, text: &str) -> Result<Vec<Recipe>, Diagnostic> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    match text.trim_start().chars().next() {
        Some('<') => beer_xml::read(path, text),
        Some('{') => beer_json::read(path, text),
        Some(_) | None => {
            let remedy = "give a BeerXML 1.0 document (it begins with <) or a BeerJSON 1.0 document (it begins with {)";
            let problem = Problem::whole(ProblemKind::UnknownFormat, "the file is neither XML nor JSON", remedy);
            Err(Diagnostic::new(path, text, vec![problem]))
        }
    }
}

/// Makes a sheet of a recipe, with volumes for this rig.
///
/// # Errors
/// The recipe has no grain or no mash that this kind of brewery can do.
pub fn sheet(path: &str, recipe: &Recipe, rig: &RigFile) -> Result<Import, Diagnostic> {
    sheet_text::write(recipe, rig).map_err(|problems| Diagnostic::new(path, "", problems))
}
