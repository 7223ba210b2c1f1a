//! The logbook: what goes in comes out, comparisons say what was changed on purpose, exports read back.

use copperhold::day::{Day, Units};
use copperhold::files::{self, RigFile, SheetFile};
use copperhold::logbook::compare::Comparison;
use copperhold::logbook::dry_loss::{self, DryLoss, Taught};
use copperhold::logbook::measure::Kind;
use copperhold::logbook::{BookError, Logbook, Opening, StoredDay, Writer, compare_page, compare_text, export};
use copperhold::rehearse::Rehearsal;
use copperhold_core::supervisor::Knowledge;
use copperhold_tests::sample_day;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use unicode_width::UnicodeWidthStr;

fn fresh(name: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("logbook-{}-{name}.db", std::process::id()));
    for end in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{end}", path.display()));
    }
    path
}

const OPENING: Opening<'static> = Opening { rehearsed: true, sheet_text: files::DEMO_SHEET, rig_text: files::DEMO_RIG };

/// Rehearses the demo, with one text of its sheet replaced, at one sample per second, writing it down as it runs.
fn brew(book: Logbook, from: &str, to: &str, each: usize) -> (Logbook, Day) {
    let text = files::DEMO_SHEET.replace(from, to);
    let (rig, sheet): (RigFile, SheetFile) = (files::demo_rig().unwrap(), files::parse_sheet("sheet", &text).unwrap());
    let mut rehearsal = Rehearsal::new(&rig, &sheet, 1).unwrap().sampled_every(1.0);
    let opening = Opening { sheet_text: &text, ..OPENING };
    let mut writer = Writer::begin(book, &opening, rehearsal.day()).unwrap();
    rehearsal
        .run_with(|rehearsal| {
            if rehearsal.day().samples.len() >= writer.samples() + each {
                writer.follow(rehearsal.day(), rehearsal.under_way()).unwrap();
            }
            Ok::<(), copperhold::rehearse::RehearsalError>(())
        })
        .unwrap();
    let knowledge = rehearsal.controller().supervisor().knowledge();
    let day = rehearsal.finish();
    (writer.finish(&day, &knowledge).unwrap(), day)
}

/// A book with the demo as day 1 and the same day with a weaker boil as day 2, and the demo's own record.
fn two_days() -> &'static (PathBuf, Day) {
    static BOOK: OnceLock<(PathBuf, Day)> = OnceLock::new();
    BOOK.get_or_init(|| {
        let path = fresh("two");
        let (book, day) = brew(Logbook::open(&path).unwrap(), "", "", 60);
        brew(book, "at = \"60 %\"", "at = \"45 %\"", 777);
        (path, day)
    })
}

fn stored(number: i64) -> StoredDay {
    Logbook::open_existing(&two_days().0).unwrap().day(number).unwrap()
}

#[test]
fn a_day_comes_out_as_it_went_in() {
    let (day, read) = (&two_days().1, stored(1));
    assert!(read.finished && read.rehearsed);
    assert_eq!((read.sheet_text.as_str(), read.rig_text.as_str()), (files::DEMO_SHEET, files::DEMO_RIG));
    // All but the samples exactly.
    let bare = |day: &Day| Day { samples: Vec::new(), ..day.clone() };
    assert_eq!(bare(&read.day), bare(day));
    assert_eq!(read.day.samples.len(), day.samples.len());
    assert!(day.samples.len() > 15_000);
    for (read, written) in read.day.samples.iter().zip(&day.samples) {
        assert_eq!((read.t_s, read.grant), (written.t_s, written.grant));
        for (read, written) in [
            (read.reading_c.mash_tun, written.reading_c.mash_tun),
            (read.reading_c.liquor_tank, written.reading_c.liquor_tank),
            (read.setpoint_c.liquor_tank, written.setpoint_c.liquor_tank),
            (Some(read.volume_l.boil_kettle), Some(written.volume_l.boil_kettle)),
            (Some(read.duty.boil_kettle), Some(written.duty.boil_kettle)),
        ] {
            // Half a millidegree, millilitre, or part of 10,000.
            assert_eq!(read.is_some(), written.is_some());
            assert!((read.unwrap_or(0.0) - written.unwrap_or(0.0)).abs() <= 0.000_51, "{read:?} and {written:?}");
        }
    }
    assert!(read.learned.iter().any(|(name, value)| name == "liquor_tank.slope_k_per_s" && *value > 0.01));
}

