//! `copperhold survey`: random rigs, the real controller and its rivals on each.

use super::Failure;
use clap::Args as ClapArgs;
use copperhold::report;
use copperhold::survey::{self, Field};
use indicatif::{ProgressBar, ProgressStyle};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// How many rigs, which, and where to write what was found.
#[derive(Debug, Clone, ClapArgs)]
#[command(after_long_help = survey::ranges_text())]
pub struct Args {
    /// How many rigs.
    #[arg(long, value_name = "N", default_value_t = 200, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    rigs: u32,
    /// Seed of all rigs. The same seed gives the same figures, on any number of cores.
    #[arg(long, value_name = "S", default_value_t = 1)]
    seed: u64,
    /// Survey these rigs of the seed alone; may be given several times or with commas.
    #[arg(long, value_name = "N", value_delimiter = ',', conflicts_with = "rigs")]
    rig: Vec<u32>,
    /// Add what bounds us: ours told the true figures, and one who sees water and sheath; and say what limits each rig that misses an aim.
    #[arg(long, conflicts_with = "ours")]
    limits: bool,
    /// Leave the rivals out: many times faster.
    #[arg(long)]
    ours: bool,
    /// Write one line per rig, comma-separated.
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Write a report with the distributions.
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
}

/// Runs it.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    // indicatif hides the bar by itself when standard error is not a terminal.
    let style =
        ProgressStyle::with_template("{bar:24} {pos}/{len} rigs, {eta} left").unwrap_or_else(|_| ProgressStyle::default_bar());
    let numbers = if args.rig.is_empty() { (0..args.rigs).collect() } else { args.rig.clone() };
    let field = match (args.limits, args.ours) {
        (true, _) => Field::Limits,
        (false, true) => Field::Ours,
        (false, false) => Field::Usual,
    };
    let bar = ProgressBar::new(numbers.len() as u64).with_style(style);
    let found = survey::run(numbers, args.seed, field, || bar.inc(1));
    bar.finish_and_clear();
    print!("{}", survey::table(&found));
    if let Some(path) = &args.csv {
        write(path, &survey::csv(&found))?;
    }
    if let Some(path) = &args.report {
        write(path, &survey::page(&found))?;
        println!("\nReport: {}", path.display());
    }
    Ok(ExitCode::SUCCESS)
}

fn write(path: &Path, contents: &str) -> Result<(), Failure> {
    report::write_atomically(path, contents).map_err(|error| Failure::bad_input(format!("error: {error}")))
}
