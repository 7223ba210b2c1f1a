//! The command as a user runs it: the built binary, its files, its messages and its exit codes.

use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A folder of its own for one test, removed at the end.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("copperhold-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).expect("a temporary folder");
        Folder(path)
    }

    fn file(&self, name: &str, text: &str) -> PathBuf {
        let path = self.0.join(name);
        fs::write(&path, text).expect("a temporary file");
        path
    }

    fn names(&self) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(&self.0)
            .expect("readable")
            .map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn copperhold(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_copperhold")).args(args).current_dir(folder).env("NO_COLOR", "1").output().expect("it runs")
}

fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn json(path: &Path) -> Value {
    serde_json::from_str(&fs::read_to_string(path).expect("the file is there")).expect("it is JSON")
}

/// The figures of the built-in day.
fn demo_day() -> Value {
    let folder = Folder::new("demo");
    let output = copperhold(&folder.0, &["rehearse", "--json", "day.json"]);
    assert!(output.status.success(), "{}", stderr(&output));
    json(&folder.0.join("day.json"))
}

#[test]
fn with_no_arguments_the_demo_day_is_rehearsed_and_reported() {
    let folder = Folder::new("no-arguments");
    let output = copperhold(&folder.0, &[]);
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    for word in ["The day went well", "Heat strike", "Chill", "boil-off", "copperhold-report.html"] {
        assert!(text.contains(word), "{word} is missing from\n{text}");
    }
    assert_eq!(folder.names(), ["copperhold-report.html"]);
    let page = fs::read_to_string(folder.0.join("copperhold-report.html")).expect("the report");
    assert!(page.starts_with("<!doctype html>") || page.starts_with("<!DOCTYPE html>"), "{}", &page[..60]);
}

#[test]
fn the_demo_day_is_safe_and_good() {
    let day = demo_day();
    assert_eq!(day["schema"], 1);
    assert_eq!(day["two_elements_ticks"], 0);
    assert_eq!(day["trips"].as_array().map(Vec::len), Some(0));
    assert_eq!(day["advice"].as_array().map(Vec::len), Some(0), "nothing to advise: no boil-over above all");
    assert_eq!(day["steps"].as_array().map(Vec::len), Some(11));
    let heat_up = &day["vessels"]["liquor_tank"]["heat_ups"][0];
    let ratio = heat_up["seconds"].as_f64().expect("seconds") / heat_up["least_seconds"].as_f64().expect("least");
    assert!((1.0..1.01).contains(&ratio), "first heat-up took {ratio} of the least possible time");
    assert!(heat_up["overshoot_c"].as_f64().expect("overshoot") < 0.1, "{heat_up}");
    // 60 % of 4.5 kW less the loss of an open 42 cm kettle.
    let boil_off = day["volumes"]["boil_off_l_per_h"].as_f64().expect("boil-off");
    assert!((2.5..4.5).contains(&boil_off), "{boil_off} L/h");
}

#[test]
fn the_energy_account_of_a_whole_day_closes_within_a_thousandth() {
    for (sheet, rig) in [("demo", "demo"), ("small", "small-230v"), ("large", "large-240v")] {
        let rig = copperhold::files::load_rig(&shipped("rigs", rig)).expect("a shipped rig");
        let sheet = copperhold::files::load_sheet(&shipped("sheets", sheet)).expect("a shipped sheet");
        let day = copperhold::rehearse::Rehearsal::new(&rig, &sheet, 3).expect("they fit").run(|_| ()).expect("the day ends");
        assert!(day.energy.total_kwh() > 3.0, "a day takes energy: {:?}", day.energy);
        assert!(day.energy.imbalance().abs() < 1e-3, "{} kWh: {:?}", day.energy.imbalance(), day.energy);
        assert!(day.trips.is_empty(), "{:?}", day.trips);
        assert_eq!(day.two_elements_ticks, 0);
    }
}

fn shipped(folder: &str, name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(folder).join(name).with_extension("toml")
}

