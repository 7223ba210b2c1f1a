//! `copperhold plan`: the day before it is brewed.

use super::rehearse::{load, refuse};
use super::{Failure, book};
use clap::Args as ClapArgs;
use copperhold::brewing::clock::Clock;
use copperhold::files::quantity::Dimension;
use copperhold::logbook::Logbook;
use copperhold::plan::{Begin, Plan, PlanError, Wishes, text};
use std::path::PathBuf;
use std::process::ExitCode;

/// What to plan.
#[derive(Debug, Clone, ClapArgs)]
pub struct Args {
    /// The brew sheet (TOML). Default: the built-in demo.
    sheet: Option<PathBuf>,
    /// The rig (TOML). Default: the built-in demo.
    #[arg(long, value_name = "RIG")]
    rig: Option<PathBuf>,
    /// When the boil shall start: 14:00, or 2:00 pm. Says when to begin.
    #[arg(long, value_name = "TIME", conflicts_with = "begin_at")]
    boil_at: Option<Clock>,
    /// When the day begins: 9:30. Gives every step its time.
    #[arg(long, value_name = "TIME")]
    begin_at: Option<Clock>,
    /// Price of a kilowatt hour, in any currency: 0.32.
    #[arg(long, value_name = "PRICE", value_parser = price)]
    price: Option<f64>,
    /// A logbook: boil-off by what volumes taught on this rig, with whatever element, takes the place of the rehearsal's.
    #[arg(long, value_name = "FILE")]
    book: Option<PathBuf>,
    /// Mash efficiency to reckon gravities with, 10 to 100 %.
    #[arg(long, value_name = "PERCENT", default_value = "80 %", value_parser = share)]
    efficiency: f64,
    /// Extract of the grain as a share of its dry mass, 10 to 100 %.
    #[arg(long, value_name = "PERCENT", default_value = "80 %", value_parser = share)]
    extract: f64,
}

/// Runs it.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    let (rig, sheet) = load(args.rig.as_deref(), args.sheet.as_deref())?;
    let begin = args.boil_at.map(Begin::BoilAt).or(args.begin_at.map(Begin::At));
    let dry_loss = match &args.book {
        None => None,
        Some(path) => {
            let book = Logbook::open_existing(path).map_err(book::refuse)?;
            book.dry_loss(&rig.rig.name).map_err(book::refuse)?
        }
    };
    let wishes = Wishes {
        dry_loss,
        begin,
        price_per_kwh: args.price,
        efficiency: args.efficiency,
        extract: args.extract,
        ..Wishes::default()
    };
    let plan = Plan::make(&rig, &sheet, wishes).map_err(|error| match error {
        PlanError::Rehearsal(error) => refuse(error),
        other => Failure::bad_input(format!("error: {other}")),
    })?;
    print!("{}", text::page(&plan));
    Ok(ExitCode::SUCCESS)
}

fn price(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(price) if price.is_finite() && (0.0..=1000.0).contains(&price) => Ok(price),
        _ => Err("write the price of one kWh as a number from 0 to 1000, with a point: 0.32".to_owned()),
    }
}

fn share(text: &str) -> Result<f64, String> {
    let with_unit = if text.trim_end().ends_with(|c: char| c.is_ascii_digit()) { format!("{text} %") } else { text.to_owned() };
    match Dimension::Share.parse(&with_unit) {
        Ok(share) if (0.1..=1.0).contains(&share.value) => Ok(share.value),
        _ => Err("write a percentage from 10 to 100: 75, or \"75 %\"".to_owned()),
    }
}
