//! The program itself with a board at the other end of a pseudo-terminal: the day in the logbook, and what becomes of the heat when it dies.

use copperhold::logbook::{Logbook, StoredDay};
use copperhold_core::wire::message::LONGEST_DEMAND_MS;
use copperhold_tests::fake_board::{Bench, bench, board, until};
use copperhold_tests::watched::{Watched, root};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// A new path for a logbook.
fn fresh(name: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}-{}.db", std::process::id()));
    for end in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{end}", path.display()));
    }
    path
}

fn file(name: &str) -> PathBuf {
    root().join("host-sim").join(name)
}

/// A watch of this board that writes into this book, with the demo's sheet and rig.
fn watch(port: &str, book: &Path) -> Watched {
    let (sheet, rig) = (file("sheets/demo.toml"), file("rigs/demo.toml"));
    let flags = [sheet.as_os_str(), "--rig".as_ref(), rig.as_os_str(), "--port".as_ref(), port.as_ref(), "--book".as_ref()];
    Watched::start(flags.into_iter().chain([book.as_os_str()]))
}

fn day(book: &Path) -> Option<StoredDay> {
    let book = Logbook::open_existing(book).ok()?;
    let last = book.days().ok()?.last()?.number;
    book.day(last).ok()
}

fn act(watch: &Watched, body: &str) {
    let (status, _, said) = watch.page.post("/api/act", &watch.page.good(), body);
    assert_eq!(status, 200, "{body}: {said}");
}

/// The strike water is filled in, heats, and the stop is hit.
fn a_short_day(bench: &Arc<Bench>, watch: &Watched, book: &Path) {
    until("a sample is written", || day(book).is_some_and(|day| !day.day.samples.is_empty()));
    bench.armed.store(true, Ordering::SeqCst);
    bench.start.store(true, Ordering::SeqCst);
    until("the step is written", || day(book).is_some_and(|day| !day.day.steps.is_empty()));
    act(watch, "{\"act\":\"answer\",\"step\":0,\"prompt\":\"fill_tank\"}");
    until("it heats", || bench.heats.load(Ordering::SeqCst));
    until("the answer is written", || day(book).is_some_and(|day| !day.day.prompts.is_empty()));
    until("the heat is written", || day(book).is_some_and(|day| day.day.energy.total_kwh() > 0.0 || day.finished));
    bench.stopped.store(true, Ordering::SeqCst);
    until("the trip is written", || day(book).is_some_and(|day| !day.day.trips.is_empty()));
}

fn judge(stored: &StoredDay) {
    assert!(!stored.rehearsed, "it was brewed on a board");
    let read = |name| std::fs::read_to_string(file(name)).expect("shipped");
    assert_eq!((&stored.sheet_text, &stored.rig_text), (&read("sheets/demo.toml"), &read("rigs/demo.toml")));
    let demo = copperhold::files::demo_sheet().expect("shipped");
    let first = &stored.day.steps[0];
    assert_eq!((&stored.day.sheet, &first.name), (&demo.name, &demo.steps[0].name));
    assert!(stored.day.prompts[0].text.contains("30"), "with its volume: {:?}", stored.day.prompts);
    assert!(stored.day.prompts[0].answered_s >= stored.day.prompts[0].asked_s);
    assert!(!stored.day.trips[0].cause.is_empty() && !stored.day.trips[0].remedy.is_empty());
    let samples = &stored.day.samples;
    assert!(samples.iter().all(|sample| sample.t_s.fract() == 0.0 && sample.reading_c.mash_tun == Some(20.0)));
    assert!(samples.windows(2).all(|pair| pair[0].t_s < pair[1].t_s));
    assert!(samples.iter().any(|sample| sample.setpoint_c.liquor_tank == Some(66.0) && sample.duty.liquor_tank > 0.0));
    assert!(stored.day.energy.element_kwh.liquor_tank > 0.0 && stored.day.energy.element_kwh.boil_kettle == 0.0);
}

#[test]
fn a_boards_day_is_in_the_book_with_its_files_when_the_program_is_killed() {
    let (bench, book) = (bench(), fresh("board-killed"));
    let mut watch = watch(&board(&bench), &book);
    a_short_day(&bench, &watch, &book);
    let seen = day(&book).expect("a day");
    watch.kill();
    Logbook::open_existing(&book).expect("a book").check().expect("whole");
    let stored = day(&book).expect("a day");
    assert!(!stored.finished && stored.day.samples.starts_with(&seen.day.samples), "what was seen is there");
    judge(&stored);
}

#[test]
fn a_boards_day_is_closed_at_the_end_and_goes_on_after_a_restart_of_the_board() {
    let (bench, book) = (bench(), fresh("board-closed"));
    let mut watch = watch(&board(&bench), &book);
    a_short_day(&bench, &watch, &book);
    let before = day(&book).expect("a day").day.samples.len();
    bench.stopped.store(false, Ordering::SeqCst);
    bench.session.store(12, Ordering::SeqCst);
    until("it goes on", || day(&book).is_some_and(|day| day.day.samples.len() > before + 2));
    watch.interrupt();
    let stored = day(&book).expect("a day");
    assert!(stored.finished);
    assert_eq!(stored.number, 1, "one day");
    judge(&stored);
}

#[test]
fn s10_the_heat_ends_within_its_lease_when_the_program_is_killed_and_its_successor_does_not_bring_it_back() {
    let (bench, book) = (bench(), fresh("board-s10"));
    bench.armed.store(true, Ordering::SeqCst);
    let port = board(&bench);
    let mut first = watch(&port, &book);
    until("it is live", || day(&book).is_some());
    act(&first, "{\"act\":\"target\",\"vessel\":\"liquor_tank\",\"target_c\":60}");
    until("it heats", || bench.heats.load(Ordering::SeqCst));
    first.kill();
    let killed_ms = bench.now_ms.load(Ordering::SeqCst);
    until("the heat ends", || !bench.heats.load(Ordering::SeqCst));
    let after_ms = bench.heated_ms.load(Ordering::SeqCst).saturating_sub(killed_ms);
    println!("the last tick with heat came {after_ms} ms after the kill; a demand lasts {LONGEST_DEMAND_MS} ms");
    // One turn of the board may lie between the kill and the look at its clock.
    assert!(after_ms <= u64::from(LONGEST_DEMAND_MS) + 250);
    let second = watch(&port, &book);
    until("the next watch is live", || day(&book).is_some_and(|day| day.number == 2 && day.day.samples.len() > 3));
    std::thread::sleep(Duration::from_secs(1));
    assert!(!bench.heats.load(Ordering::SeqCst) && bench.armed.load(Ordering::SeqCst));
    // Its own words are no replay of the first one's, though it speaks in the same session.
    act(&second, "{\"act\":\"target\",\"vessel\":\"liquor_tank\",\"target_c\":60}");
    until("it heats again", || bench.heats.load(Ordering::SeqCst));
}
