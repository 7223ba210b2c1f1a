//! `copperhold cosim`: the controller on standard streams.

use super::Failure;
use clap::Args as ClapArgs;
use copperhold::cosim::{self, Cosim};
use copperhold::{files, fit};
use copperhold_core::supervisor::Knowledge;
use std::io;
use std::path::PathBuf;
use std::process::ExitCode;

/// Which rig the controller believes it has.
#[derive(Debug, Clone, ClapArgs)]
pub struct Args {
    /// The rig (TOML). Default: figures that suit any rig of 10 to 150 L, on the careful side.
    #[arg(long, value_name = "RIG")]
    rig: Option<PathBuf>,
}

/// Runs it.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    let rig = args.rig.as_deref().map(files::load_rig).transpose();
    let rig = rig.map_err(|d| Failure::bad_input(d.render(files::wants_colour())))?;
    let settings = rig.as_ref().map_or_else(fit::any_rig, fit::settings);
    let settings =
        settings.map_err(|error| Failure::bad_input(format!("error: the controller does not accept this rig: {error:?}")))?;
    let nominal_v = rig.map_or(cosim::ANY_RIG_V, |rig| rig.rig.mains.volts);
    let mut cosim = Cosim::new(&settings, nominal_v, Knowledge::default());
    match cosim::run(&mut cosim, io::stdin().lock(), io::stdout().lock()) {
        // A plant that hangs up has heard enough.
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(ExitCode::SUCCESS),
        Err(error) => Err(Failure::bad_input(format!("error: standard streams: {error}"))),
        Ok(()) => Ok(ExitCode::SUCCESS),
    }
}
