//! `copperhold rehearse`: a whole brew day in a fraction of a second.

use super::{Failure, record};
use clap::Args as ClapArgs;
use copperhold::day::Day;
use copperhold::files::{self, Diagnostic, RigFile, SheetFile};
use copperhold::logbook::Logbook;
use copperhold::rehearse::{Progress, Rehearsal, RehearsalError};
use copperhold::report;
use indicatif::{ProgressBar, ProgressStyle};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

/// What to rehearse, and where to write it.
#[derive(Debug, Clone, ClapArgs)]
pub struct Args {
    /// The brew sheet (TOML). Default: the built-in demo.
    pub sheet: Option<PathBuf>,
    /// The rig (TOML). Default: the built-in demo.
    #[arg(long, value_name = "RIG")]
    pub rig: Option<PathBuf>,
    /// Seed of probe noise and of the simulated brewer's pace. The same seed gives the same day.
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Write the day down in this logbook as it runs. A boil asked in L/h uses what earlier days in it taught.
    #[arg(long, value_name = "FILE")]
    book: Option<PathBuf>,
    /// Let a second of the day take 1/N of a second. Default: as fast as it goes.
    #[arg(long, value_name = "N", value_parser = speed)]
    speed: Option<f64>,
    /// Write the day's figures as JSON.
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Write a report with charts. With neither --json nor --report it goes to copperhold-report.html, in ./target if there is one.
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
}

/// Runs it.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    let (rig, sheet) = load(args.rig.as_deref(), args.sheet.as_deref())?;
    let rig = rig.taught(learned(args.book.as_deref(), &rig.rig.name)?);
    let rehearsal = Rehearsal::new(&rig, &sheet, args.seed).map_err(refuse)?;
    let bar = progress_bar(sheet.steps.len());
    let watch = |progress: &Progress<'_>| {
        bar.set_position(progress.step as u64);
        bar.set_message(format!("{} · {}", progress.name, report::measure::clock(progress.t_s)));
    };
    let pace = Pace::new(args.speed);
    let day = match &args.book {
        None => {
            let mut rehearsal = rehearsal;
            rehearsal.run_with(|r| run_to(r, &pace, &watch)).map_err(refuse)?;
            rehearsal.finish()
        }
        Some(path) => record::run(rehearsal, args, path, &pace, &watch)?,
    };
    bar.finish_and_clear();
    print!("{}", report::text::table(&day));
    write_files(args, &day)?;
    Ok(if day.trips.is_empty() { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

/// The dry loss that a logbook has of a rig's kettle, W; `None` where there is no logbook yet.
fn learned(book: Option<&Path>, rig: &str) -> Result<Option<f64>, Failure> {
    let Some(path) = book.filter(|path| path.is_file()) else { return Ok(None) };
    let loss = Logbook::open_existing(path).and_then(|book| book.dry_loss(rig)).map_err(super::book::refuse)?;
    Ok(loss.map(|loss| loss.watts))
}

/// Reads the two files; the built-in ones where no path is given.
pub fn load(rig: Option<&Path>, sheet: Option<&Path>) -> Result<(RigFile, SheetFile), Failure> {
    let rig = rig.map_or_else(files::demo_rig, files::load_rig);
    let sheet = sheet.map_or_else(files::demo_sheet, files::load_sheet);
    match (rig, sheet) {
        (Ok(rig), Ok(sheet)) => Ok((rig, sheet)),
        (rig, sheet) => {
            let texts: Vec<String> = [rig.err(), sheet.err()].into_iter().flatten().map(|d| render(&d)).collect();
            Err(Failure::bad_input(texts.join("\n")))
        }
    }
}

fn render(diagnostic: &Diagnostic) -> String {
    diagnostic.render(files::wants_colour())
}

/// What to say when a rehearsal cannot be made.
pub fn refuse(error: RehearsalError) -> Failure {
    match error {
        RehearsalError::Sheet(diagnostic) => Failure::bad_input(render(&diagnostic)),
        other => Failure::bad_input(format!("error: {other}")),
    }
}

fn run_to(rehearsal: &Rehearsal, pace: &Pace, watch: &impl Fn(&Progress<'_>)) -> Result<(), RehearsalError> {
    if let Some(progress) = rehearsal.progress().filter(|progress| on_the_minute(progress.t_s)) {
        watch(&progress);
    }
    pace.wait(rehearsal.t_s());
    Ok(())
}

/// Whether this control period, of a quarter of a second, begins a minute.
pub fn on_the_minute(t_s: f64) -> bool {
    ((t_s * 4.0).round() as u64).is_multiple_of(240)
}

/// Keeps a rehearsal to a speed.
pub struct Pace {
    began: Instant,
    speed: Option<f64>,
}

impl Pace {
    fn new(speed: Option<f64>) -> Pace {
        Pace { began: Instant::now(), speed }
    }

    /// Whether there is a speed to keep to.
    pub fn is_set(&self) -> bool {
        self.speed.is_some()
    }

    /// Waits until this moment of the day has come.
    pub fn wait(&self, t_s: f64) {
        if let Some(speed) = self.speed {
            let due = Duration::from_secs_f64(t_s / speed);
            std::thread::sleep(due.saturating_sub(self.began.elapsed()));
        }
    }
}

fn speed(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(speed) if (0.01..=100_000.0).contains(&speed) => Ok(speed),
        _ => Err("write a number from 0.01 to 100000: 60 runs a minute in a second".to_owned()),
    }
}

fn progress_bar(steps: usize) -> ProgressBar {
    // indicatif hides the bar by itself when standard error is not a terminal.
    let style = ProgressStyle::with_template("{bar:24} {pos}/{len} {msg}").unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(steps as u64).with_style(style)
}

fn write_files(args: &Args, day: &Day) -> Result<(), Failure> {
    let fail = |error: std::io::Error| Failure::bad_input(format!("error: {error}"));
    if let Some(path) = &args.json {
        report::write_atomically(path, &report::json::document(day)).map_err(fail)?;
    }
    if let Some(path) = report_path(args) {
        report::write_atomically(&path, &report::html::page(day)).map_err(fail)?;
        println!("\nReport with charts: {}", path.display());
    }
    Ok(())
}

fn report_path(args: &Args) -> Option<PathBuf> {
    let by_default = || {
        let folder = if Path::new("target").is_dir() { "target" } else { "." };
        args.json.is_none().then(|| Path::new(folder).join("copperhold-report.html"))
    };
    args.report.clone().or_else(by_default)
}
