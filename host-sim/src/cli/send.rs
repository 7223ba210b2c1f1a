//! `copperhold send`: a sheet to a board.

use super::Failure;
use super::rehearse::load;
use clap::Args as ClapArgs;
use copperhold::files;
use copperhold::send::{SendError, send};
use std::path::PathBuf;
use std::process::ExitCode;

/// Which sheet, for which rig, and where the board is.
#[derive(Debug, Clone, ClapArgs)]
pub struct Args {
    /// The brew sheet (TOML).
    sheet: PathBuf,
    /// The rig (TOML) that the board controls: boils asked in watts or boil-off are reckoned for it.
    #[arg(long, value_name = "RIG")]
    rig: PathBuf,
    /// The board's serial port. Default: the one port with the board's USB id.
    #[arg(long, value_name = "PORT")]
    port: Option<String>,
}

/// Sends it.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    let (rig, sheet) = load(Some(&args.rig), Some(&args.sheet))?;
    let steps = sheet.compile(&rig).map_err(|diagnostic| Failure::bad_input(diagnostic.render(files::wants_colour())))?;
    match send(&steps, args.port.as_deref()) {
        Ok(sent) => {
            println!("\"{}\" is at the board on {}, firmware {}: {} steps.", sheet.name, sent.port, sent.firmware, sent.steps);
            println!("Start it at the panel: Brew sheet, Start. Nothing heats until somebody has armed there.");
            Ok(ExitCode::SUCCESS)
        }
        Err(error @ (SendError::TooLong | SendError::Port(_))) => Err(Failure::bad_input(format!("error: {error}"))),
        Err(error) => {
            eprintln!("error: {error}");
            Ok(ExitCode::from(1))
        }
    }
}