#[test]
fn the_same_seed_gives_the_same_files_and_another_seed_another_day() {
    let folder = Folder::new("seeds");
    for (seed, name) in [("5", "a"), ("5", "b"), ("6", "c")] {
        let (json, page) = (format!("{name}.json"), format!("{name}.html"));
        let output = copperhold(&folder.0, &["--seed", seed, "--json", &json, "--report", &page]);
        assert!(output.status.success(), "{}", stderr(&output));
    }
    let bytes = |name: &str| fs::read(folder.0.join(name)).expect("written");
    assert_eq!(bytes("a.json"), bytes("b.json"));
    assert_eq!(bytes("a.html"), bytes("b.html"));
    assert_ne!(bytes("a.json"), bytes("c.json"));
}

/// Runs with a mistake: exit code 2, a message with every part, and no new file.
#[track_caller]
fn refused(folder: &Folder, args: &[&str], parts: &[&str]) {
    let before = folder.names();
    let output = copperhold(&folder.0, args);
    let text = stderr(&output);
    assert_eq!(output.status.code(), Some(2), "{args:?}: {text}");
    for part in parts {
        assert!(text.contains(part), "\"{part}\" is missing from\n{text}");
    }
    assert_eq!(folder.names(), before, "no partial file is left");
}

const RIG: &str = "liquor_tank = { element = \"5500 W\", probe = \"pt100\" }\nmash_tun = { probe = \"ds18b20\" }\n\
                   boil_kettle = { element = \"5500 W\", probe = \"pt100\" }\n";

#[test]
fn mistakes_in_files_are_shown_with_place_and_remedy() {
    let folder = Folder::new("mistakes");
    let sheet = |to: &str| format!("grain = \"5 kg\"\n[[step]]\ndo = \"heat strike\"\nfill = \"30 L\"\nto = \"{to}\"\n");
    folder.file("rig.toml", RIG);
    folder.file("unknown.toml", &RIG.replace("liquor_tank", "liqour_tank"));
    folder.file("unit.toml", &RIG.replace("5500 W\", probe = \"pt100\" }\nm", "38 L\", probe = \"pt100\" }\nm"));
    folder.file("negative.toml", &RIG.replace("mash_tun = {", "mash_tun = { capacity = \"-40 L\","));
    folder.file("no-element.toml", &RIG.replace("liquor_tank = { element = \"5500 W\", ", "liquor_tank = { "));
    folder.file("hot.toml", &sheet("104 C"));
    folder.file("fine.toml", &sheet("71 C"));
    folder.file("kettle-less.toml", &RIG.lines().filter(|line| !line.starts_with("boil")).collect::<Vec<_>>().join("\n"));
    folder.file("boil.toml", &format!("{}[[step]]\ndo = \"bring to boil\"\n", sheet("71 C")));

    let out = ["--json", "out.json", "--report", "out.html"];
    let with = |args: &[&'static str]| [args, &out].concat();
    refused(&folder, &with(&["--rig", "unknown.toml"]), &["unknown.toml:1", "liqour_tank", "liquor_tank", "help"]);
    refused(&folder, &with(&["--rig", "unit.toml"]), &["unit.toml:1", "power", "help"]);
    refused(&folder, &with(&["--rig", "negative.toml"]), &["negative.toml:2", "-40 L", "help"]);
    refused(&folder, &with(&["rehearse", "fine.toml", "--rig", "no-element.toml"]), &["element", "help"]);
    refused(&folder, &with(&["rehearse", "hot.toml", "--rig", "rig.toml"]), &["hot.toml:5", "104 C", "boil", "help"]);
    refused(&folder, &with(&["rehearse", "boil.toml", "--rig", "kettle-less.toml"]), &["boil.toml", "kettle", "help"]);
    refused(&folder, &with(&["--rig", "nowhere.toml"]), &["nowhere.toml", "cannot be read", "check the path"]);
}

#[test]
fn a_report_that_cannot_be_written_is_refused_and_nothing_is_left() {
    let folder = Folder::new("unwritable");
    refused(&folder, &["--report", "missing/report.html"], &["missing/report.html", "make the folder first"]);
    refused(&folder, &["--json", "."], &["add a file name"]);
}

#[test]
fn a_wrong_flag_is_bad_input() {
    let folder = Folder::new("flags");
    refused(&folder, &["--haste", "9"], &["--haste"]);
    refused(&folder, &["--speed", "0"], &["--speed"]);
    refused(&folder, &["--seed", "soon"], &["soon", "--seed"]);
}