#[test]
fn a_record_with_trips_advice_and_faulty_probes_comes_out_too() {
    let day = Day { units: Units::Us, ..sample_day::tripped_day() };
    assert!(!day.trips.is_empty() && !day.prompts.is_empty());
    let path = fresh("trouble");
    let mut writer = Writer::begin(Logbook::open(&path).unwrap(), &OPENING, &day).unwrap();
    writer.follow(&day, None).unwrap();
    let book = writer.finish(&day, &Knowledge::default()).unwrap();
    let read = book.day(1).unwrap().day;
    let bare = |day: &Day| Day { samples: Vec::new(), ..day.clone() };
    assert_eq!(bare(&read), bare(&day));
    let faults = |day: &Day| day.samples.iter().filter(|s| s.reading_c.liquor_tank.is_none()).count();
    assert!(faults(&day) > 0);
    assert_eq!(faults(&read), faults(&day));
}

#[test]
fn a_day_cut_short_keeps_its_samples_its_step_and_its_energy() {
    let (rig, sheet) = (files::demo_rig().unwrap(), files::demo_sheet().unwrap());
    let mut rehearsal = Rehearsal::new(&rig, &sheet, 1).unwrap().sampled_every(1.0);
    let path = fresh("short");
    let mut writer = Writer::begin(Logbook::open(&path).unwrap(), &OPENING, rehearsal.day()).unwrap();
    while rehearsal.t_s() < 1200.0 {
        rehearsal.advance();
        writer.follow(rehearsal.day(), rehearsal.under_way()).unwrap();
    }
    drop(writer);
    let read = Logbook::open_existing(&path).unwrap().day(1).unwrap();
    assert!(!read.finished);
    assert_eq!(read.day.samples.len(), rehearsal.day().samples.len());
    assert_eq!(read.day.steps.len(), 1);
    assert_eq!((read.day.steps[0].name.as_str(), read.day.steps[0].ended_s), ("Heat strike", 1200.0));
    let truth = rehearsal.brewery_mut().energy().kwh().element_kwh.liquor_tank;
    assert!(truth > 1.0 && (read.day.energy.element_kwh.liquor_tank - truth).abs() < 0.003, "{truth}");
}

#[test]
fn a_day_takes_less_than_five_megabytes() {
    let bytes = std::fs::metadata(&two_days().0).unwrap().len();
    println!("{} kB a day", bytes / 2 / 1000);
    assert!(bytes / 2 < 5_000_000);
}

#[test]
fn measurements_give_efficiencies_that_a_pencil_gives() {
    let path = fresh("measured");
    let (book, _) = brew(Logbook::open(&path).unwrap(), "", "", 5000);
    for (kind, value) in [
        (Kind::PreBoilVolume, "30 L"),
        (Kind::PreBoilGravity, "1.040"),
        (Kind::PreBoilGravity, "1.050"),
        (Kind::FermenterVolume, "24 L"),
        (Kind::OriginalGravity, "1.056"),
        (Kind::FinalGravity, "1.012"),
    ] {
        book.measure(1, kind, kind.read(value, None).unwrap(), value).unwrap();
    }
    let day = book.day(1).unwrap();
    let stages = day.stages(0.80);
    // Potential: 6.8 kg x 0.96 x 0.80 = 5.222 kg. Before the boil: 30 L x 1.04810 kg/L x 12.388 P = 3.895 kg. The later reading counts.
    assert!((stages.mash.unwrap() - 3.895 / 5.222).abs() < 0.001, "{stages:?}");
    // Fermenter: 24 L x 1.05407 x 13.805 P = 3.492 kg.
    assert!((stages.brewhouse.unwrap() - 3.492 / 5.222).abs() < 0.001, "{stages:?}");
    assert_eq!(stages.conversion, None);
    // Balling between the table's rows 1.055/1.012 (5.729 %) and 1.060/1.012 (6.410 %).
    assert!((day.alcohol().unwrap() - 5.865).abs() < 0.01, "{:?}", day.alcohol());
    assert!(day.measured_boil_off().is_none());
    let after = Kind::PostBoilVolume;
    book.measure(1, after, after.read("26 L", None).unwrap(), "26 L").unwrap();
    assert!((book.day(1).unwrap().measured_boil_off().unwrap() - 4.0).abs() < 0.01);
}

