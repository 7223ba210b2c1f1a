//! Commands and flags. Exit codes: 0 done; 1 the day tripped or went wrong; 2 bad input.

mod book;
mod cosim;
mod drill;
mod import;
mod plan;
mod record;
mod rehearse;
mod send;
mod survey;
mod tune;
mod watch;

use clap::{Parser, Subcommand};
use std::process::ExitCode;

/// Bad input.
const BAD_INPUT: u8 = 2;

/// Rehearse an electric brew day against simulated kettles.
///
/// With no command, rehearses the built-in demo day.
///
/// Mains voltage and scalding liquid can kill. A rehearsal shows how the controller behaves; it does not make a rig safe. Follow your local
/// code and use a licensed electrician.
#[derive(Debug, Parser)]
#[command(version, about, args_conflicts_with_subcommands = true)]
struct Cli {
    #[command(subcommand)]
    command: Option<Command>,
    #[command(flatten)]
    rehearse: rehearse::Args,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Run a whole brew day in simulation and report on it.
    Rehearse(rehearse::Args),
    /// Print the day before it is brewed: volumes, temperatures, times, energy, and what the rig cannot do.
    Plan(plan::Args),
    /// Make a sheet of a recipe in BeerXML 1.0 or BeerJSON 1.0.
    Import(import::Args),
    /// Look into the logbook: list, show, compare, export, note, measure.
    Book(book::Args),
    /// Send a sheet to a board on a serial port. It is started at the board's panel.
    Send(send::Args),
    /// Serve a live page of a rehearsal, or of a board on a serial port.
    Watch(watch::Args),
    /// Run the controller on standard streams, JSON Lines, against a plant of your own.
    Cosim(cosim::Args),
    /// Inject faults on purpose in every phase of the day and see what the controller makes of them.
    Drill(drill::Args),
    /// Heat up many random rigs, with the real controller and with its rivals, and compare.
    Survey(survey::Args),
    /// Find a simulated vessel's climb and lag by a relay experiment, and gains by published rules.
    Tune(tune::Args),
    /// Print every key of rig and sheet files, with units, ranges and defaults.
    Keys,
}

/// A failure, with the exit code it deserves.
#[derive(Debug)]
pub struct Failure {
    code: u8,
    text: String,
}

impl Failure {
    /// Something the user gave is wrong.
    pub fn bad_input(text: impl Into<String>) -> Failure {
        Failure { code: BAD_INPUT, text: text.into() }
    }
}

/// Parses the command line and runs it.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    let outcome = match cli.command {
        None => rehearse::run(&cli.rehearse),
        Some(Command::Rehearse(args)) => rehearse::run(&args),
        Some(Command::Plan(args)) => plan::run(&args),
        Some(Command::Import(args)) => import::run(&args),
        Some(Command::Book(args)) => book::run(&args),
        Some(Command::Send(args)) => send::run(&args),
        Some(Command::Watch(args)) => watch::run(&args),
        Some(Command::Cosim(args)) => cosim::run(&args),
        Some(Command::Drill(args)) => drill::run(&args),
        Some(Command::Survey(args)) => survey::run(&args),
        Some(Command::Tune(args)) => tune::run(&args),
        Some(Command::Keys) => {
            print!("{}", copperhold::files::reference());
            Ok(ExitCode::SUCCESS)
        }
    };
    outcome.unwrap_or_else(|failure| {
        eprintln!("{}", failure.text.trim_end());
        ExitCode::from(failure.code)
    })
}
