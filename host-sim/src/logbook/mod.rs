//! The logbook: one SQLite file that holds every brew day, rehearsed or real, written as the day runs.
//!
//! | room | what it does |
//! | --- | --- |
//! | [`writer`] | writes a day down while it runs: what is committed survives the program being killed at any moment |
//! | [`reader`] | lists days and reads one back as a [`crate::day::Day`] |
//! | [`measure`] | what the brewer measured by hand: volumes and gravities, and the efficiencies that follow |
//! | [`dry_loss`] | what a boil's two volumes teach for the next boil |
//! | [`compare`], [`compare_text`], [`compare_page`] | two days step by step: what differed, in words and as charts |
//! | [`export`] | CSV, JSON and Parquet |
//!
//! The file is in WAL mode: while it is open there are two more files beside it (`-wal`, `-shm`), which belong to it and must be copied with
//! it; they are gone after a clean end, and taken up again after any other. Every commit is on the disk before it counts (`synchronous =
//! FULL`), so that not even a power cut loses it.
//!
//! Numbers are stored as integers of a fixed small unit where there are many of them (millidegrees, millilitres, parts of 10,000): a day at
//! one sample per second takes about one megabyte.

pub mod compare;
pub mod compare_page;
pub mod compare_text;
pub mod dry_loss;
mod error;
pub mod export;
pub mod measure;
pub mod reader;
mod schema;
pub mod writer;

pub use error::BookError;
pub use reader::{Entry, StoredDay};
pub use writer::{Opening, Writer};

use rusqlite::{Connection, OpenFlags};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long one program waits for another that is writing, at most.
const PATIENCE: Duration = Duration::from_secs(5);

/// An open logbook.
#[derive(Debug)]
pub struct Logbook {
    pub(crate) db: Connection,
    path: PathBuf,
}

impl Logbook {
    /// Opens a logbook, and makes one where there is none.
    ///
    /// # Errors
    /// The file cannot be opened or made, is no logbook, or was made by a newer version.
    pub fn open(path: &Path) -> Result<Logbook, BookError> {
        Logbook::with(path, OpenFlags::SQLITE_OPEN_CREATE)
    }

    /// Opens a logbook that is there.
    ///
    /// # Errors
    /// As [`Logbook::open`], and when there is none.
    pub fn open_existing(path: &Path) -> Result<Logbook, BookError> {
        if !path.is_file() {
            return Err(BookError::Missing { path: path.to_path_buf() });
        }
        Logbook::with(path, OpenFlags::empty())
    }

    fn with(path: &Path, create: OpenFlags) -> Result<Logbook, BookError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX | create;
        let explain = |error: rusqlite::Error| BookError::opening(path, error);
        let mut db = Connection::open_with_flags(path, flags).map_err(explain)?;
        db.busy_timeout(PATIENCE).map_err(explain)?;
        schema::prepare(&mut db, path)?;
        Ok(Logbook { db, path: path.to_path_buf() })
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Checks the whole file: SQLite's own integrity check, and that every record belongs to a day.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn check(&self) -> Result<(), BookError> {
        let told: String = self.db.query_row("PRAGMA integrity_check", [], |row| row.get(0))?;
        let strays: i64 = self.db.query_row("SELECT count(*) FROM pragma_foreign_key_check", [], |row| row.get(0))?;
        if told == "ok" && strays == 0 {
            return Ok(());
        }
        Err(BookError::Damaged { path: self.path.clone(), why: format!("{told}; {strays} stray records") })
    }
}
