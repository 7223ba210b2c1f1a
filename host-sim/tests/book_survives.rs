//! The logbook against `kill -9`: a rehearsal that keeps to a speed is written down sample by sample and killed at random moments. Whatever
//! another program could see in the book just before must be there afterwards, without a gap, in a file that opens clean.
//!
//! 20 kills; 100 with `COPPERHOLD_LONG=yes` in the environment. The seed is printed, and taken from `COPPERHOLD_SEED` if that is set.

use copperhold::logbook::{Logbook, StoredDay};
use copperhold::plant::rng::Pcg;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

fn kills() -> u32 {
    if std::env::var("COPPERHOLD_LONG").is_ok_and(|long| long == "yes") { 100 } else { 20 }
}

fn seed() -> u64 {
    std::env::var("COPPERHOLD_SEED").ok().map_or(6, |text| text.parse().expect("COPPERHOLD_SEED is a number"))
}

/// A new path under the folder that cargo gives to this test.
fn fresh(name: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}-{}.db", std::process::id()));
    for end in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{end}", path.display()));
    }
    path
}

/// The program, run where what it writes by default does no harm.
fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_copperhold"));
    command.current_dir(env!("CARGO_TARGET_TMPDIR"));
    command
}

/// A rehearsal, alone or watched, that keeps to a speed and is written down.
fn rehearse(flags: &[&str], book: &Path) -> Child {
    let mut command = program();
    command.args(flags).args(["--speed", "3000", "--book"]).arg(book);
    command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("the program starts")
}

/// What a reader sees: the last day's number and its last sample, s. `None` while there is no day yet.
fn seen(path: &Path) -> Option<(i64, f64)> {
    let book = Logbook::open_existing(path).ok()?;
    let days = book.days().ok()?;
    days.last().map(|day| (day.number, day.length_s))
}

/// Waits for the book's day number `day` to have a sample.
fn wait_for(path: &Path, day: i64) {
    let patience = Instant::now() + Duration::from_secs(60);
    while !seen(path).is_some_and(|(number, last_s)| number == day && last_s > 0.0) {
        assert!(Instant::now() < patience, "day {day} did not begin within a minute");
        std::thread::sleep(Duration::from_millis(2));
    }
}

fn without_gaps(day: &StoredDay) {
    for (index, sample) in day.day.samples.iter().enumerate() {
        assert_eq!(sample.t_s, index as f64, "day {}: a gap", day.number);
    }
}

#[test]
fn no_sample_that_was_seen_is_lost_over_kills_at_random_moments() {
    killed_again_and_again("killed", kills(), &["rehearse"]);
}

#[test]
fn nor_is_one_of_a_watched_rehearsal() {
    killed_again_and_again("watched", kills() / 4, &["watch", "--rehearse", "--http", "0"]);
}

fn killed_again_and_again(name: &str, kills: u32, flags: &[&str]) {
    let seed = seed();
    println!("{kills} kills, seed {seed}");
    let path = fresh(name);
    let mut random = Pcg::new(seed, 9);
    let mut within_a_day = 0;
    for kill in 1..=kills {
        let mut child = rehearse(flags, &path);
        wait_for(&path, i64::from(kill));
        std::thread::sleep(Duration::from_micros((random.uniform() * 400_000.0) as u64));
        // Half of the kills come with a reader attached, half without.
        let reader = (random.uniform() < 0.5).then(|| Logbook::open_existing(&path).expect("readable while written"));
        let (number, last_s) = seen(&path).expect("readable while written");
        child.kill().expect("the program can be killed");
        child.wait().expect("the program ends");
        drop(reader);

        let book = Logbook::open_existing(&path).unwrap_or_else(|error| panic!("kill {kill}: {error}"));
        book.check().unwrap_or_else(|error| panic!("kill {kill}: {error}"));
        let day = book.day(number).unwrap_or_else(|error| panic!("kill {kill}: {error}"));
        assert_eq!(number, i64::from(kill));
        assert!(!day.finished, "kill {kill} came after the day's end; lower the speed");
        let there = day.day.samples.last().map_or(-1.0, |sample| sample.t_s);
        assert!(there >= last_s, "kill {kill}: {last_s} s were seen, {there} s are there");
        without_gaps(&day);
        assert!(!day.day.steps.is_empty() && day.day.energy.total_kwh() >= 0.0);
        within_a_day += 1;
    }
    assert_eq!(within_a_day, kills);
    // And none of the earlier days was harmed by what came after.
    let book = Logbook::open_existing(&path).unwrap();
    for entry in book.days().unwrap() {
        without_gaps(&book.day(entry.number).unwrap());
    }
    let lengths: Vec<f64> = book.days().unwrap().iter().map(|entry| entry.length_s).collect();
    let (shortest, longest) = lengths.iter().fold((f64::INFINITY, 0.0_f64), |(a, b), s| (a.min(*s), b.max(*s)));
    println!("days of {shortest} to {longest} s when killed");
    assert!(longest > shortest, "every kill came at the same moment");
}

#[test]
fn a_day_runs_to_its_end_after_another_was_killed_in_the_same_book() {
    let path = fresh("continued");
    let mut child = rehearse(&["rehearse"], &path);
    wait_for(&path, 1);
    child.kill().unwrap();
    child.wait().unwrap();
    let done = program().args(["rehearse", "--book"]).arg(&path).output().unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let listed = program().args(["book", "list", "--book"]).arg(&path).output().unwrap();
    let text = String::from_utf8(listed.stdout).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines.len(), 2, "{text}");
    assert!(lines[0].contains("not written to its end") && !lines[1].contains("not written to its end"), "{text}");
    // One file again: the helpers are gone after a clean end.
    assert!(!Path::new(&format!("{}-wal", path.display())).exists());
}
