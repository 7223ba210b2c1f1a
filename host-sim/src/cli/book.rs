//! `copperhold book`: the logbook.

use super::Failure;
use clap::{Args as ClapArgs, Subcommand, ValueEnum};
use copperhold::files::quantity::Dimension;
use copperhold::logbook::compare::Comparison;
use copperhold::logbook::dry_loss::Taught;
use copperhold::logbook::measure::Kind;
use copperhold::logbook::{BookError, Entry, Logbook, StoredDay, compare_page, compare_text, export};
use copperhold::report::{self, measure};
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Where the logbook is when no other is named.
pub const DEFAULT: &str = "copperhold-book.db";

/// Which logbook, and what to do with it.
#[derive(Debug, Clone, ClapArgs)]
pub struct Args {
    /// The logbook.
    #[arg(long, value_name = "FILE", default_value = DEFAULT, global = true)]
    book: PathBuf,
    #[command(subcommand)]
    task: Task,
}

#[derive(Debug, Clone, Subcommand)]
enum Task {
    /// List the days.
    List,
    /// Show a day with its measurements and notes.
    Show {
        /// Number of the day.
        day: i64,
        /// Write a report with charts.
        #[arg(long, value_name = "FILE.html")]
        report: Option<PathBuf>,
    },
    /// Compare two days step by step.
    Compare {
        /// Number of a day.
        first: i64,
        /// Number of another.
        second: i64,
        /// Write a report with charts.
        #[arg(long, value_name = "FILE.html")]
        report: Option<PathBuf>,
    },
    /// Write a day for other programs.
    Export {
        /// Number of the day.
        day: i64,
        /// The format.
        #[arg(long, value_enum)]
        format: Format,
        /// The file to write. Default: standard output.
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
    },
    /// Write a note beside a day.
    Note {
        /// Number of the day.
        day: i64,
        /// The note.
        text: String,
    },
    /// Write down what you measured.
    Measure {
        /// Number of the day.
        day: i64,
        /// What was measured.
        #[arg(value_parser = kind)]
        kind: Kind,
        /// Its value: 27 L or 7.1 gal; 1.048, 12.3 P or 12.5 Bx.
        value: String,
        /// Temperature it was measured at: 95 C. It is brought to 20 C.
        #[arg(long, value_name = "TEMPERATURE", value_parser = temperature)]
        at: Option<f64>,
    },
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    /// Samples, RFC 4180.
    Csv,
    /// The whole day.
    Json,
    /// Samples, for data tools.
    Parquet,
}

fn kind(text: &str) -> Result<Kind, String> {
    Kind::of_key(text).ok_or_else(|| {
        let known: Vec<&str> = Kind::ALL.into_iter().map(Kind::key).collect();
        format!("one of these: {}", known.join(", "))
    })
}

fn temperature(text: &str) -> Result<f64, String> {
    let read = Dimension::Temperature.parse(text).map(|quantity| quantity.value).ok();
    read.filter(|c| (0.0..=105.0).contains(c)).ok_or_else(|| "write a temperature from 0 to 105 C: 30 C, or 86 F".to_owned())
}

/// What to say when the logbook refuses.
pub fn refuse(error: BookError) -> Failure {
    Failure::bad_input(format!("error: {error}"))
}

