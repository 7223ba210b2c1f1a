//! `copperhold drill`: faults on purpose.

use super::Failure;
use clap::Args as ClapArgs;
use copperhold::drill::stress::Lossy;
use copperhold::drill::{self, Outcome, Quiet};
use copperhold::files::{self, RigFile};
use copperhold::rehearse::Rehearsal;
use copperhold_core::guard::Trip;
use indicatif::{ParallelProgressIterator, ProgressBar, ProgressStyle};
use rayon::prelude::*;
use std::path::PathBuf;
use std::process::ExitCode;

/// How large a campaign.
#[derive(Debug, Clone, ClapArgs)]
pub struct Args {
    /// Rigs to drill (TOML). Default: the three that are shipped.
    #[arg(long, value_name = "RIG")]
    rig: Vec<PathBuf>,
    /// Besides, breweries drawn at random: 22 to 89 L, 2 to 5.5 kW, any probe, lag, noise and room. Each is drilled once.
    #[arg(long, value_name = "N", default_value_t = 10)]
    drawn_rigs: u32,
    /// Another number draws other breweries.
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    drawn_seed: u64,
    /// Seeds per rig: each gives other fillings, targets and moments.
    #[arg(long, value_name = "N", default_value_t = 2)]
    seeds: u64,
    /// Whole days without a fault, to count false trips. Default: as many as drills.
    #[arg(long, value_name = "N")]
    quiet_days: Option<u64>,
    /// Whole days with twice the noise and every hundredth reading missing, to count trips.
    #[arg(long, value_name = "N", default_value_t = 0)]
    stress_days: u64,
    /// Rigs drawn at random as in `copperhold survey`, each heated twice without a fault, to count false trips.
    #[arg(long, value_name = "N", default_value_t = 100)]
    survey_rigs: u32,
    /// Write a report with the matrix.
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
}

const SHIPPED: [(&str, &str, &str); 2] = [
    ("rigs/small-230v.toml", include_str!("../../rigs/small-230v.toml"), include_str!("../../sheets/small.toml")),
    ("rigs/large-240v.toml", include_str!("../../rigs/large-240v.toml"), include_str!("../../sheets/large.toml")),
];

/// Runs it.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    let rigs = load(args)?;
    let shipped = rigs.iter().flat_map(|rig| (1..=args.seeds).map(move |seed| (rig.clone(), seed)));
    let drawn = (0..args.drawn_rigs).map(|number| (drill::draw::rig(number, args.drawn_seed), u64::from(number)));
    let jobs: Vec<(RigFile, u64)> = shipped.chain(drawn).collect();
    let drills: Result<Vec<Vec<Outcome>>, _> =
        jobs.par_iter().progress_with(bar(jobs.len(), "rigs")).map(|(rig, seed)| drill::all_of(rig, *seed)).collect();
    let outcomes: Vec<Outcome> =
        drills.map_err(|error| Failure::bad_input(format!("error: the controller does not accept a rig: {error:?}")))?.concat();
    let days = args.quiet_days.unwrap_or(outcomes.len() as u64);
    let (day_trips, hours) = quiet_days(days, "quiet days", false)?;
    let tripped_rigs: Vec<(u32, Trip)> = (0..args.survey_rigs)
        .into_par_iter()
        .progress_with(bar(args.survey_rigs as usize, "survey rigs"))
        .filter_map(|number| copperhold::survey::false_trip(number, 1).map(|trip| (number, trip)))
        .collect();
    let quiet = Quiet { days, hours, day_trips, rigs: args.survey_rigs, rig_trips: tripped_rigs.len() };
    print!("{}", drill::table(&outcomes, &quiet));
    for (number, trip) in tripped_rigs {
        println!("  rig {number} of the survey with seed 1: {trip}");
    }
    if let Some(path) = &args.report {
        copperhold::report::write_atomically(path, &drill::page(&outcomes, &quiet))
            .map_err(|e| Failure::bad_input(format!("error: {e}")))?;
        println!("\nReport: {}", path.display());
    }
    if args.stress_days > 0 {
        let (trips, hours) = quiet_days(args.stress_days, "stress days", true)?;
        println!(
            "Twice the noise and every hundredth reading missing: {} brew days, {hours:.0} brew hours, {trips} trips.",
            args.stress_days
        );
    }
    let good = quiet.false_trips() == 0 && outcomes.iter().all(|outcome| outcome.passed);
    Ok(if good { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

fn load(args: &Args) -> Result<Vec<RigFile>, Failure> {
    let refuse = |d: files::Diagnostic| Failure::bad_input(d.render(files::wants_colour()));
    if args.rig.is_empty() {
        let mut rigs = vec![files::demo_rig().map_err(refuse)?];
        for (path, text, _) in SHIPPED {
            rigs.push(files::parse_rig(path, text).map_err(refuse)?);
        }
        return Ok(rigs);
    }
    args.rig.iter().map(|path| files::load_rig(path).map_err(refuse)).collect()
}

/// Whole days of the shipped rigs with their sheets, seed after seed; returns how many tripped, and the hours of all.
fn quiet_days(days: u64, what: &'static str, stressed: bool) -> Result<(usize, f64), Failure> {
    let refuse = |d: files::Diagnostic| Failure::bad_input(d.render(files::wants_colour()));
    let mut pairs = vec![(files::demo_rig().map_err(refuse)?, files::demo_sheet().map_err(refuse)?)];
    for (path, rig, sheet) in SHIPPED {
        pairs.push((files::parse_rig(path, rig).map_err(refuse)?, files::parse_sheet(path, sheet).map_err(refuse)?));
    }
    if stressed {
        pairs.iter_mut().for_each(|(rig, _)| drill::stress::noisy(rig));
    }
    let tripped: Result<Vec<(bool, f64)>, String> = (0..days)
        .into_par_iter()
        .progress_with(bar(days as usize, what))
        .map(|seed| {
            let (rig, sheet) = &pairs[seed as usize % pairs.len()];
            let day = Rehearsal::new(rig, sheet, seed).and_then(|r| r.tampered(Lossy::new(seed, stressed)).run(|_| ()));
            let day = day.map_err(|e| e.to_string())?;
            Ok((!day.trips.is_empty(), day.samples.last().map_or(0.0, |sample| sample.t_s / 3_600.0)))
        })
        .collect();
    let days = tripped.map_err(Failure::bad_input)?;
    // Not `sum`, which for no days at all is -0.
    Ok((days.iter().filter(|(tripped, _)| *tripped).count(), days.iter().fold(0.0, |sum, (_, hours)| sum + hours)))
}

fn bar(length: usize, what: &'static str) -> ProgressBar {
    let style = ProgressStyle::with_template("{bar:24} {pos}/{len} {msg}").unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(length as u64).with_style(style).with_message(what)
}
