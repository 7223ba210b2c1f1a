//! Lists the days, and reads one back.

use super::measure::{Kind, Measurement};
use super::{BookError, Logbook};
use crate::day::{AdditionRecord, AdviceRecord, Day, HeatUp, PromptRecord, Sample, StepRecord, TripRecord, Units};
use copperhold_core::vessel::{Element, PerElement, PerVessel, Vessel};
use rusqlite::{OptionalExtension, Row, params};

/// The dry loss that the day's own volumes taught, W; not there when they do not tell.
pub(super) const DRY_LOSS: &str = "dry_loss_w";

/// The figure that counts ticks with both elements on.
pub(super) const TWO_ELEMENTS: &str = "two_elements_ticks";

/// A line of the list of days.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Its number.
    pub number: i64,
    /// When it began, ISO 8601, UTC.
    pub begun_utc: String,
    /// Whether it was rehearsed, not brewed.
    pub rehearsed: bool,
    /// Name of the sheet.
    pub sheet: String,
    /// Name of the rig.
    pub rig: String,
    /// Whether it was written to its end.
    pub finished: bool,
    /// Last moment written, s since it began.
    pub length_s: f64,
    /// Electric energy, kWh.
    pub energy_kwh: f64,
    /// Trips.
    pub trips: i64,
    /// Notes.
    pub notes: i64,
    /// Measurements.
    pub measurements: i64,
}

/// A day read back.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredDay {
    /// Its number.
    pub number: i64,
    /// When it began, ISO 8601, UTC.
    pub begun_utc: String,
    /// Whether it was rehearsed, not brewed.
    pub rehearsed: bool,
    /// Whether it was written to its end. If not, totals are of what there is.
    pub finished: bool,
    /// The record.
    pub day: Day,
    /// The sheet as used, text of its file.
    pub sheet_text: String,
    /// The rig as used, text of its file.
    pub rig_text: String,
    /// What was measured by hand, in the order it was entered.
    pub measurements: Vec<Measurement>,
    /// Notes with the time they were written (ISO 8601, UTC).
    pub notes: Vec<(String, String)>,
    /// What the controller learned, by name with its unit.
    pub learned: Vec<(String, f64)>,
}