/// Runs it.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    let book = Logbook::open_existing(&args.book).map_err(refuse)?;
    match &args.task {
        Task::List => print!("{}", list(&book.days().map_err(refuse)?)),
        Task::Show { day, report } => {
            let day = book.day(*day).map_err(refuse)?;
            print!("{}", show(&day));
            write_page(report.as_deref(), || report::html::page(&day.day))?;
        }
        Task::Compare { first, second, report } => {
            let (first, second) = (book.day(*first).map_err(refuse)?, book.day(*second).map_err(refuse)?);
            let comparison = Comparison { first: &first, second: &second };
            print!("{}", compare_text::page(&comparison));
            write_page(report.as_deref(), || compare_page::page(&comparison))?;
        }
        Task::Export { day, format, out } => {
            let day = book.day(*day).map_err(refuse)?;
            write_export(&book, &day, *format, out.as_deref())?;
        }
        Task::Note { day, text } => book.note(*day, text).map_err(refuse)?,
        Task::Measure { day, kind, value, at } => {
            let read = kind.read(value, *at).map_err(|why| Failure::bad_input(format!("error: {why}")))?;
            book.measure(*day, *kind, read, value).map_err(refuse)?;
            println!("{} of day {day}: {}", kind.key(), value_text(*kind, read));
            if matches!(kind, Kind::PreBoilVolume | Kind::PostBoilVolume) {
                tell_taught(book.day(*day).map_err(refuse)?.taught());
            }
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn tell_taught(taught: Taught) {
    match taught {
        Taught::Nothing => {}
        Taught::Contradiction => println!(
            "The two volumes of the boil teach nothing: the boil was too short, nothing boiled off, or more than its power could have \
             evaporated. Measure the wrong one again."
        ),
        Taught::Watts(watts) => println!("Learned: {watts:.0} W of the boil made no vapour. Plans and boils asked in L/h use it."),
    }
}

fn value_text(kind: Kind, value: f64) -> String {
    if kind.is_volume() { format!("{value:.2} L at 20 C") } else { format!("{value:.4} at 20 C") }
}

fn list(days: &[Entry]) -> String {
    if days.is_empty() {
        return "The logbook is empty. Record a day with `copperhold rehearse --book FILE`.\n".to_owned();
    }
    let mut out = String::new();
    for day in days {
        let kind = if day.rehearsed { "rehearsed" } else { "brewed" };
        let state = if day.finished { "" } else { ", not written to its end" };
        let plural = |count: i64, one: &str| if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") };
        out.push_str(&format!(
            "{:>4}  {}  {kind:<9}  {:>11}  {:>6.2} kWh  {} on {} ({}, {}, {}{state})\n",
            day.number,
            day.begun_utc,
            measure::duration(day.length_s),
            day.energy_kwh,
            measure::plain(&day.sheet),
            measure::plain(&day.rig),
            plural(day.trips, "trip"),
            plural(day.measurements, "measurement"),
            plural(day.notes, "note"),
        ));
    }
    out
}

fn show(day: &StoredDay) -> String {
    let kind = if day.rehearsed { "rehearsed" } else { "brewed" };
    let mut out = format!("Day {}, {kind} {}\n", day.number, day.begun_utc);
    if !day.finished {
        out.push_str("Not written to its end: what follows is of what there is.\n");
    }
    out.push_str(&report::text::table(&day.day));
    out.push_str("\nMeasured\n");
    for m in &day.measurements {
        out.push_str(&format!(
            "  {:<20}  {}  (as given: {})\n",
            m.kind.key(),
            value_text(m.kind, m.value),
            measure::plain(&m.given)
        ));
    }
    let stages = day.stages(copperhold::brewing::grain::EXTRACT_DRY_BASIS);
    let named = [
        ("conversion in the mash", stages.conversion),
        ("run-off and sparge", stages.lauter()),
        ("efficiency into the kettle", stages.mash),
        ("efficiency after the boil", stages.kettle),
        ("efficiency into the fermenter", stages.brewhouse),
    ];
    for (name, share) in named {
        if let Some(share) = share {
            out.push_str(&format!("  {name:<30}  {:.1} %\n", share * 100.0));
        }
    }
    if let Some(alcohol) = day.alcohol() {
        out.push_str(&format!("  {:<30}  {alcohol:.1} %\n", "alcohol by volume"));
    }
    if day.measurements.is_empty() {
        out.push_str("  Nothing. Write it down with `copperhold book measure`.\n");
    }
    for (name, value) in &day.learned {
        out.push_str(&format!("  learned {name:<28}  {value:.6}\n"));
    }
    for (at_utc, text) in &day.notes {
        out.push_str(&format!("  {at_utc}  {}\n", measure::plain(text)));
    }
    out
}

fn write_page(path: Option<&Path>, page: impl FnOnce() -> String) -> Result<(), Failure> {
    let Some(path) = path else { return Ok(()) };
    report::write_atomically(path, &page()).map_err(|error| Failure::bad_input(format!("error: {error}")))?;
    println!("\nReport: {}", path.display());
    Ok(())
}

fn write_export(book: &Logbook, day: &StoredDay, format: Format, out: Option<&Path>) -> Result<(), Failure> {
    let write = |sink: &mut (dyn Write + Send)| match format {
        Format::Csv => export::csv(book, day, sink),
        Format::Json => export::json(book, day, sink),
        Format::Parquet => export::parquet(book, day, sink),
    };
    let outcome = match out {
        None => {
            let mut sink = BufWriter::new(io::stdout());
            write(&mut sink).and_then(|()| sink.flush().map_err(BookError::Export))
        }
        Some(path) => {
            let explain = |error: io::Error| {
                BookError::Export(io::Error::new(error.kind(), format!("could not write {}: {error}", path.display())))
            };
            let mut sink = BufWriter::new(File::create(path).map_err(explain).map_err(refuse)?);
            write(&mut sink).and_then(|()| sink.flush().map_err(explain))
        }
    };
    match outcome {
        // Whoever reads our output has seen enough.
        Err(BookError::Export(error)) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        other => other.map_err(refuse),
    }
}
