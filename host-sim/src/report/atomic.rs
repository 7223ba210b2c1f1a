use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

/// Writes a file as a whole or not at all: into a temporary file beside it, which then takes its name.
///
/// A path that names something other than an ordinary file (`/dev/stdout`, a pipe) is written to directly.
///
/// # Errors
///
/// When the file cannot be written; the message says what failed, where, and what to do. What was at `path` before is unharmed.
pub fn write_atomically(path: &Path, contents: &str) -> io::Result<()> {
    let explain = |doing: &str, error: io::Error| {
        let remedy = remedy(error.kind());
        io::Error::new(error.kind(), format!("could not {doing} {}: {error}; {remedy}", path.display()))
    };
    if path.is_dir() {
        let error = io::Error::from(io::ErrorKind::IsADirectory);
        return Err(explain("write", error));
    }
    if path.exists() && !path.is_file() {
        return fs::write(path, contents).map_err(|error| explain("write", error));
    }
    // A link keeps pointing where it did: the file behind it is replaced.
    let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_path_buf());
    let temporary = temporary_beside(&target).map_err(|error| explain("write", error))?;
    let written = fill(&temporary, contents).and_then(|()| fs::rename(&temporary, &target));
    written.map_err(|error| {
        // The first error is the one worth telling; a leftover that cannot be removed adds nothing to it.
        let _ = fs::remove_file(&temporary);
        explain("write", error)
    })
}

fn temporary_beside(target: &Path) -> io::Result<PathBuf> {
    static COUNT: AtomicU64 = AtomicU64::new(0);
    target.file_name().ok_or(io::ErrorKind::InvalidInput)?;
    // Not made from the target's name, which may already be as long as a name can be.
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    Ok(target.with_file_name(format!(".copperhold-{}-{count}.part", std::process::id())))
}

fn fill(temporary: &Path, contents: &str) -> io::Result<()> {
    let mut file = File::create(temporary)?;
    file.write_all(contents.as_bytes())?;
    file.sync_all()
}

fn remedy(kind: io::ErrorKind) -> &'static str {
    match kind {
        io::ErrorKind::NotFound => "make the folder first, or name one that exists",
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => "choose a folder you may write to",
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => "free some space, or choose another disk",
        io::ErrorKind::IsADirectory => "add a file name to the folder",
        _ => "check the path, or choose another folder",
    }
}
