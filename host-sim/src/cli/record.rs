//! `copperhold rehearse --book FILE`: a rehearsal written down as it runs.

use super::Failure;
use super::book;
use super::rehearse::{Args, Pace, on_the_minute, refuse};
use copperhold::day::Day;
use copperhold::files;
use copperhold::logbook::{BookError, Logbook, Opening, Writer};
use copperhold::rehearse::{Progress, Rehearsal, RehearsalError};
use std::path::Path;

/// Spacing of the samples in the book, s.
const SAMPLE_S: f64 = 1.0;
/// Samples per commit of a rehearsal that runs as fast as it goes. One that keeps to a speed commits each.
const BATCH: usize = 600;

/// What can go wrong on the way.
enum Trouble {
    Rehearsal(RehearsalError),
    Book(BookError),
}

impl From<RehearsalError> for Trouble {
    fn from(error: RehearsalError) -> Trouble {
        Trouble::Rehearsal(error)
    }
}

impl From<BookError> for Trouble {
    fn from(error: BookError) -> Trouble {
        Trouble::Book(error)
    }
}

impl From<Trouble> for Failure {
    fn from(trouble: Trouble) -> Failure {
        match trouble {
            Trouble::Rehearsal(error) => refuse(error),
            Trouble::Book(error) => book::refuse(error),
        }
    }
}

/// Runs the rehearsal to its end and gives its record.
pub fn run(rehearsal: Rehearsal, args: &Args, path: &Path, pace: &Pace, watch: &impl Fn(&Progress<'_>)) -> Result<Day, Failure> {
    let mut rehearsal = rehearsal.sampled_every(SAMPLE_S);
    let sheet_text = text_of(args.sheet.as_deref(), files::DEMO_SHEET)?;
    let rig_text = text_of(args.rig.as_deref(), files::DEMO_RIG)?;
    let opening = Opening { rehearsed: true, sheet_text: &sheet_text, rig_text: &rig_text };
    let book = Logbook::open(path).map_err(book::refuse)?;
    let mut writer = Writer::begin(book, &opening, rehearsal.day()).map_err(book::refuse)?;
    let batch = if pace.is_set() { 1 } else { BATCH };
    rehearsal.run_with(|rehearsal| {
        let day = rehearsal.day();
        if day.samples.len() >= writer.samples() + batch {
            writer.follow(day, rehearsal.under_way())?;
        }
        if let Some(progress) = rehearsal.progress().filter(|progress| on_the_minute(progress.t_s)) {
            watch(&progress);
        }
        pace.wait(rehearsal.t_s());
        Ok::<(), Trouble>(())
    })?;
    let knowledge = rehearsal.controller().supervisor().knowledge();
    let day = rehearsal.finish();
    let number = writer.number();
    writer.finish(&day, &knowledge).map_err(book::refuse)?;
    println!("Day {number} in {}\n", path.display());
    Ok(day)
}

/// The text of a file as it was used.
fn text_of(path: Option<&Path>, built_in: &str) -> Result<String, Failure> {
    match path {
        None => Ok(built_in.to_owned()),
        Some(path) => std::fs::read_to_string(path).map_err(|error| {
            Failure::bad_input(format!(
                "error: {} cannot be read again for the logbook: {error}; leave it where it is",
                path.display()
            ))
        }),
    }
}
