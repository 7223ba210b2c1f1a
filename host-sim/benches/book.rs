//! How long the logbook takes to list and to compare, 30 days of one sample per second in it. Prints the share of the half second that a
//! person does not mind, and sizes; asserts nothing about time.

use copperhold::files;
use copperhold::logbook::compare::Comparison;
use copperhold::logbook::{Logbook, Opening, Writer, compare_page, compare_text};
use copperhold::rehearse::{Rehearsal, RehearsalError};
use std::hint::black_box;
use std::time::Instant;

const DAYS: i64 = 30;
const BUDGET_S: f64 = 0.5;
const ROUNDS: u32 = 9;

fn main() {
    let path = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("bench-book.db");
    for end in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{end}", path.display()));
    }
    let (rig, sheet) = (files::demo_rig().expect("built in"), files::demo_sheet().expect("built in"));
    let mut rehearsal = Rehearsal::new(&rig, &sheet, 1).expect("the demo fits").sampled_every(1.0);
    rehearsal.run_with(|_| Ok::<(), RehearsalError>(())).expect("the demo ends");
    let knowledge = rehearsal.controller().supervisor().knowledge();
    let day = rehearsal.finish();
    let opening = Opening { rehearsed: true, sheet_text: files::DEMO_SHEET, rig_text: files::DEMO_RIG };
    let mut book = Logbook::open(&path).expect("a new book");
    for _ in 0..DAYS {
        let writer = Writer::begin(book, &opening, &day).expect("a day begins");
        book = writer.finish(&day, &knowledge).expect("a day ends");
    }
    drop(book);
    let bytes = std::fs::metadata(&path).expect("it is there").len();
    println!(
        "{DAYS} days of {} samples: {} kB a day, {:.1} % of 5 MB",
        day.samples.len(),
        bytes / 1000 / DAYS as u64,
        bytes as f64 / DAYS as f64 / 5e4
    );
    let open = || Logbook::open_existing(&path).expect("it opens");
    let list = median(|| open().days().expect("it lists").len());
    let both = median(|| {
        let book = open();
        let (days, first, second) = (book.days().expect("it lists"), book.day(1).expect("day"), book.day(DAYS).expect("day"));
        let comparison = Comparison { first: &first, second: &second };
        days.len() + compare_text::page(&comparison).len() + compare_page::page(&comparison).len()
    });
    println!("open and list: {:.1} % of {BUDGET_S} s", list / BUDGET_S * 100.0);
    println!(
        "open, list and compare two with charts: {:.1} % of {BUDGET_S} s, {:.1} times the list",
        both / BUDGET_S * 100.0,
        both / list
    );
}

fn median<T>(mut work: impl FnMut() -> T) -> f64 {
    let mut seconds: Vec<f64> = (0..ROUNDS)
        .map(|_| {
            let began = Instant::now();
            black_box(work());
            began.elapsed().as_secs_f64()
        })
        .collect();
    seconds.sort_by(f64::total_cmp);
    seconds.get(seconds.len() / 2).copied().unwrap_or(f64::NAN)
}
