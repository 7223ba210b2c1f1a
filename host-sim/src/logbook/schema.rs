//! The tables.

use super::BookError;
use rusqlite::Connection;
use std::path::Path;

/// Version of the tables, in `user_version`.
pub const VERSION: i64 = 1;
/// Marks the file as ours, in `application_id`: "CuHo".
const APPLICATION_ID: i64 = 0x4375_486F;

const TABLES: &str = "
CREATE TABLE day (
  id INTEGER PRIMARY KEY, begun_utc TEXT NOT NULL, source TEXT NOT NULL, sheet TEXT NOT NULL, rig TEXT NOT NULL, seed INTEGER NOT NULL,
  units TEXT NOT NULL, boiling_c REAL NOT NULL, tank_w REAL NOT NULL, kettle_w REAL NOT NULL, sample_s REAL NOT NULL,
  sheet_text TEXT NOT NULL, rig_text TEXT NOT NULL, finished INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE sample (
  day INTEGER NOT NULL REFERENCES day, t_ms INTEGER NOT NULL,
  tank_mc INTEGER, tun_mc INTEGER, kettle_mc INTEGER, tank_set_mc INTEGER, tun_set_mc INTEGER, kettle_set_mc INTEGER,
  granted INTEGER, tank_duty_bp INTEGER NOT NULL, kettle_duty_bp INTEGER NOT NULL,
  tank_ml INTEGER NOT NULL, tun_ml INTEGER NOT NULL, kettle_ml INTEGER NOT NULL,
  PRIMARY KEY (day, t_ms)
) STRICT, WITHOUT ROWID;
CREATE TABLE step (
  day INTEGER NOT NULL REFERENCES day, number INTEGER NOT NULL, name TEXT NOT NULL, started_s REAL NOT NULL, ended_s REAL, planned_s REAL,
  vessel TEXT, from_c REAL, target_c REAL, to_c REAL, overshoot_k REAL, hold_rms_k REAL, energy_kwh REAL,
  PRIMARY KEY (day, number)
) STRICT, WITHOUT ROWID;
CREATE TABLE event (
  day INTEGER NOT NULL REFERENCES day, kind TEXT NOT NULL, number INTEGER NOT NULL, t_s REAL NOT NULL, until_s REAL, text TEXT NOT NULL,
  remedy TEXT, minutes_left REAL,
  PRIMARY KEY (day, kind, number)
) STRICT, WITHOUT ROWID;
CREATE TABLE heat_up (
  day INTEGER NOT NULL REFERENCES day, vessel TEXT NOT NULL, number INTEGER NOT NULL, from_c REAL NOT NULL, to_c REAL NOT NULL,
  seconds REAL NOT NULL, least_seconds REAL NOT NULL, overshoot_k REAL NOT NULL,
  PRIMARY KEY (day, vessel, number)
) STRICT, WITHOUT ROWID;
CREATE TABLE figure (
  day INTEGER NOT NULL REFERENCES day, name TEXT NOT NULL, value REAL NOT NULL, PRIMARY KEY (day, name)
) STRICT, WITHOUT ROWID;
CREATE TABLE learned (
  day INTEGER NOT NULL REFERENCES day, name TEXT NOT NULL, value REAL NOT NULL, PRIMARY KEY (day, name)
) STRICT, WITHOUT ROWID;
CREATE TABLE measurement (
  id INTEGER PRIMARY KEY, day INTEGER NOT NULL REFERENCES day, at_utc TEXT NOT NULL, kind TEXT NOT NULL, value REAL NOT NULL,
  given TEXT NOT NULL
) STRICT;
CREATE INDEX measurement_of_day ON measurement (day, kind);
CREATE TABLE note (
  id INTEGER PRIMARY KEY, day INTEGER NOT NULL REFERENCES day, at_utc TEXT NOT NULL, text TEXT NOT NULL
) STRICT;
CREATE INDEX note_of_day ON note (day);
";

/// Sets the connection up, and makes the tables in a new file.
pub fn prepare(db: &mut Connection, path: &Path) -> Result<(), BookError> {
    let explain = |error: rusqlite::Error| BookError::opening(path, error);
    let (id, version) = identity(db).map_err(explain)?;
    let ours = id == APPLICATION_ID;
    if !ours && (id != 0 || version != 0 || tables(db).map_err(explain)? > 0) {
        return Err(BookError::NotALogbook { path: path.to_path_buf() });
    }
    if version > VERSION {
        return Err(BookError::Newer { path: path.to_path_buf(), version });
    }
    db.pragma_update(None, "journal_mode", "WAL").map_err(explain)?;
    db.pragma_update(None, "synchronous", "FULL").map_err(explain)?;
    db.pragma_update(None, "foreign_keys", true).map_err(explain)?;
    if ours {
        return Ok(());
    }
    // Another program may be making the tables this very moment: look again with the write lock held.
    let transaction = db.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate).map_err(explain)?;
    if identity(&transaction).map_err(explain)?.0 != APPLICATION_ID {
        transaction.execute_batch(TABLES).map_err(explain)?;
        transaction.pragma_update(None, "user_version", VERSION).map_err(explain)?;
        transaction.pragma_update(None, "application_id", APPLICATION_ID).map_err(explain)?;
    }
    transaction.commit().map_err(explain)
}

fn identity(db: &Connection) -> rusqlite::Result<(i64, i64)> {
    let number = |name| db.pragma_query_value(None, name, |row| row.get(0));
    Ok((number("application_id")?, number("user_version")?))
}

fn tables(db: &Connection) -> rusqlite::Result<i64> {
    db.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))
}
