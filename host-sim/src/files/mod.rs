//! Rig files and sheet files: TOML with quantities written as people write them (`"38 L"`, `"160 F"`, `"1 h 30 min"`).
//!
//! The map: [`load_rig`] and [`load_sheet`] read a file into a [`RigFile`] or a [`SheetFile`]; [`SheetFile::compile`] checks the sheet
//! against the rig and makes the core's sheet. Whatever is wrong comes back as one [`Diagnostic`] that holds every problem with its
//! place, what was expected and what to do. [`quantity`] reads numbers with units; what a rig file leaves out is derived by rules in
//! `defaults`; the keys themselves are listed once, in `rig_keys` and `sheet_keys`, for the reader, the messages and [`reference()`].

mod compile;
pub(crate) mod defaults;
mod diagnose;
mod key;
mod order;
pub mod quantity;
mod reference;
mod rig_file;
mod rig_keys;
mod sheet_file;
mod sheet_keys;
mod suggest;
mod walk;

pub use diagnose::{Diagnostic, Problem, ProblemKind, wants_colour};
pub use reference::reference;
pub use rig_file::{RigFile, parse_rig};
pub use sheet_file::{AdditionText, NamedStep, SheetFile, parse_sheet};

use std::fs::File;
use std::io::Read;
use std::path::Path;

/// The built-in rig, as text.
pub const DEMO_RIG: &str = include_str!("../../rigs/demo.toml");
/// The built-in sheet, as text.
pub const DEMO_SHEET: &str = include_str!("../../sheets/demo.toml");

/// No rig or sheet comes near this; a file that does is not one. Bytes.
const MOST_BYTES: u64 = 1 << 20;

/// The built-in rig.
///
/// # Errors
/// None as shipped: a test holds it.
pub fn demo_rig() -> Result<RigFile, Diagnostic> {
    parse_rig("the built-in rig", DEMO_RIG)
}

/// The built-in sheet, which the built-in rig can brew.
///
/// # Errors
/// None as shipped: a test holds it.
pub fn demo_sheet() -> Result<SheetFile, Diagnostic> {
    parse_sheet("the built-in sheet", DEMO_SHEET)
}

/// Reads a rig file.
///
/// # Errors
/// The file cannot be read, is not UTF-8, is not TOML, or has keys or values that are wrong.
pub fn load_rig(path: &Path) -> Result<RigFile, Diagnostic> {
    parse_rig(&path.to_string_lossy(), &read(path)?)
}

/// Reads a sheet file.
///
/// # Errors
/// The file cannot be read, is not UTF-8, is not TOML, or has keys or values that are wrong.
pub fn load_sheet(path: &Path) -> Result<SheetFile, Diagnostic> {
    parse_sheet(&path.to_string_lossy(), &read(path)?)
}

/// Reads a text file of at most 1 MiB.
///
/// # Errors
/// The file cannot be read, is too large, or is not UTF-8.
pub fn read(path: &Path) -> Result<String, Diagnostic> {
    let name = path.to_string_lossy();
    let mut bytes = Vec::new();
    let outcome = File::open(path).and_then(|file| file.take(MOST_BYTES + 1).read_to_end(&mut bytes));
    if let Err(error) = outcome {
        let remedy = "check the path and that you may read the file";
        let problem = Problem::whole(ProblemKind::Unreadable, format!("the file cannot be read: {error}"), remedy);
        return Err(Diagnostic::new(name, "", vec![problem]));
    }
    if bytes.len() as u64 > MOST_BYTES {
        let problem = Problem::whole(
            ProblemKind::TooLarge,
            "the file is larger than 1 MiB",
            "give a rig, a sheet or a recipe, which are a few KiB",
        );
        return Err(Diagnostic::new(name, "", vec![problem]));
    }
    String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        // Up to the first bad byte the lossy text is the same, so the place is right.
        let shown = String::from_utf8_lossy(error.as_bytes()).into_owned();
        let span = at..at + char::REPLACEMENT_CHARACTER.len_utf8();
        let remedy = "save the file as UTF-8 in your editor";
        let problem =
            Problem::at(ProblemKind::NotUtf8, span, "the file is not UTF-8 text", "this byte is no UTF-8 character", remedy);
        Diagnostic::new(name, shown, vec![problem])
    })
}
