//! `copperhold rehearse`: a whole brew day in a fraction of a second.

use super::Failure;
use clap::Args as ClapArgs;
use copperhold::day::Day;
use copperhold::files::{self, Diagnostic, RigFile, SheetFile};
use copperhold::rehearse::{Rehearsal, RehearsalError};
use copperhold::report;
use indicatif::{ProgressBar, ProgressStyle};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// What to rehearse, and where to write it.
#[derive(Debug, Clone, ClapArgs)]
pub struct Args {
    /// The brew sheet (TOML). Default: the built-in demo.
    sheet: Option<PathBuf>,
    /// The rig (TOML). Default: the built-in demo.
    #[arg(long, value_name = "RIG")]
    rig: Option<PathBuf>,
    /// Seed of probe noise and of the simulated brewer's pace. The same seed gives the same day.
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Write the day's figures as JSON.
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Write a report with charts. With neither --json nor --report it goes to copperhold-report.html, in ./target if there is one.
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
}

/// Runs it.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    let (rig, sheet) = load(args)?;
    let rehearsal = Rehearsal::new(&rig, &sheet, args.seed).map_err(refuse)?;
    let bar = progress_bar(sheet.steps.len());
    let day = rehearsal
        .run(|progress| {
            bar.set_position(progress.step as u64);
            bar.set_message(format!("{} · {}", progress.name, report::measure::clock(progress.t_s)));
        })
        .map_err(refuse)?;
    bar.finish_and_clear();
    print!("{}", report::text::table(&day));
    write_files(args, &day)?;
    Ok(if day.trips.is_empty() { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

fn load(args: &Args) -> Result<(RigFile, SheetFile), Failure> {
    let rig = args.rig.as_deref().map_or_else(files::demo_rig, files::load_rig);
    let sheet = args.sheet.as_deref().map_or_else(files::demo_sheet, files::load_sheet);
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

fn refuse(error: RehearsalError) -> Failure {
    match error {
        RehearsalError::Sheet(diagnostic) => Failure::bad_input(render(&diagnostic)),
        other => Failure::bad_input(format!("error: {other}")),
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
