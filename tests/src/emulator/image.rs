//! The image, built as it is released, and the emulator's package, installed as it is locked.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::{Mutex, OnceLock};

/// A built image.
#[derive(Debug, Clone)]
pub struct Image {
    /// The ELF file.
    pub elf: PathBuf,
}

/// The folder of the emulator's end.
pub fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("emulator")
}

/// The image for the Pico, built once per test program with the command that releases it.
///
/// # Panics
/// It does not build, or the emulator's package cannot be installed.
pub fn image() -> &'static Image {
    static IMAGE: OnceLock<Image> = OnceLock::new();
    IMAGE.get_or_init(|| {
        install();
        Image { elf: crate::flash::build_pico(None).expect("the image builds") }
    })
}

/// Installs the locked package unless it is there already.
///
/// # Panics
/// It cannot be installed.
pub fn install() {
    static TURN: Mutex<()> = Mutex::new(());
    let _turn = TURN.lock().expect("nobody failed to install it");
    let lock = std::fs::read(folder().join("package-lock.json")).expect("the lock file");
    let stamp = folder().join("node_modules/.copperhold-lock");
    if std::fs::read(&stamp).is_ok_and(|installed| installed == lock) {
        return;
    }
    let status = Command::new("npm").args(["ci", "--no-audit", "--no-fund"]).current_dir(folder()).status().expect("npm runs");
    assert!(status.success(), "npm ci failed");
    std::fs::write(stamp, lock).expect("a stamp can be written");
}