/// The totals of a day with the names they have in the book.
pub(super) fn figures_of(day: &mut Day) -> [(&'static str, &mut f64); 11] {
    let (energy, volumes) = (&mut day.energy, &mut day.volumes);
    [
        ("tank_kwh", &mut energy.element_kwh.liquor_tank),
        ("kettle_kwh", &mut energy.element_kwh.boil_kettle),
        ("stored_kwh", &mut energy.stored_kwh),
        ("lost_kwh", &mut energy.lost_kwh),
        ("evaporated_kwh", &mut energy.evaporated_kwh),
        ("carried_kwh", &mut energy.carried_kwh),
        ("strike_l", &mut volumes.strike_l),
        ("sparge_l", &mut volumes.sparge_l),
        ("pre_boil_l", &mut volumes.pre_boil_l),
        ("post_boil_l", &mut volumes.post_boil_l),
        ("boil_off_l_per_h", &mut volumes.boil_off_l_per_h),
    ]
}

/// Figures that days of earlier versions lack: 0 there.
pub(super) fn later_figures_of(day: &mut Day) -> [(&'static str, &mut f64); 4] {
    let PerElement { liquor_tank: tank, boil_kettle: kettle } = &mut day.yielded;
    [
        ("tank_yielded_s", &mut tank.seconds),
        ("tank_yielded_kwh", &mut tank.kwh),
        ("kettle_yielded_s", &mut kettle.seconds),
        ("kettle_yielded_kwh", &mut kettle.kwh),
    ]
}

impl Logbook {
    /// Every day, the oldest first.
    ///
    /// # Errors
    /// The book cannot be read.
    pub fn days(&self) -> Result<Vec<Entry>, BookError> {
        let mut query = self.db.prepare_cached(
            "SELECT id, begun_utc, source, sheet, rig, finished,
               max(coalesce((SELECT max(t_ms) FROM sample WHERE day = day.id), 0) / 1000.0,
                   coalesce((SELECT max(ended_s) FROM step WHERE day = day.id), 0.0)),
               coalesce((SELECT sum(energy_kwh) FROM step WHERE day = day.id), 0.0),
               (SELECT count(*) FROM event WHERE day = day.id AND kind = 'trip'),
               (SELECT count(*) FROM note WHERE day = day.id),
               (SELECT count(*) FROM measurement WHERE day = day.id)
             FROM day ORDER BY id",
        )?;
        let entry = |row: &Row<'_>| {
            Ok(Entry {
                number: row.get(0)?,
                begun_utc: row.get(1)?,
                rehearsed: row.get::<_, String>(2)? == "rehearsal",
                sheet: row.get(3)?,
                rig: row.get(4)?,
                finished: row.get(5)?,
                length_s: row.get(6)?,
                energy_kwh: row.get(7)?,
                trips: row.get(8)?,
                notes: row.get(9)?,
                measurements: row.get(10)?,
            })
        };
        Ok(query.query_map([], entry)?.collect::<Result<_, _>>()?)
    }

    /// Reads a day back.
    ///
    /// # Errors
    /// There is no such day, or it cannot be read.
    pub fn day(&self, number: i64) -> Result<StoredDay, BookError> {
        let head = "SELECT begun_utc, source, sheet, rig, seed, units, boiling_c, tank_w, kettle_w, sample_s, sheet_text, rig_text, finished
                    FROM day WHERE id = ?1";
        let stored = self.db.query_row(head, [number], |row| {
            let day = Day {
                sheet: row.get(2)?,
                rig: row.get(3)?,
                seed: row.get::<_, i64>(4)?.cast_unsigned(),
                units: if row.get::<_, String>(5)? == "us" { Units::Us } else { Units::Metric },
                boiling_c: row.get(6)?,
                element_w: PerElement { liquor_tank: row.get(7)?, boil_kettle: row.get(8)? },
                sample_s: row.get(9)?,
                ..Day::default()
            };
            Ok(StoredDay {
                number,
                begun_utc: row.get(0)?,
                rehearsed: row.get::<_, String>(1)? == "rehearsal",
                finished: row.get(12)?,
                day,
                sheet_text: row.get(10)?,
                rig_text: row.get(11)?,
                measurements: Vec::new(),
                notes: Vec::new(),
                learned: Vec::new(),
            })
        });
        let Some(mut stored) = stored.optional()? else { return Err(self.no_such_day(number)?) };
        stored.day.samples = self.samples(number)?;
        let end_s = stored.day.samples.last().map_or(0.0, |sample| sample.t_s);
        stored.day.steps = self.steps(number, end_s)?;
        self.events(number, &mut stored.day)?;
        stored.day.heat_ups = PerElement {
            liquor_tank: self.heat_ups(number, Element::LiquorTank)?,
            boil_kettle: self.heat_ups(number, Element::BoilKettle)?,
        };
        if stored.finished {
            self.figures(number, &mut stored.day)?;
        } else {
            total_up(&mut stored.day);
        }
        stored.measurements = self.measurements(number)?;
        stored.notes = self.pairs("SELECT at_utc, text FROM note WHERE day = ?1 ORDER BY id", number)?;
        stored.learned = self.pairs("SELECT name, value FROM learned WHERE day = ?1 ORDER BY name", number)?;
        Ok(stored)
    }

    /// Writes a note beside a day.
    ///
    /// # Errors
    /// There is no such day, or the book cannot be written.
    pub fn note(&self, day: i64, text: &str) -> Result<(), BookError> {
        self.known(day)?;
        let insert = "INSERT INTO note (day, at_utc, text) VALUES (?1, strftime('%Y-%m-%dT%H:%M:%SZ', 'now'), ?2)";
        self.db.execute(insert, params![day, text])?;
        Ok(())
    }

    /// Writes a measurement beside a day, and learns from the boil's volumes. `given` is what the brewer wrote.
    ///
    /// # Errors
    /// There is no such day, or the book cannot be written.
    pub fn measure(&self, day: i64, kind: Kind, value: f64, given: &str) -> Result<(), BookError> {
        self.known(day)?;
        let insert = "INSERT INTO measurement (day, at_utc, kind, value, given) VALUES (?1, strftime('%Y-%m-%dT%H:%M:%SZ', 'now'), ?2, ?3, ?4)";
        self.db.execute(insert, params![day, kind.key(), value, given])?;
        match kind {
            Kind::PreBoilVolume | Kind::PostBoilVolume => self.learn_dry_loss(day),
            Kind::FirstWortGravity | Kind::PreBoilGravity | Kind::FermenterVolume | Kind::OriginalGravity | Kind::FinalGravity => {
                Ok(())
            }
        }
    }

    fn known(&self, day: i64) -> Result<(), BookError> {
        let found: Option<i64> = self.db.query_row("SELECT id FROM day WHERE id = ?1", [day], |row| row.get(0)).optional()?;
        match found {
            Some(_) => Ok(()),
            None => Err(self.no_such_day(day)?),
        }
    }

    fn no_such_day(&self, day: i64) -> Result<BookError, BookError> {
        let ends: (Option<i64>, Option<i64>) =
            self.db.query_row("SELECT min(id), max(id) FROM day", [], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(BookError::NoSuchDay { day, known: ends.0.zip(ends.1) })
    }

    fn samples(&self, day: i64) -> Result<Vec<Sample>, BookError> {
        let mut query = self.db.prepare_cached(
            "SELECT t_ms, tank_mc, tun_mc, kettle_mc, tank_set_mc, tun_set_mc, kettle_set_mc, granted, tank_duty_bp, kettle_duty_bp,
               tank_ml, tun_ml, kettle_ml FROM sample WHERE day = ?1 ORDER BY t_ms",
        )?;
        let thousandth = |number: i64| number as f64 / 1000.0;
        let sample = |row: &Row<'_>| {
            let maybe = |column: usize| Ok::<_, rusqlite::Error>(row.get::<_, Option<i64>>(column)?.map(thousandth));
            let number = |column: usize| Ok::<_, rusqlite::Error>(thousandth(row.get(column)?));
            let duty = |column: usize| Ok::<_, rusqlite::Error>(row.get::<_, i64>(column)? as f64 / 10_000.0);
            Ok(Sample {
                t_s: number(0)?,
                reading_c: PerVessel { liquor_tank: maybe(1)?, mash_tun: maybe(2)?, boil_kettle: maybe(3)? },
                setpoint_c: PerVessel { liquor_tank: maybe(4)?, mash_tun: maybe(5)?, boil_kettle: maybe(6)? },
                grant: match row.get::<_, Option<i64>>(7)? {
                    Some(0) => Some(Element::LiquorTank),
                    Some(_) => Some(Element::BoilKettle),
                    None => None,
                },
                duty: PerElement { liquor_tank: duty(8)?, boil_kettle: duty(9)? },
                volume_l: PerVessel { liquor_tank: number(10)?, mash_tun: number(11)?, boil_kettle: number(12)? },
            })
        };
        Ok(query.query_map([day], sample)?.collect::<Result<_, _>>()?)
    }

    fn steps(&self, day: i64, end_s: f64) -> Result<Vec<StepRecord>, BookError> {
        let mut query = self.db.prepare_cached(
            "SELECT name, started_s, ended_s, planned_s, vessel, from_c, target_c, to_c, overshoot_k, hold_rms_k, energy_kwh FROM step
             WHERE day = ?1 ORDER BY number",
        )?;
        let step = |row: &Row<'_>| {
            let (started_s, key): (f64, Option<String>) = (row.get(1)?, row.get(4)?);
            Ok(StepRecord {
                name: row.get(0)?,
                started_s,
                // Under way when the writing stopped.
                ended_s: row.get::<_, Option<f64>>(2)?.unwrap_or(end_s.max(started_s)),
                planned_s: row.get(3)?,
                vessel: key.and_then(|key| vessel_of(&key)),
                from_c: row.get(5)?,
                target_c: row.get(6)?,
                to_c: row.get(7)?,
                overshoot_k: row.get(8)?,
                hold_rms_k: row.get(9)?,
                energy_kwh: row.get::<_, Option<f64>>(10)?.unwrap_or(0.0),
            })
        };
        Ok(query.query_map([day], step)?.collect::<Result<_, _>>()?)
    }

    fn events(&self, day: i64, record: &mut Day) -> Result<(), BookError> {
        let mut query = self.db.prepare_cached(
            "SELECT kind, t_s, until_s, text, remedy, minutes_left FROM event WHERE day = ?1 ORDER BY kind, number",
        )?;
        let mut rows = query.query([day])?;
        while let Some(row) = rows.next()? {
            let (kind, t_s, text): (String, f64, String) = (row.get(0)?, row.get(1)?, row.get(3)?);
            match kind.as_str() {
                "prompt" => {
                    let answered_s = row.get::<_, Option<f64>>(2)?.unwrap_or(t_s);
                    record.prompts.push(PromptRecord { asked_s: t_s, answered_s, text });
                }
                "addition" => {
                    let minutes_left = row.get::<_, Option<f64>>(5)?.unwrap_or(0.0);
                    record.additions.push(AdditionRecord { t_s, name: text, minutes_left });
                }
                "trip" => {
                    let remedy = row.get::<_, Option<String>>(4)?.unwrap_or_default();
                    record.trips.push(TripRecord { t_s, cause: text, remedy });
                }
                "advice" => record.advice.push(AdviceRecord { t_s, text }),
                other => return Err(BookError::Unreadable { day, what: format!("an event of the kind {other:?}") }),
            }
        }
        Ok(())
    }

    fn heat_ups(&self, day: i64, element: Element) -> Result<Vec<HeatUp>, BookError> {
        let mut query = self.db.prepare_cached(
            "SELECT from_c, to_c, seconds, least_seconds, overshoot_k FROM heat_up WHERE day = ?1 AND vessel = ?2 ORDER BY number",
        )?;
        let heat_up = |row: &Row<'_>| {
            Ok(HeatUp {
                from_c: row.get(0)?,
                to_c: row.get(1)?,
                seconds: row.get(2)?,
                least_seconds: row.get(3)?,
                overshoot_c: row.get(4)?,
            })
        };
        Ok(query.query_map(params![day, element.vessel().key()], heat_up)?.collect::<Result<_, _>>()?)
    }

    fn figures(&self, day: i64, record: &mut Day) -> Result<(), BookError> {
        let stored: Vec<(String, f64)> = self.pairs("SELECT name, value FROM figure WHERE day = ?1", day)?;
        let find = |name: &str| stored.iter().find(|(known, _)| known == name).map(|(_, value)| *value);
        for (name, value) in figures_of(record) {
            *value = find(name).ok_or_else(|| BookError::Unreadable { day, what: format!("its {name} is not there") })?;
        }
        for (name, value) in later_figures_of(record) {
            *value = find(name).unwrap_or(0.0);
        }
        record.volumes.dry_loss_w = find(DRY_LOSS);
        record.two_elements_ticks = find(TWO_ELEMENTS).unwrap_or(0.0) as u64;
        Ok(())
    }

    fn measurements(&self, day: i64) -> Result<Vec<Measurement>, BookError> {
        let mut query = self.db.prepare_cached("SELECT at_utc, kind, value, given FROM measurement WHERE day = ?1 ORDER BY id")?;
        let rows = query.query_map([day], |row| {
            Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?, row.get::<_, f64>(2)?, row.get::<_, String>(3)?))
        })?;
        let mut list = Vec::new();
        for row in rows {
            let (at_utc, key, value, given) = row?;
            let kind = Kind::of_key(&key)
                .ok_or_else(|| BookError::Unreadable { day, what: format!("a measurement of the kind {key:?}") })?;
            list.push(Measurement { at_utc, kind, value, given });
        }
        Ok(list)
    }

    fn pairs<T: rusqlite::types::FromSql>(&self, query: &str, day: i64) -> Result<Vec<(String, T)>, BookError> {
        let mut query = self.db.prepare_cached(query)?;
        Ok(query.query_map([day], |row| Ok((row.get(0)?, row.get(1)?)))?.collect::<Result<_, _>>()?)
    }
}

fn vessel_of(key: &str) -> Option<Vessel> {
    Vessel::ALL.into_iter().find(|vessel| vessel.key() == key)
}

/// Energy of a day that was not written to its end, from its samples.
fn total_up(day: &mut Day) {
    let hours = day.sample_s / 3600.0;
    let kwh = |element: Element| {
        let full_kw = day.element_w.get(element) / 1000.0;
        day.samples.iter().map(|sample| sample.duty.get(element) * full_kw * hours).sum::<f64>()
    };
    day.energy.element_kwh = PerElement::build(kwh);
}