#[test]
fn the_boils_volumes_teach_its_dry_loss_for_another_element_and_are_corrected() {
    let path = fresh("dry-loss");
    let (book, day) = brew(Logbook::open(&path).unwrap(), "", "", 5000);
    let loss = |rig: &str| book.dry_loss(rig).unwrap();
    // The rehearsed day's own volumes first.
    let own_w = day.volumes.dry_loss_w.expect("an hour's boil tells");
    assert_eq!(loss("Millrace Shed"), Some(DryLoss { watts: own_w, days: 1, by_hand: false }));
    assert_eq!(loss("Another"), None);
    let measure = |kind: Kind, text: &str| book.measure(1, kind, kind.read(text, None).unwrap(), text).unwrap();
    measure(Kind::PreBoilVolume, "30 L");
    assert!(loss("Millrace Shed").is_some_and(|loss| !loss.by_hand), "one volume teaches nothing");
    measure(Kind::PostBoilVolume, "26.5 L");
    // 3.5 L in the boil's hour took 2190 W (steam tables); the rest of its mean power made no vapour.
    let boil = day.steps.iter().find(|step| step.name == "Boil").unwrap();
    let dry_w = boil.energy_kwh * 1000.0 - 3.5 * 625.7;
    let learned = loss("Millrace Shed").unwrap();
    assert!((learned.watts - dry_w).abs() < 3.0 && learned.by_hand && learned.days == 1, "{learned:?}, by pencil {dry_w}");
    assert!(book.day(1).unwrap().learned.iter().any(|(name, watts)| name == dry_loss::LEARNED && *watts == learned.watts));
    // More gone than the power can evaporate: the day teaches nothing until it is put right.
    measure(Kind::PostBoilVolume, "16.5 L");
    assert_eq!((loss("Millrace Shed"), book.day(1).unwrap().taught()), (None, Taught::Contradiction));
    measure(Kind::PostBoilVolume, "26.5 L");
    assert_eq!(loss("Millrace Shed"), Some(learned));
}

#[test]
fn the_comparison_says_what_was_changed_and_nothing_of_what_was_not() {
    let (first, second) = (stored(1), stored(2));
    let words = Comparison { first: &first, second: &second }.words().join("\n");
    for told in [
        "The sheet has the same name but was changed",
        "Boil-off was lower on day 2",
        "The volume after the boil was higher",
        "Boil took 0.6",
    ] {
        assert!(words.contains(told), "no {told:?} in\n{words}");
    }
    for untold in ["Heat strike", "Low rest", "Sparge", "Trips"] {
        assert!(!words.contains(untold), "{untold:?} in\n{words}");
    }
    let same = Comparison { first: &first, second: &first };
    assert_eq!(same.words(), Vec::<String>::new());
    assert!(same.pairs().iter().all(|pair| pair.first == pair.second));
}

#[test]
fn steps_that_only_one_day_has_stand_alone() {
    let first = stored(1);
    let mut second = first.clone();
    second.number = 2;
    second.day.steps.retain(|step| step.name != "High rest");
    let comparison = Comparison { first: &first, second: &second };
    assert_eq!(comparison.pairs().len(), first.day.steps.len());
    assert!(comparison.words().contains(&"High rest: only on day 1.".to_owned()), "{:?}", comparison.words());
    let other_way = Comparison { first: &second, second: &first };
    assert_eq!(other_way.pairs().len(), first.day.steps.len());
    assert!(other_way.words().contains(&"High rest: only on day 1.".to_owned()), "{:?}", other_way.words());
}

