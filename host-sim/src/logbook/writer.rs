//! Writes a day down while it runs.
//!
//! The day is a [`Day`] that grows: [`Writer::follow`] writes what is new since the last time, in one transaction. Called once per sample it
//! loses nothing that it has returned from; called less often it is faster, and what is lost with the program is what came since.

use super::{BookError, Logbook, dry_loss, reader};
use crate::day::{Day, Units};
use copperhold_core::supervisor::Knowledge;
use copperhold_core::vessel::{Element, Vessel};
use rusqlite::{Connection, params};

/// What is known of a day when it begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Opening<'a> {
    /// Whether it is rehearsed, or brewed on a board.
    pub rehearsed: bool,
    /// The sheet as used, text of its file.
    pub sheet_text: &'a str,
    /// The rig as used, text of its file.
    pub rig_text: &'a str,
}

/// How much of a day has been written.
#[derive(Debug, Clone, Copy, Default)]
struct Written {
    samples: usize,
    steps: usize,
    prompts: usize,
    additions: usize,
    trips: usize,
    advice: usize,
    begun: Option<usize>,
}

/// A day being written.
#[derive(Debug)]
pub struct Writer {
    book: Logbook,
    day: i64,
    written: Written,
}

impl Writer {
    /// Opens a new day in the book. `day` needs its names, units, powers and sample spacing.
    ///
    /// # Errors
    /// The book cannot be written.
    pub fn begin(book: Logbook, opening: &Opening<'_>, day: &Day) -> Result<Writer, BookError> {
        book.db.execute(
            "INSERT INTO day (begun_utc, source, sheet, rig, seed, units, boiling_c, tank_w, kettle_w, sample_s, sheet_text, rig_text)
             VALUES (strftime('%Y-%m-%dT%H:%M:%SZ', 'now'), ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
            params![
                if opening.rehearsed { "rehearsal" } else { "board" },
                day.sheet,
                day.rig,
                // The same 64 bits; SQLite has no unsigned numbers.
                day.seed.cast_signed(),
                units_key(day.units),
                day.boiling_c,
                day.element_w.liquor_tank,
                day.element_w.boil_kettle,
                day.sample_s,
                opening.sheet_text,
                opening.rig_text,
            ],
        )?;
        let id = book.db.last_insert_rowid();
        Ok(Writer { book, day: id, written: Written::default() })
    }

    /// Number of the day in the book.
    pub fn number(&self) -> i64 {
        self.day
    }

    /// Samples of the day that are committed.
    pub fn samples(&self) -> usize {
        self.written.samples
    }

    /// Writes what is new in the day. `under_way` is the index, name and start (s) of the step under way.
    ///
    /// # Errors
    /// The book cannot be written; nothing of this call is in it then, and the next call tries again.
    pub fn follow(&mut self, day: &Day, under_way: Option<(usize, &str, f64)>) -> Result<(), BookError> {
        let transaction = self.book.db.transaction()?;
        let written = write_news(&transaction, self.day, self.written, day, under_way)?;
        transaction.commit()?;
        self.written = written;
        Ok(())
    }

    /// Writes the rest of the day with its totals and what the controller learned, and closes the book.
    ///
    /// # Errors
    /// The book cannot be written.
    pub fn finish(mut self, day: &Day, knowledge: &Knowledge) -> Result<Logbook, BookError> {
        let transaction = self.book.db.transaction()?;
        write_news(&transaction, self.day, self.written, day, None)?;
        heat_ups(&transaction, self.day, day)?;
        figures(&transaction, self.day, day)?;
        learned(&transaction, self.day, knowledge)?;
        dry_loss::keep(&transaction, self.day, day.volumes.dry_loss_w)?;
        transaction.execute("UPDATE day SET finished = 1, boiling_c = ?2 WHERE id = ?1", params![self.day, day.boiling_c])?;
        transaction.commit()?;
        Ok(self.book)
    }
}

pub(super) fn units_key(units: Units) -> &'static str {
    match units {
        Units::Metric => "metric",
        Units::Us => "us",
    }
}

pub(super) fn element_number(element: Element) -> i64 {
    match element {
        Element::LiquorTank => 0,
        Element::BoilKettle => 1,
    }
}

fn milli(value: f64) -> i64 {
    (value * 1000.0).round() as i64
}

fn write_news(
    db: &Connection,
    id: i64,
    mut written: Written,
    day: &Day,
    under_way: Option<(usize, &str, f64)>,
) -> Result<Written, BookError> {
    samples(db, id, day, written.samples)?;
    written.samples = day.samples.len();
    steps(db, id, day, written.steps)?;
    written.steps = day.steps.len();
    if let Some((index, name, started_s)) =
        under_way.filter(|(index, ..)| *index >= day.steps.len() && written.begun != Some(*index))
    {
        let mut begun = db.prepare_cached("INSERT OR IGNORE INTO step (day, number, name, started_s) VALUES (?1, ?2, ?3, ?4)")?;
        begun.execute(params![id, index as i64, name, started_s])?;
        written.begun = Some(index);
    }
    events(db, id, day, &mut written)?;
    Ok(written)
}

