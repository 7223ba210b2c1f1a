//! Builds the image for the Pico and writes the UF2 file to drag onto it: `cargo uf2`.

use copperhold_uf2 as flash;
use std::process::ExitCode;

fn main() -> ExitCode {
    match write() {
        Ok(text) => {
            println!("{text}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}

fn write() -> Result<String, String> {
    let path = flash::build_pico(None)?;
    let elf = std::fs::read(&path).map_err(|error| format!("{}: {error}", path.display()))?;
    let segments = flash::segments(&elf)?;
    let file = flash::uf2(&segments);
    let out = path.with_file_name("copperhold-pico.uf2");
    std::fs::write(&out, &file).map_err(|error| format!("{}: {error}", out.display()))?;
    let program: usize = segments.iter().map(|(_, bytes)| bytes.len()).sum();
    Ok(format!("{}: {program} bytes of program in {} blocks", out.display(), file.len() / 512))
}