#[test]
fn the_comparison_is_readable_as_text_and_well_formed_as_a_page() {
    let (first, mut second) = (stored(1), stored(2));
    second.day.sheet = "<script>alert(1)</script>".to_owned();
    let comparison = Comparison { first: &first, second: &second };
    for line in compare_text::page(&comparison).lines() {
        assert!(line.width() <= 100, "{line}");
    }
    let page = compare_page::page(&comparison);
    let body = page.strip_prefix("<!DOCTYPE html>\n").unwrap();
    let document = roxmltree::Document::parse(body).unwrap_or_else(|error| panic!("{error}"));
    assert!(!document.descendants().any(|node| node.has_tag_name(("http://www.w3.org/1999/xhtml", "script"))));
    let class =
        |node: roxmltree::Node<'_, '_>, wanted: &str| node.attribute("class").is_some_and(|c| c.split(' ').any(|c| c == wanted));
    let curves: Vec<_> = document.descendants().filter(|node| class(*node, "second") || class(*node, "reading")).collect();
    // Three vessels in three sizes, both days; each curve has points.
    assert_eq!(curves.len(), 18);
    assert!(curves.iter().all(|curve| curve.attribute("d").is_some_and(|d| d.len() > 100)));
    for svg in document.descendants().filter(|node| node.tag_name().name() == "svg") {
        let text = svg.descendants().find(|node| node.tag_name().name() == "desc").and_then(|node| node.text());
        assert!(text.is_some_and(|text| text.contains("lie between")), "{text:?}");
    }
    assert!(page.len() < 400_000, "{}", page.len());
}

#[test]
fn csv_follows_rfc_4180_and_holds_every_sample() {
    let book = Logbook::open_existing(&two_days().0).unwrap();
    let day = stored(1);
    let mut bytes = Vec::new();
    export::csv(&book, &day, &mut bytes).unwrap();
    let text = String::from_utf8(bytes).unwrap();
    assert!(text.ends_with("\r\n") && text.matches('\n').count() == text.matches("\r\n").count());
    let rows: Vec<Vec<&str>> = text.split_terminator("\r\n").map(|line| line.split(',').collect()).collect();
    assert_eq!(rows.len(), day.day.samples.len() + 1);
    assert!(rows.iter().all(|row| row.len() == 14));
    assert_eq!((rows[0][0], rows[0][1], rows[0][3], rows[0][13]), ("utc", "t_s", "mash_tun_c", "grant"));
    let sample = &day.day.samples[4000];
    let row = &rows[4001];
    assert_eq!(row[1].parse::<f64>().unwrap(), 4000.0);
    assert_eq!(row[3].parse::<f64>().ok(), sample.reading_c.mash_tun);
    assert_eq!(row[13], sample.grant.map_or("", |element| element.vessel().key()));
    // 4000 s are 1 h 06 min 40 s: minutes and seconds of the times of day differ by 6:40.
    let seconds = |time: &str| time[14..16].parse::<i64>().unwrap() * 60 + time[17..19].parse::<i64>().unwrap();
    assert_eq!((seconds(row[0]) - seconds(&day.begun_utc)).rem_euclid(3600), 400);
    assert!(row[0].ends_with('Z') && row[0].len() == 20);
}

#[test]
fn json_holds_the_record_and_what_stands_beside_it() {
    let book = Logbook::open_existing(&two_days().0).unwrap();
    let day = stored(1);
    let mut bytes = Vec::new();
    export::json(&book, &day, &mut bytes).unwrap();
    let document: serde_json::Value = serde_json::from_slice(&bytes).unwrap();
    assert_eq!(document["schema"], 1);
    assert_eq!(document["record"]["steps"].as_array().unwrap().len(), day.day.steps.len());
    assert_eq!(document["sheet_text"], files::DEMO_SHEET);
    let columns = document["samples"].as_object().unwrap();
    assert_eq!(columns.len(), 14);
    assert!(columns.values().all(|column| column.as_array().unwrap().len() == day.day.samples.len()));
    assert_eq!(document["samples"]["mash_tun_c"][4000].as_f64(), day.day.samples[4000].reading_c.mash_tun);
}