fn samples(db: &Connection, id: i64, day: &Day, from: usize) -> Result<(), BookError> {
    let mut insert =
        db.prepare_cached("INSERT INTO sample VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)")?;
    for sample in day.samples.iter().skip(from) {
        let (reading, set, volume) = (&sample.reading_c, &sample.setpoint_c, &sample.volume_l);
        let share = |duty: f64| (duty * 10_000.0).round() as i64;
        insert.execute(params![
            id,
            milli(sample.t_s),
            reading.liquor_tank.map(milli),
            reading.mash_tun.map(milli),
            reading.boil_kettle.map(milli),
            set.liquor_tank.map(milli),
            set.mash_tun.map(milli),
            set.boil_kettle.map(milli),
            sample.grant.map(element_number),
            share(sample.duty.liquor_tank),
            share(sample.duty.boil_kettle),
            milli(volume.liquor_tank),
            milli(volume.mash_tun),
            milli(volume.boil_kettle),
        ])?;
    }
    Ok(())
}

fn steps(db: &Connection, id: i64, day: &Day, from: usize) -> Result<(), BookError> {
    let mut insert =
        db.prepare_cached("INSERT OR REPLACE INTO step VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)")?;
    for (number, step) in day.steps.iter().enumerate().skip(from) {
        insert.execute(params![
            id,
            number as i64,
            step.name,
            step.started_s,
            step.ended_s,
            step.planned_s,
            step.vessel.map(Vessel::key),
            step.from_c,
            step.target_c,
            step.to_c,
            step.overshoot_k,
            step.hold_rms_k,
            step.energy_kwh,
        ])?;
    }
    Ok(())
}

fn events(db: &Connection, id: i64, day: &Day, written: &mut Written) -> Result<(), BookError> {
    let mut insert = db.prepare_cached("INSERT INTO event VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)")?;
    for (number, prompt) in day.prompts.iter().enumerate().skip(written.prompts) {
        let nothing: Option<f64> = None;
        insert.execute(params![id, "prompt", number as i64, prompt.asked_s, prompt.answered_s, prompt.text, nothing, nothing])?;
    }
    for (number, addition) in day.additions.iter().enumerate().skip(written.additions) {
        let nothing: Option<f64> = None;
        insert.execute(params![
            id,
            "addition",
            number as i64,
            addition.t_s,
            nothing,
            addition.name,
            nothing,
            addition.minutes_left
        ])?;
    }
    for (number, trip) in day.trips.iter().enumerate().skip(written.trips) {
        let nothing: Option<f64> = None;
        insert.execute(params![id, "trip", number as i64, trip.t_s, nothing, trip.cause, trip.remedy, nothing])?;
    }
    for (number, advice) in day.advice.iter().enumerate().skip(written.advice) {
        let nothing: Option<f64> = None;
        insert.execute(params![id, "advice", number as i64, advice.t_s, nothing, advice.text, nothing, nothing])?;
    }
    written.prompts = day.prompts.len();
    written.additions = day.additions.len();
    written.trips = day.trips.len();
    written.advice = day.advice.len();
    Ok(())
}

fn heat_ups(db: &Connection, id: i64, day: &Day) -> Result<(), BookError> {
    let mut insert = db.prepare_cached("INSERT INTO heat_up VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)")?;
    for element in Element::ALL {
        for (number, h) in day.heat_ups.get(element).iter().enumerate() {
            let key = element.vessel().key();
            insert.execute(params![id, key, number as i64, h.from_c, h.to_c, h.seconds, h.least_seconds, h.overshoot_c])?;
        }
    }
    Ok(())
}

fn figures(db: &Connection, id: i64, day: &Day) -> Result<(), BookError> {
    let mut insert = db.prepare_cached("INSERT INTO figure VALUES (?1, ?2, ?3)")?;
    let mut copy = day.clone();
    for (name, value) in reader::figures_of(&mut copy) {
        insert.execute(params![id, name, *value])?;
    }
    for (name, value) in reader::later_figures_of(&mut copy) {
        insert.execute(params![id, name, *value])?;
    }
    if let Some(watts) = day.volumes.dry_loss_w {
        insert.execute(params![id, reader::DRY_LOSS, watts])?;
    }
    insert.execute(params![id, reader::TWO_ELEMENTS, day.two_elements_ticks as f64])?;
    Ok(())
}

fn learned(db: &Connection, id: i64, knowledge: &Knowledge) -> Result<(), BookError> {
    let mut insert = db.prepare_cached("INSERT INTO learned VALUES (?1, ?2, ?3)")?;
    for element in Element::ALL {
        if let Some(learned) = knowledge.vessels.get(element) {
            let key = element.vessel().key();
            insert.execute(params![id, format!("{key}.slope_k_per_s"), f64::from(learned.slope().micro()) * 1e-6])?;
            insert.execute(params![id, format!("{key}.lag_s"), learned.lag().as_millis() as f64 * 1e-3])?;
            insert.execute(params![id, format!("{key}.loss_k_per_s"), f64::from(learned.loss().micro()) * 1e-6])?;
        }
    }
    if let Some(offset) = knowledge.mash_offset {
        insert.execute(params![id, "mash_offset_k", f64::from(offset.milli()) * 1e-3])?;
    }
    Ok(())
}
