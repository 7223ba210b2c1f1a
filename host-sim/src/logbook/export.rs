//! A day for other programs: CSV (RFC 4180), JSON, Parquet.
//!
//! All three carry the same samples: one row each, one unit per column, named in the column's name. A missing value is an empty field, a
//! null, or a null. Times are ISO 8601 in UTC, and seconds since the day began.

use super::{BookError, Logbook, StoredDay};
use crate::day::Sample;
use crate::report;
use copperhold_core::vessel::Element;
use parquet::basic::{Compression, LogicalType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::{Type, TypePtr};
use serde_json::{Map, Value, json};
use std::io::Write;
use std::sync::Arc;

/// Columns of numbers, in the order of the export.
const NUMBERS: [&str; 12] = [
    "t_s",
    "liquor_tank_c",
    "mash_tun_c",
    "boil_kettle_c",
    "liquor_tank_setpoint_c",
    "mash_tun_setpoint_c",
    "boil_kettle_setpoint_c",
    "liquor_tank_duty",
    "boil_kettle_duty",
    "liquor_tank_l",
    "mash_tun_l",
    "boil_kettle_l",
];
/// The column of the time of day, the first one of CSV.
const UTC: &str = "utc";
/// The column of who had the element's grant, the last one.
const GRANT: &str = "grant";

fn numbers(sample: &Sample) -> [Option<f64>; 12] {
    let (reading, set, volume) = (&sample.reading_c, &sample.setpoint_c, &sample.volume_l);
    [
        Some(sample.t_s),
        reading.liquor_tank,
        reading.mash_tun,
        reading.boil_kettle,
        set.liquor_tank,
        set.mash_tun,
        set.boil_kettle,
        Some(sample.duty.liquor_tank),
        Some(sample.duty.boil_kettle),
        Some(volume.liquor_tank),
        Some(volume.mash_tun),
        Some(volume.boil_kettle),
    ]
}

fn grant(sample: &Sample) -> Option<&'static str> {
    sample.grant.map(|element: Element| element.vessel().key())
}

/// Times of day of the samples, ISO 8601, UTC: by SQLite's own calendar.
fn times(book: &Logbook, day: &StoredDay) -> Result<Vec<String>, BookError> {
    let mut query = book.db.prepare_cached("SELECT strftime('%Y-%m-%dT%H:%M:%SZ', ?1, ?2)")?;
    let time = |sample: &Sample| {
        let later = format!("+{} seconds", sample.t_s.floor() as i64);
        query
            .query_row([day.begun_utc.as_str(), later.as_str()], |row| row.get::<_, Option<String>>(0))
            .map(Option::unwrap_or_default)
    };
    Ok(day.samples().iter().map(time).collect::<Result<_, _>>()?)
}

impl StoredDay {
    fn samples(&self) -> &[Sample] {
        &self.day.samples
    }
}

/// The samples as CSV.
///
/// # Errors
/// The book cannot be read, or `out` cannot be written.
pub fn csv(book: &Logbook, day: &StoredDay, out: impl Write) -> Result<(), BookError> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(out);
    let head = [UTC].into_iter().chain(NUMBERS).chain([GRANT]);
    writer.write_record(head).map_err(csv_error)?;
    for (sample, time) in day.samples().iter().zip(times(book, day)?) {
        let numbers = numbers(sample).map(|number| number.map_or_else(String::new, |number| number.to_string()));
        let fields = [time].into_iter().chain(numbers).chain([grant(sample).unwrap_or_default().to_owned()]);
        writer.write_record(fields).map_err(csv_error)?;
    }
    writer.flush().map_err(BookError::Export)
}

fn csv_error(error: csv::Error) -> BookError {
    BookError::Export(std::io::Error::other(error))
}

/// The whole day as one JSON document: what the report holds, and all that is in the book beside it. Samples are columns.
///
/// # Errors
/// The book cannot be read, or `out` cannot be written.
pub fn json(book: &Logbook, day: &StoredDay, mut out: impl Write) -> Result<(), BookError> {
    let record: Value = serde_json::from_str(&report::json::document(&day.day)).map_err(json_error)?;
    let mut samples = Map::new();
    samples.insert(UTC.to_owned(), json!(times(book, day)?));
    let rows: Vec<[Option<f64>; 12]> = day.samples().iter().map(numbers).collect();
    for (column, name) in NUMBERS.iter().enumerate() {
        let values: Vec<Option<f64>> = rows.iter().filter_map(|row| row.get(column).copied()).collect();
        samples.insert((*name).to_owned(), json!(values));
    }
    samples.insert(GRANT.to_owned(), json!(day.samples().iter().map(grant).collect::<Vec<_>>()));
    let measurement =
        |m: &super::measure::Measurement| json!({"utc": m.at_utc, "kind": m.kind.key(), "value": m.value, "given": m.given});
    let document = json!({
        "schema": 1,
        "day": day.number,
        "begun_utc": day.begun_utc,
        "rehearsed": day.rehearsed,
        "finished": day.finished,
        "record": record,
        "measurements": day.measurements.iter().map(measurement).collect::<Vec<_>>(),
        "notes": day.notes.iter().map(|(utc, text)| json!({"utc": utc, "text": text})).collect::<Vec<_>>(),
        "learned": day.learned.iter().map(|(name, value)| (name.clone(), json!(value))).collect::<Map<_, _>>(),
        "sheet_text": day.sheet_text,
        "rig_text": day.rig_text,
        "samples": samples,
    });
    serde_json::to_writer(&mut out, &document).map_err(json_error)?;
    writeln!(out).map_err(BookError::Export)
}

