//! What can be wrong with a logbook, in words that say what to do.

use std::fmt;
use std::path::{Path, PathBuf};

/// Why the logbook did not do as asked.
#[derive(Debug)]
#[non_exhaustive]
pub enum BookError {
    /// There is no such file.
    Missing {
        /// The path as given.
        path: PathBuf,
    },
    /// The file cannot be opened or made.
    Unopened {
        /// The path as given.
        path: PathBuf,
        /// What the system or SQLite says.
        why: String,
    },
    /// The file is something else.
    NotALogbook {
        /// The path as given.
        path: PathBuf,
    },
    /// A newer version made the file.
    Newer {
        /// The path as given.
        path: PathBuf,
        /// Version of the file.
        version: i64,
    },
    /// The file is damaged.
    Damaged {
        /// The path as given.
        path: PathBuf,
        /// What SQLite says.
        why: String,
    },
    /// There is no such day.
    NoSuchDay {
        /// The number asked for.
        day: i64,
        /// Numbers of the first and last day; `None` when the book is empty.
        known: Option<(i64, i64)>,
    },
    /// A day cannot be read back: something in it is not as it was written.
    Unreadable {
        /// The day.
        day: i64,
        /// What.
        what: String,
    },
    /// SQLite refused.
    Sql(rusqlite::Error),
    /// A file to export to cannot be written.
    Export(std::io::Error),
    /// A Parquet file cannot be written.
    Parquet(String),
}

impl BookError {
    pub(super) fn opening(path: &Path, error: rusqlite::Error) -> BookError {
        let path = path.to_path_buf();
        match error.sqlite_error_code() {
            Some(rusqlite::ErrorCode::NotADatabase) => BookError::NotALogbook { path },
            Some(rusqlite::ErrorCode::DatabaseCorrupt) => BookError::Damaged { path, why: error.to_string() },
            _ => BookError::Unopened { path, why: error.to_string() },
        }
    }
}

impl fmt::Display for BookError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            BookError::Missing { path } => {
                write!(f, "there is no logbook at {}; record a day with `copperhold rehearse --book FILE`", path.display())
            }
            BookError::Unopened { path, why } => {
                write!(f, "the logbook {} cannot be opened: {why}; check the folder and that you may write there", path.display())
            }
            BookError::NotALogbook { path } => {
                write!(f, "{} is not a logbook; give the file that `--book` wrote, or a new name", path.display())
            }
            BookError::Newer { path, version } => write!(
                f,
                "the logbook {} is of version {version}, and this program knows {}; use the newer program",
                path.display(),
                super::schema::VERSION
            ),
            BookError::Damaged { path, why } => write!(
                f,
                "the logbook {} is damaged: {why}; restore it from a copy, and keep its -wal file with it if there is one",
                path.display()
            ),
            BookError::NoSuchDay { day, known: None } => write!(f, "there is no day {day}: the logbook is empty"),
            BookError::NoSuchDay { day, known: Some((first, last)) } => {
                write!(f, "there is no day {day}; the logbook holds days {first} to {last}, see `copperhold book list`")
            }
            BookError::Unreadable { day, what } => {
                write!(f, "day {day} cannot be read back: {what}; restore the logbook from a copy")
            }
            BookError::Sql(error) => write!(f, "the logbook refused: {error}; check free space and that no other program holds it"),
            BookError::Export(error) => write!(f, "{error}"),
            BookError::Parquet(why) => write!(f, "the Parquet file cannot be written: {why}; check free space, or export as csv"),
        }
    }
}

impl std::error::Error for BookError {}

impl From<rusqlite::Error> for BookError {
    fn from(error: rusqlite::Error) -> BookError {
        BookError::Sql(error)
    }
}
