//! `copperhold import`: a recipe in an open exchange format becomes a sheet. A text is written; nothing is started.

use super::Failure;
use clap::Args as ClapArgs;
use copperhold::files::{self, Diagnostic};
use copperhold::import::{self, recipe::Recipe};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// What to import.
#[derive(Debug, Clone, ClapArgs)]
pub struct Args {
    /// A BeerXML 1.0 or BeerJSON 1.0 document.
    file: PathBuf,
    /// The rig to reckon water for (TOML). Default: the built-in demo.
    #[arg(long, value_name = "RIG")]
    rig: Option<PathBuf>,
    /// Which recipe of the document, from 1. Needed when there are several.
    #[arg(long, value_name = "N")]
    recipe: Option<usize>,
    /// The sheet to write; it must not be there yet. Default: standard output.
    #[arg(long, value_name = "SHEET")]
    out: Option<PathBuf>,
}

/// Runs it. Exit code 1 when the sheet was written and this rig cannot brew it as it stands.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    let rig = args.rig.as_deref().map_or_else(files::demo_rig, files::load_rig).map_err(|d| refuse(&d))?;
    let name = args.file.to_string_lossy();
    let text = files::read(&args.file).map_err(|d| refuse(&d))?;
    let recipes = import::recipes(&name, &text).map_err(|d| refuse(&d))?;
    let recipe = choose(&recipes, args.recipe)?;
    let imported = import::sheet(&name, recipe, &rig).map_err(|d| refuse(&d))?;
    let shown = args.out.as_ref().map_or_else(|| "the imported sheet".into(), |path| path.to_string_lossy());
    let sheet = files::parse_sheet(&shown, &imported.sheet).map_err(|d| refuse(&d))?;
    match &args.out {
        None => print!("{}", imported.sheet),
        Some(path) => write_new(path, &imported.sheet)?,
    }
    for (title, list) in [("Not carried over:", &imported.left_out), ("Assumed:", &imported.assumed)] {
        if !list.is_empty() {
            eprintln!("{title}");
        }
        for line in list {
            eprintln!("  - {}", copperhold::report::measure::plain(line));
        }
    }
    match sheet.compile(&rig) {
        Ok(_) => Ok(ExitCode::SUCCESS),
        Err(diagnostic) => {
            eprintln!("The rig {:?} cannot brew this sheet as it stands:\n{}", rig.rig.name, render(&diagnostic));
            Ok(ExitCode::from(1))
        }
    }
}

fn choose(recipes: &[Recipe], number: Option<usize>) -> Result<&Recipe, Failure> {
    let chosen = match (recipes, number) {
        ([only], None) => Some(only),
        (_, Some(number)) => number.checked_sub(1).and_then(|index| recipes.get(index)),
        (_, None) => None,
    };
    chosen.ok_or_else(|| {
        let name =
            |(index, recipe): (usize, &Recipe)| format!("\n  {} {}", index + 1, copperhold::report::measure::plain(&recipe.name));
        let names: String = recipes.iter().enumerate().map(name).collect();
        Failure::bad_input(format!("error: the document holds {} recipes; choose one with --recipe N:{names}", recipes.len()))
    })
}

fn write_new(path: &Path, text: &str) -> Result<(), Failure> {
    let written = std::fs::File::create_new(path).and_then(|mut file| file.write_all(text.as_bytes()));
    written.map_err(|error| {
        Failure::bad_input(format!(
            "error: {} cannot be written: {error}; give a new name in a folder you may write to",
            path.display()
        ))
    })
}

fn render(diagnostic: &Diagnostic) -> String {
    diagnostic.render(files::wants_colour())
}

fn refuse(diagnostic: &Diagnostic) -> Failure {
    Failure::bad_input(render(diagnostic))
}
