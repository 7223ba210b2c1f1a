//! What a boil's two volumes teach for the next boil, with whatever element.
//!
//! The *dry loss* is the power of a boiling kettle that does not become vapour ([`copperhold_core::boil_power`]). Each day keeps its own
//! beside what the controller learned: first by the volumes of its record, then, once both were measured, by the brewer's.

use super::measure::Kind;
use super::{BookError, Logbook, StoredDay};
use copperhold_core::boil_power;
use copperhold_core::sheet::Step;
use copperhold_core::units::{Litres, Span, Watts};
use rusqlite::{Connection, OptionalExtension, params};

/// Its name among what was learned.
pub const LEARNED: &str = "boil_kettle.dry_loss_w";

/// The dry loss of a rig's kettle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DryLoss {
    /// W.
    pub watts: f64,
    /// Days it is the mean of.
    pub days: usize,
    /// By volumes that the brewer measured; else by those of the last day's own record.
    pub by_hand: bool,
}

/// What the volumes that the brewer measured teach.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Taught {
    /// One of the two is missing, or the sheet has no boil.
    Nothing,
    /// They cannot both be right, or the boil was too short.
    Contradiction,
    /// Dry loss, W.
    Watts(f64),
}

impl StoredDay {
    /// Length (s) and mean power (W) of the boil; `None` where the day had none.
    pub fn boil(&self) -> Option<(f64, f64)> {
        let sheet = self.sheet()?;
        let mut boils = sheet.steps.iter().zip(&self.day.steps).filter(|(named, _)| matches!(named.step, Step::Boil { .. }));
        let (_, record) = boils.next()?;
        let lasted_s = record.ended_s - record.started_s;
        (lasted_s > 0.0).then(|| (lasted_s, record.energy_kwh * 3.6e6 / lasted_s))
    }

    /// What the volumes that the brewer measured teach.
    pub fn taught(&self) -> Taught {
        let volumes = (self.measured(Kind::PreBoilVolume), self.measured(Kind::PostBoilVolume));
        let ((Some(before_l), Some(after_l)), Some((lasted_s, mean_w))) = (volumes, self.boil()) else { return Taught::Nothing };
        let litres = |l: f64| Litres::from_millilitres((l * 1000.0).round() as i32);
        let lasted = Span::from_millis((lasted_s * 1000.0) as u64);
        match boil_power::measure(litres(before_l), litres(after_l), lasted, Watts::new(mean_w.round() as u32)) {
            Some(loss) => Taught::Watts(f64::from(loss.get())),
            None => Taught::Contradiction,
        }
    }
}

/// Keeps what a day taught, in place of what it taught before.
pub(super) fn keep(db: &Connection, day: i64, watts: Option<f64>) -> rusqlite::Result<()> {
    db.execute("DELETE FROM learned WHERE day = ?1 AND name = ?2", params![day, LEARNED])?;
    if let Some(watts) = watts {
        db.execute("INSERT INTO learned VALUES (?1, ?2, ?3)", params![day, LEARNED, watts])?;
    }
    Ok(())
}

impl Logbook {
    /// Takes up what the brewer's volumes teach of a day. Where they contradict each other, the day teaches nothing at all.
    ///
    /// # Errors
    /// There is no such day, or the book cannot be read or written.
    pub(super) fn learn_dry_loss(&self, day: i64) -> Result<(), BookError> {
        match self.day(day)?.taught() {
            Taught::Nothing => {}
            Taught::Contradiction => keep(&self.db, day, None)?,
            Taught::Watts(watts) => keep(&self.db, day, Some(watts))?,
        }
        Ok(())
    }

    /// The dry loss of the kettle of a rig of this name: the mean of all days whose volumes the brewer measured; where there is none, the
    /// last day's own.
    ///
    /// # Errors
    /// The book cannot be read.
    pub fn dry_loss(&self, rig: &str) -> Result<Option<DryLoss>, BookError> {
        let by_hand = "SELECT avg(value), count(*) FROM learned JOIN day ON day.id = learned.day WHERE rig = ?1 AND name = ?2 AND
            (SELECT count(DISTINCT kind) FROM measurement WHERE day = day.id AND kind IN (?3, ?4)) = 2";
        let keys = params![rig, LEARNED, Kind::PreBoilVolume.key(), Kind::PostBoilVolume.key()];
        let (mean, days): (Option<f64>, i64) = self.db.query_row(by_hand, keys, |row| Ok((row.get(0)?, row.get(1)?)))?;
        if let Some(watts) = mean {
            return Ok(Some(DryLoss { watts, days: days as usize, by_hand: true }));
        }
        let last =
            "SELECT value FROM learned JOIN day ON day.id = learned.day WHERE rig = ?1 AND name = ?2 ORDER BY day.id DESC LIMIT 1";
        let own: Option<f64> = self.db.query_row(last, params![rig, LEARNED], |row| row.get(0)).optional()?;
        Ok(own.map(|watts| DryLoss { watts, days: 1, by_hand: false }))
    }
}