/// Read back with the same library's reader, and by hand at the file's ends: `PAR1`, and the length of the footer before the last four bytes
/// (Apache Parquet format specification, "File format"). No reader of another house was at hand.
#[test]
fn parquet_reads_back_with_its_nulls_and_metadata() {
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::Field;
    let book = Logbook::open_existing(&two_days().0).unwrap();
    let day = stored(1);
    let mut bytes: Vec<u8> = Vec::new();
    export::parquet(&book, &day, &mut bytes).unwrap();
    assert_eq!((&bytes[..4], &bytes[bytes.len() - 4..]), (&b"PAR1"[..], &b"PAR1"[..]));
    let footer = u32::from_le_bytes(bytes[bytes.len() - 8..bytes.len() - 4].try_into().unwrap()) as usize;
    assert!(footer > 100 && footer + 12 < bytes.len(), "footer of {footer} bytes");
    let reader = SerializedFileReader::new(bytes::Bytes::from(bytes)).unwrap();
    let metadata = reader.metadata().file_metadata();
    assert_eq!(metadata.num_rows(), day.day.samples.len() as i64);
    let facts = metadata.key_value_metadata().unwrap();
    assert!(facts.iter().any(|fact| fact.key == "copperhold.sheet" && fact.value.as_deref() == Some("Lantern Row amber")));
    let mut rows = 0;
    for (row, sample) in reader.get_row_iter(None).unwrap().zip(&day.day.samples) {
        let row = row.unwrap();
        let columns: Vec<(&String, &Field)> = row.get_column_iter().collect();
        assert_eq!(columns.len(), 14);
        assert_eq!(columns[1], (&"t_s".to_owned(), &Field::Double(sample.t_s)));
        let mash = sample.reading_c.mash_tun.map_or(Field::Null, Field::Double);
        assert_eq!(columns[3], (&"mash_tun_c".to_owned(), &mash));
        let setpoint = sample.setpoint_c.liquor_tank.map_or(Field::Null, Field::Double);
        assert_eq!(columns[5].1, &setpoint);
        let grant = sample.grant.map_or(Field::Null, |element| Field::Str(element.vessel().key().to_owned()));
        assert_eq!(columns[13].1, &grant);
        rows += 1;
    }
    assert_eq!(rows, day.day.samples.len());
}

#[test]
fn refuses_what_is_not_its_own() {
    let other = fresh("other");
    std::fs::write(&other, "a text that is no database, long enough to be looked at as one: ".repeat(20)).unwrap();
    assert!(matches!(Logbook::open(&other), Err(BookError::NotALogbook { .. })));
    assert!(matches!(Logbook::open_existing(&fresh("none")), Err(BookError::Missing { .. })));
    let folder = Path::new("/no/such/folder/book.db");
    assert!(matches!(Logbook::open(folder), Err(BookError::Unopened { .. })));

    let foreign = fresh("foreign");
    let db = rusqlite::Connection::open(&foreign).unwrap();
    db.execute_batch("CREATE TABLE day (id INTEGER)").unwrap();
    drop(db);
    assert!(matches!(Logbook::open(&foreign), Err(BookError::NotALogbook { .. })));

    let newer = fresh("newer");
    drop(Logbook::open(&newer).unwrap());
    let db = rusqlite::Connection::open(&newer).unwrap();
    db.pragma_update(None, "user_version", 2).unwrap();
    drop(db);
    let error = Logbook::open(&newer).unwrap_err();
    assert!(matches!(error, BookError::Newer { version: 2, .. }) && error.to_string().contains("newer program"), "{error}");
}

#[test]
fn says_which_days_there_are() {
    let empty = Logbook::open(&fresh("empty")).unwrap();
    assert!(empty.day(1).unwrap_err().to_string().contains("empty"));
    let book = Logbook::open_existing(&two_days().0).unwrap();
    assert!(book.day(9).unwrap_err().to_string().contains("days 1 to 2"));
    assert!(matches!(book.note(9, "x"), Err(BookError::NoSuchDay { day: 9, .. })));
    assert!(matches!(book.measure(9, Kind::FinalGravity, 1.01, "1.010"), Err(BookError::NoSuchDay { .. })));
}

#[test]
fn a_damaged_book_is_told_as_damaged() {
    let path = fresh("damaged");
    brew(Logbook::open(&path).unwrap(), "", "", 5000);
    let mut bytes = std::fs::read(&path).unwrap();
    // The middle of the samples: every page header there is overwritten.
    let middle = bytes.len() / 2;
    bytes[middle..middle + 65_536].fill(0xA5);
    std::fs::write(&path, bytes).unwrap();
    let told = Logbook::open_existing(&path).and_then(|book| book.check());
    assert!(told.is_err(), "the damage was not noticed");
}
