//! The core gives the same bits on the microcontroller's processor as on this machine.
//!
//! A scripted day (`tests/same_bits`: heat control, burst-fire, cascade, boil, every step of a sheet, trips, every kind of probe) runs here
//! with overflow checks, and in the emulated M0+ as it is optimised for the image. Every control tick's word must agree.

use copperhold_same_bits::{Day, TICKS, WORDS, corners, words};
use copperhold_tests::emulator;
use copperhold_tests::flash::build_same_bits;
use std::process::Command;

#[test]
fn a_scripted_day_gives_the_same_bits_on_the_microcontroller() {
    let mut day = Day::new().expect("the rig is in order");
    let mut here: Vec<u64> = day.by_ref().collect();
    let shown = *day.shown();
    println!("{shown:?}");
    assert_eq!(here.len(), TICKS);
    assert!(shown.heated.liquor_tank > 500 && shown.heated.boil_kettle > 500, "both were heated: {shown:?}");
    assert!(shown.mashed > 300 && shown.to_the_boil > 500, "the cascade and the boil had their turn: {shown:?}");
    assert!(shown.learned && shown.steps >= 10 && shown.trips >= 2, "every step ran, and there were mishaps: {shown:?}");

    here.push(corners());
    emulator::install();
    let elf = build_same_bits().expect("the program builds");
    let output =
        Command::new("node").arg(emulator::folder().join("bits.mjs")).arg(&elf).arg(WORDS.to_string()).output().expect("node runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    println!("emulated: {}", said.trim());
    let text = String::from_utf8(output.stdout).expect("text");
    let there: Vec<u64> = text.lines().map(|line| u64::from_str_radix(line, 16).expect("a word")).collect();
    assert_eq!(there.len(), WORDS);
    let first = here.iter().zip(&there).position(|(a, b)| a != b);
    assert_eq!(first, None, "the first control tick that differs");
}

/// Learning between ticks, as the board does it, and in them, as a rehearsal does it, are one.
#[test]
fn learning_ahead_of_the_tick_changes_nothing() {
    let days = [Day::new(), Day::studious()].map(|day| day.expect("the rig is in order"));
    let [here, ahead] = days.map(|mut day| (day.by_ref().collect::<Vec<u64>>(), day.shown().learned));
    assert!(here.1, "there was something to learn");
    let first = here.0.iter().zip(&ahead.0).position(|(a, b)| a != b);
    assert_eq!((here.0.len(), first), (ahead.0.len(), None), "the first control tick that differs");
}

/// T2: debug (here, with overflow checks) and release (what is shipped, without) are one program.
#[test]
fn t2_debug_and_release_give_the_same_outputs() {
    assert!(std::hint::black_box(cfg!(debug_assertions)), "this test is the debug side; run it without --release");
    let here: Vec<u64> = words().collect();
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the workspace has a root");
    let output = Command::new("cargo")
        .args(["run", "--release", "--quiet", "--locked", "--package", "copperhold-same-bits", "--bin", "same-bits"])
        .current_dir(root)
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).expect("text");
    let there: Vec<u64> = text.lines().map(|line| u64::from_str_radix(line, 16).expect("a word")).collect();
    assert_eq!(there.len(), WORDS);
    let first = here.iter().zip(&there).position(|(a, b)| a != b);
    assert_eq!((here.len(), first), (WORDS, None), "the first control tick that differs");
}

#[test]
fn the_emulated_processor_adds_and_subtracts_as_the_architecture_says() {
    emulator::install();
    let output = Command::new("node").arg(emulator::folder().join("arithmetic.mjs")).output().expect("node runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    // Seven operations on pairs of eleven words, with and without carry.
    assert_eq!(String::from_utf8_lossy(&output.stdout).trim(), (7 * 11 * 11 * 2).to_string());
}

#[test]
fn the_swift_processor_does_what_the_packages_own_does() {
    emulator::install();
    let elf = build_same_bits().expect("the program builds");
    let count = 20_000_000.to_string();
    let output =
        Command::new("node").arg(emulator::folder().join("swift-check.mjs")).arg(&elf).arg(&count).output().expect("node runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    assert_eq!(String::from_utf8_lossy(&output.stdout).trim(), count);
}
