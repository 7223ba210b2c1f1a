//! The hazard table says what is so: its rows, its tests, its trips, its times, and what it leaves to hardware.

use copperhold::drill::{ELSEWHERE, Kind};
use copperhold_core::fast::{CLOCK_JUMP, LEASE};
use copperhold_core::guard::flow::{DRY_PATIENCE, PRIME};
use copperhold_core::guard::sense::{
    ALONE_AFTER, ASK_AFTER, CONTACT_PATIENCE, NO_CURRENT_PATIENCE, UNASKED_CURRENT_PATIENCE, UNCOVERED_PATIENCE,
};
use copperhold_core::guard::{LIMIT_PATIENCE, PROBE_PATIENCE};
use copperhold_core::units::Span;
use copperhold_core::wire::message::LONGEST_DEMAND_MS;
use copperhold_tests::trips;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

const TABLE: &str = include_str!("../hazards.md");
const README: &str = include_str!("../../README.md");
const GUIDE: &str = include_str!("../../DEVELOPERS.md");
const ROWS: usize = 38;

struct Row {
    number: usize,
    cells: Vec<String>,
}

impl Row {
    fn hardware(&self) -> &str {
        &self.cells[5]
    }

    fn tests(&self) -> Vec<&str> {
        quoted(&self.cells[6])
    }
}

fn rows() -> Vec<Row> {
    TABLE
        .lines()
        .filter(|line| line.starts_with("| H"))
        .map(|line| {
            let cells: Vec<String> = line.trim_matches('|').split('|').map(|cell| cell.trim().to_owned()).collect();
            assert_eq!(cells.len(), 7, "{line}");
            assert!(cells.iter().all(|cell| !cell.is_empty()), "an empty cell in {line}");
            let number = cells[0].strip_prefix('H').and_then(|n| n.parse().ok()).unwrap_or_else(|| panic!("{line}"));
            Row { number, cells }
        })
        .collect()
}

fn quoted(text: &str) -> Vec<&str> {
    text.split('`').skip(1).step_by(2).collect()
}

/// Names of all functions that are tests, in core, firmware, host and here.
fn tests_in_the_tree() -> BTreeSet<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut names = BTreeSet::new();
    let mut folders = vec![root.join("core/src"), root.join("firmware/src"), root.join("host-sim/src"), root.join("tests/tests")];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).expect("a folder of sources") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                let text = fs::read_to_string(&path).expect("a source file");
                for (_, rest) in text.match_indices("#[test]").map(|(at, mark)| text.split_at(at + mark.len())) {
                    let name = rest.trim_start().strip_prefix("fn ").and_then(|rest| rest.split_once('('));
                    names.extend(name.map(|(name, _)| name.to_owned()));
                }
            }
        }
    }
    assert!(names.len() > 300, "only {} tests found", names.len());
    names
}

#[test]
fn every_row_is_there_once_and_in_order() {
    let numbers: Vec<usize> = rows().iter().map(|row| row.number).collect();
    assert_eq!(numbers, (1..=ROWS).collect::<Vec<_>>());
}

#[test]
fn every_test_that_is_named_exists_and_every_row_with_a_reaction_names_one() {
    let known = tests_in_the_tree();
    for row in rows() {
        let named = row.tests();
        for name in &named {
            assert!(known.contains(*name), "H{}: there is no test {name}", row.number);
        }
        let reacts = !row.cells[3].starts_with("none");
        assert_eq!(!named.is_empty(), reacts, "H{}: {:?} with the tests {named:?}", row.number, row.cells[3]);
    }
}

#[test]
fn every_row_is_drilled_or_it_is_said_why_not() {
    let drilled = Kind::ALL.iter().flat_map(|kind| kind.name().0.split(' ')).filter(|row| *row != "-");
    let elsewhere: BTreeSet<&str> = ELSEWHERE.iter().map(|(row, _)| *row).collect();
    assert_eq!(elsewhere.len(), ELSEWHERE.len(), "one reason for each row");
    let drilled: BTreeSet<&str> = drilled.collect();
    assert_eq!(drilled.intersection(&elsewhere).count(), 0, "a row is drilled or not");
    let all: BTreeSet<String> = drilled.union(&elsewhere).map(|row| (*row).to_owned()).collect();
    assert_eq!(all, (1..=ROWS).map(|n| format!("H{n}")).collect());
}

#[test]
fn every_trip_is_the_reaction_to_some_row_and_no_other_is_named() {
    let rows = rows();
    let named: BTreeSet<String> = rows.iter().flat_map(|row| quoted(&row.cells[3])).map(str::to_owned).collect();
    assert_eq!(named, trips::variants());
}

#[test]
fn times_beside_a_constant_are_its_own() {
    for (name, span) in [
        ("ALONE_AFTER", ALONE_AFTER),
        ("ASK_AFTER", ASK_AFTER),
        ("CLOCK_JUMP", CLOCK_JUMP),
        ("CONTACT_PATIENCE", CONTACT_PATIENCE),
        ("DRY_PATIENCE", DRY_PATIENCE),
        ("LEASE", LEASE),
        ("LIMIT_PATIENCE", LIMIT_PATIENCE),
        ("LONGEST_DEMAND_MS", Span::from_millis(u64::from(LONGEST_DEMAND_MS))),
        ("NO_CURRENT_PATIENCE", NO_CURRENT_PATIENCE),
        ("PRIME", PRIME),
        ("PROBE_PATIENCE", PROBE_PATIENCE),
        ("STALE_S", Span::from_millis((copperhold::watch::state::STALE_S * 1_000.0) as u64)),
        ("UNASKED_CURRENT_PATIENCE", UNASKED_CURRENT_PATIENCE),
        ("UNCOVERED_PATIENCE", UNCOVERED_PATIENCE),
    ] {
        let seconds = span.as_millis() as f64 / 1_000.0;
        let all = TABLE.matches(&format!("`{name}`")).count();
        let right = TABLE.matches(&format!("`{name}` {seconds} s")).count();
        assert!(all > 0 && all == right, "`{name}` is {seconds} s; {right} of {all} say so");
    }
}

#[test]
fn b8_the_readme_lists_exactly_the_rows_that_hardware_or_a_person_must_cover() {
    let (_, list) = README.split_once("### What hardware and people must do").expect("the README's list");
    let list = list.split("\n#").next().expect("its text");
    let listed: BTreeSet<usize> = list
        .split(|c: char| !c.is_alphanumeric())
        .filter_map(|word| word.strip_prefix('H'))
        .filter_map(|n| n.parse().ok())
        .collect();
    let needed: BTreeSet<usize> = rows().iter().filter(|row| !row.hardware().starts_with("none")).map(|row| row.number).collect();
    assert_eq!(listed, needed);
}

#[test]
fn the_guide_and_the_readme_lead_to_the_table() {
    assert!(GUIDE.contains("(tests/hazards.md)") && README.contains("(tests/hazards.md)"));
}