fn json_error(error: serde_json::Error) -> BookError {
    BookError::Export(std::io::Error::other(error))
}

/// The samples as a Parquet file: one row group, uncompressed (a day is about a megabyte), names and texts of the day in its metadata.
///
/// # Errors
/// The book cannot be read, or `out` cannot be written.
pub fn parquet(book: &Logbook, day: &StoredDay, out: impl Write + Send) -> Result<(), BookError> {
    let times = times(book, day)?;
    let facts = [
        ("copperhold.begun_utc", day.begun_utc.clone()),
        ("copperhold.sheet", day.day.sheet.clone()),
        ("copperhold.rig", day.day.rig.clone()),
        ("copperhold.day", day.number.to_string()),
    ];
    let facts = facts.into_iter().map(|(key, value)| KeyValue::new(key.to_owned(), value)).collect();
    let properties = WriterProperties::builder()
        .set_compression(Compression::UNCOMPRESSED)
        .set_key_value_metadata(Some(facts))
        .set_created_by("copperhold".to_owned())
        .build();
    write_parquet(day, &times, out, properties).map_err(|error| BookError::Parquet(error.to_string()))
}

fn write_parquet(
    day: &StoredDay,
    times: &[String],
    out: impl Write + Send,
    properties: WriterProperties,
) -> parquet::errors::Result<()> {
    let mut file = SerializedFileWriter::new(out, schema()?, Arc::new(properties))?;
    let mut group = file.next_row_group()?;
    text_column(&mut group, times.iter().map(|time| Some(time.as_str())))?;
    let rows: Vec<[Option<f64>; 12]> = day.samples().iter().map(numbers).collect();
    for column in 0..NUMBERS.len() {
        let values = rows.iter().map(|row| row.get(column).copied().flatten());
        let mut writer = group.next_column()?.ok_or_else(|| ParquetError::General("a column too many".to_owned()))?;
        let (present, levels) = split(values);
        writer.typed::<DoubleType>().write_batch(&present, Some(&levels), None)?;
        writer.close()?;
    }
    text_column(&mut group, day.samples().iter().map(grant))?;
    group.close()?;
    file.close()?;
    Ok(())
}

fn text_column<'a, W: Write + Send>(
    group: &mut SerializedRowGroupWriter<'_, W>,
    values: impl Iterator<Item = Option<&'a str>>,
) -> parquet::errors::Result<()> {
    let mut writer = group.next_column()?.ok_or_else(|| ParquetError::General("a column too many".to_owned()))?;
    let (present, levels) = split(values.map(|text| text.map(ByteArray::from)));
    writer.typed::<ByteArrayType>().write_batch(&present, Some(&levels), None)?;
    writer.close()
}

/// Values that are there, and for each row whether one is (Parquet's definition level).
fn split<T>(values: impl Iterator<Item = Option<T>>) -> (Vec<T>, Vec<i16>) {
    let (mut present, mut levels) = (Vec::new(), Vec::new());
    for value in values {
        levels.push(i16::from(value.is_some()));
        present.extend(value);
    }
    (present, levels)
}

/// All columns are optional, so that each is written the same way.
fn schema() -> parquet::errors::Result<TypePtr> {
    let text = |name: &str| {
        let column = Type::primitive_type_builder(name, Physical::BYTE_ARRAY).with_logical_type(Some(LogicalType::String));
        column.with_repetition(Repetition::OPTIONAL).build().map(Arc::new)
    };
    let number = |name: &str| {
        Type::primitive_type_builder(name, Physical::DOUBLE).with_repetition(Repetition::OPTIONAL).build().map(Arc::new)
    };
    let mut fields = vec![text(UTC)?];
    for name in NUMBERS {
        fields.push(number(name)?);
    }
    fields.push(text(GRANT)?);
    Type::group_type_builder("samples").with_fields(fields).build().map(Arc::new)
}
