//! `copperhold tune`: the relay experiment on a simulated vessel.

use super::Failure;
use clap::{Args as ClapArgs, ValueEnum};
use copperhold::files;
use copperhold::tune::{self, Plan, TuneError};
use copperhold_core::heat::rules::{Brisk as SimcBrisk, IntegratingRule};
use copperhold_core::units::Span;
use copperhold_core::vessel::Element;
use std::path::PathBuf;
use std::process::ExitCode;

/// Which vessel to tune, where, and how brisk it shall be.
#[derive(Debug, Clone, ClapArgs)]
pub struct Args {
    /// The rig (TOML). Default: the built-in demo.
    #[arg(long, value_name = "RIG")]
    rig: Option<PathBuf>,
    /// The vessel. It is filled to three quarters with tap water.
    #[arg(long, value_enum, default_value_t = Vessel::LiquorTank)]
    vessel: Vessel,
    /// Swing around this temperature, degrees Celsius.
    #[arg(long, value_name = "C", default_value_t = 65.0, value_parser = celsius)]
    at: f64,
    /// How briskly the loop shall answer.
    #[arg(long, value_enum, default_value_t = Briskness::Even)]
    brisk: Briskness,
    /// Seed of the probe's noise.
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Give up after so many hours of simulated time.
    #[arg(long, value_name = "HOURS", default_value_t = 24, value_parser = clap::value_parser!(u64).range(1..=24))]
    hours: u64,
}

/// A vessel with an element.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
#[value(rename_all = "snake_case")]
enum Vessel {
    /// The hot liquor tank.
    LiquorTank,
    /// The boil kettle.
    BoilKettle,
}

/// How brisk.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Briskness {
    /// SIMC with tc = 3 L: smooth power, slow to make good a disturbance.
    Calm,
    /// AMIGO: between the two.
    Even,
    /// SIMC with tc = L: quick.
    Brisk,
}

fn celsius(text: &str) -> Result<f64, String> {
    let c: f64 = text.parse().map_err(|_| "expected degrees Celsius, for example 65".to_owned())?;
    if (10.0..=110.0).contains(&c) { Ok(c) } else { Err("expected 10 to 110 degrees Celsius".to_owned()) }
}

/// Runs it.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    let rig = args.rig.as_deref().map_or_else(files::demo_rig, files::load_rig);
    let rig = rig.map_err(|diagnostic| Failure::bad_input(diagnostic.render(files::wants_colour())))?;
    let element = match args.vessel {
        Vessel::LiquorTank => Element::LiquorTank,
        Vessel::BoilKettle => Element::BoilKettle,
    };
    let rule = match args.brisk {
        Briskness::Calm => IntegratingRule::Simc(SimcBrisk::Smooth),
        Briskness::Even => IntegratingRule::AmigoPi,
        Briskness::Brisk => IntegratingRule::Simc(SimcBrisk::Tight),
    };
    let plan = Plan { element, target_c: args.at, longest: Span::from_mins(args.hours * 60), seed: args.seed };
    match tune::run(&rig, &plan, |_| ()) {
        Ok(tuning) => {
            print!("{}", tune::text(&tuning, args.at, rule));
            Ok(ExitCode::SUCCESS)
        }
        Err(error @ (TuneError::Tripped(_) | TuneError::Disarmed | TuneError::Relay(_))) => {
            eprintln!("error: {error}");
            Ok(ExitCode::from(1))
        }
        Err(error) => Err(Failure::bad_input(format!("error: {error}"))),
    }
}
