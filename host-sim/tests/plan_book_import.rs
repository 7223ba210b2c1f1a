//! The commands as a person gives them: what they print, and exit code 2 with place and remedy for bad input.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn copperhold(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_copperhold"))
        .args(arguments)
        .current_dir(env!("CARGO_TARGET_TMPDIR"))
        .output()
        .expect("the program runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("output is UTF-8")
}

fn fresh(name: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("commands-{}-{name}", std::process::id()));
    let _ = std::fs::remove_file(&path);
    path
}

/// Runs what must be refused: exit code 2, nothing on standard output, and these words on standard error.
fn refused(arguments: &[&str], words: &[&str]) {
    let output = copperhold(arguments);
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
    assert_eq!(text(&output.stdout), "", "{arguments:?}");
    for word in words {
        assert!(said.contains(word), "{arguments:?}: no {word:?} in\n{said}");
    }
}

#[test]
fn bad_times_prices_and_shares_are_refused_with_what_to_write() {
    refused(&["plan", "--boil-at", "25:00"], &["--boil-at", "write it as 14:00"]);
    refused(&["plan", "--boil-at", "14:00", "--begin-at", "9:00"], &["cannot be used with"]);
    for price in ["-1", "0,32", "free", "NaN", "inf"] {
        refused(&["plan", &format!("--price={price}")], &["0.32"]);
    }
    for share in ["0", "101", "75 kg", ""] {
        refused(&["plan", "--efficiency", share], &["75"]);
    }
    refused(&["rehearse", "--speed", "0"], &["0.01 to 100000"]);
}

#[test]
fn a_rig_that_is_too_small_is_told_by_place() {
    let rig = concat!(env!("CARGO_MANIFEST_DIR"), "/rigs/small-230v.toml");
    refused(&["plan", "--rig", rig], &["holds 25 L", "the built-in sheet:11:8", "help: lower the volumes"]);
    refused(&["plan", "no-such-sheet.toml"], &["no-such-sheet.toml", "check the path"]);
}

#[test]
fn the_logbook_is_written_shown_measured_compared_and_exported() {
    let book = fresh("book.db");
    let book = book.to_str().unwrap();
    refused(&["book", "list", "--book", book], &["there is no logbook", "--book FILE"]);
    for seed in ["1", "2"] {
        let output = copperhold(&["rehearse", "--seed", seed, "--book", book]);
        assert!(output.status.success(), "{}", text(&output.stderr));
        assert!(text(&output.stdout).starts_with(&format!("Day {seed} in ")));
    }
    assert_eq!(text(&copperhold(&["book", "list", "--book", book]).stdout).lines().count(), 2);
    assert!(copperhold(&["book", "note", "1", "the sparge ran slow", "--book", book]).status.success());
    let measured = copperhold(&["book", "measure", "1", "pre-boil-volume", "31 L", "--at", "90 C", "--book", book]);
    // 31 L at 90 C: density 965.3 against 998.2 kg/m3 (IAPWS), 29.98 L.
    assert!(text(&measured.stdout).contains("29.98 L at 20 C"), "{}", text(&measured.stdout));
    assert!(copperhold(&["book", "measure", "1", "pre-boil-gravity", "1.050", "--book", book]).status.success());
    let shown = text(&copperhold(&["book", "show", "1", "--book", book]).stdout);
    for words in [
        "the sparge ran slow",
        "efficiency into the kettle",
        "learned liquor_tank.slope_k_per_s",
        "Lantern Row amber on Millrace Shed",
    ] {
        assert!(shown.contains(words), "no {words:?} in\n{shown}");
    }
    assert!(copperhold(&["book", "measure", "1", "post-boil-volume", "26 L", "--book", book]).status.success());
    let planned = text(&copperhold(&["plan", "--book", book]).stdout);
    assert!(planned.contains("as measured on one day"), "{planned}");
    let again = copperhold(&["book", "measure", "1", "post-boil-volume", "26 L", "--book", book]);
    assert!(text(&again.stdout).contains("Learned: ") && text(&again.stdout).contains("made no vapour"), "{}", text(&again.stdout));
    let wrong = copperhold(&["book", "measure", "2", "pre-boil-volume", "31 L", "--book", book]);
    assert!(!text(&wrong.stdout).contains("Learned"), "one volume teaches nothing");
    let wrong = copperhold(&["book", "measure", "2", "post-boil-volume", "32 L", "--book", book]);
    assert!(text(&wrong.stdout).contains("teach nothing"), "{}", text(&wrong.stdout));
    let page = fresh("compared.html");
    let compared = copperhold(&["book", "compare", "1", "2", "--book", book, "--report", page.to_str().unwrap()]);
    assert!(text(&compared.stdout).contains("What differed"), "{}", text(&compared.stdout));
    assert!(std::fs::read_to_string(&page).unwrap().contains("Day 1 and day 2"));
    let exported = text(&copperhold(&["book", "export", "1", "--format", "csv", "--book", book]).stdout);
    assert!(exported.starts_with("utc,t_s,liquor_tank_c") && exported.lines().count() > 10_000);

    refused(&["book", "show", "7", "--book", book], &["there is no day 7", "days 1 to 2"]);
    refused(&["book", "note", "7", "x", "--book", book], &["there is no day 7"]);
    refused(&["book", "measure", "1", "pre-boil-volume", "27", "--book", book], &["write 27 L"]);
    refused(&["book", "measure", "1", "colour", "27", "--book", book], &["original-gravity"]);
    refused(&["book", "measure", "1", "pre-boil-volume", "27 L", "--at", "hot", "--book", book], &["30 C"]);
    refused(&["book", "export", "1", "--format", "csv", "--out", "/no/such/folder/x.csv", "--book", book], &["could not write"]);
    let sheet = concat!(env!("CARGO_MANIFEST_DIR"), "/sheets/demo.toml");
    refused(&["book", "list", "--book", sheet], &["is not a logbook"]);
}

#[test]
fn a_recipe_becomes_a_sheet_and_never_overwrites_one() {
    let recipes = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/recipes");
    let sheet = fresh("imported.toml");
    let sheet = sheet.to_str().unwrap();
    let xml = format!("{recipes}/harbour-lane.xml");
    let output = copperhold(&["import", &xml, "--out", sheet]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    assert!(text(&output.stderr).contains("Not carried over:") && text(&output.stderr).contains("Assumed:"));
    assert!(copperhold(&["plan", sheet]).status.success());
    refused(&["import", &xml, "--out", sheet], &["cannot be written", "give a new name"]);
    refused(&["import", &xml, "--recipe", "2"], &["holds 1 recipes", "--recipe N"]);
    refused(&["import", sheet], &["neither XML nor JSON"]);
    refused(&["import", "/no/such/recipe.xml"], &["check the path"]);
    // A rig that is too small: the sheet is written all the same, and the exit code says that it cannot be brewed.
    let rig = fresh("tiny.toml");
    let tiny = "liquor_tank = { element = \"1500 W\" }\nmash_tun = { probe = \"pt100\" }\nboil_kettle = { element = \"1500 W\" }\n";
    std::fs::write(&rig, tiny).unwrap();
    let output = copperhold(&["import", &xml, "--rig", rig.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1), "{}", text(&output.stderr));
    assert!(text(&output.stdout).contains("[[step]]") && text(&output.stderr).contains("cannot brew this sheet as it stands"));
}
