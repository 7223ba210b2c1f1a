//! The live page in a real browser: a whole day, a trip, a lost link, on phone and desktop, light and dark. Screenshots are left in
//! `target/watch-shots`. Needs node and Debian's chromium; `tests/run` installs the browser, this test the locked package.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::time::Duration;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The command as it is built beside this test, and the browser's driver, installed as it is locked.
fn copperhold() -> &'static Path {
    static BUILT: OnceLock<PathBuf> = OnceLock::new();
    BUILT.get_or_init(|| {
        let built = Command::new(env!("CARGO")).args(["build", "--locked", "-p", "copperhold"]).current_dir(root()).status();
        assert!(built.expect("cargo runs").success());
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("browser");
        if !folder.join("node_modules/playwright-core/package.json").is_file() {
            let npm = Command::new("npm").args(["ci", "--no-audit", "--no-fund"]).current_dir(&folder).status();
            assert!(npm.expect("npm runs").success());
        }
        let test = std::env::current_exe().expect("a path");
        test.ancestors().nth(2).expect("a folder").join("copperhold")
    })
}

struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Runs a watch with these flags and drives the browser over it; gives what was seen.
fn drive(what: &str, port: u16, flags: &[&str]) -> Value {
    let shots = root().join("target/watch-shots");
    std::fs::create_dir_all(&shots).expect("a folder");
    let chromium = ["/usr/bin/chromium", "/usr/bin/chromium-browser"].into_iter().find(|path| Path::new(path).exists());
    let chromium = chromium.expect("chromium is installed: apt-get install chromium");
    let watch = Command::new(copperhold())
        .args(["watch", "--rehearse", "--http", &port.to_string()])
        .args(flags)
        .stdout(Stdio::null())
        .spawn()
        .expect("it runs");
    let watch = Running(watch);
    while std::net::TcpStream::connect(("127.0.0.1", port)).is_err() {
        std::thread::sleep(Duration::from_millis(100));
    }
    let output = Command::new("node")
        .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("browser/watch.mjs"))
        .args([chromium, &format!("http://127.0.0.1:{port}/")])
        .arg(&shots)
        .args([what, &watch.0.id().to_string()])
        .stderr(Stdio::inherit())
        .output()
        .expect("node runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stdout));
    let seen: Value = serde_json::from_slice(&output.stdout).expect("one line of JSON");
    assert_eq!(seen["foreign"], serde_json::json!([]), "nothing is fetched from elsewhere");
    assert_eq!(seen["errors"], serde_json::json!([]), "{seen}");
    assert_eq!(seen["scrollsSideways"], false);
    assert!(seen["source"].as_str().is_some_and(|text| text.starts_with("Rehearsal")), "it says what it is");
    seen
}

#[test]
fn a_whole_day_passes_on_the_page_with_its_prompts_and_additions() {
    let seen = drive("day", 18_431, &["--speed", "900"]);
    let steps: Vec<&str> = seen["steps"].as_array().expect("steps").iter().filter_map(Value::as_str).collect();
    for step in ["Sparge", "Boil", "Chill", "The day is over"] {
        assert!(steps.contains(&step), "{steps:?}");
    }
    assert!(seen["prompts"].as_u64() > Some(3));
    let additions = seen["additions"].to_string();
    for name in ["Tarnholm hops", "Kettle finings", "Sedgewick hops"] {
        assert!(additions.contains(name), "{additions}");
    }
    assert!(seen["curve"].as_u64() > Some(200), "the chart has a curve");
    assert_eq!(seen["shots"], serde_json::json!(["rest", "prompt", "boil", "over"]));
    assert_eq!(seen["focus"], true, "every control can be reached by keyboard and has a name");
}

#[test]
fn a_trip_takes_the_page_with_its_cause_and_what_to_do() {
    let seen = drive("trip", 18_432, &["--speed", "120", "--drill", "probe-wire-broken", "--drill-at", "5 min"]);
    let trip = seen["trip"].as_str().expect("a trip");
    assert!(trip.contains("the liquor tank probe is disconnected") && trip.contains("Push the plug home"), "{trip}");
    assert!(trip.contains("cannot be acknowledged from here"));
}

#[test]
fn h36_a_killed_watch_greys_the_page_and_says_so_in_plain_words() {
    let seen = drive("lost", 18_433, &["--speed", "600"]);
    let lost = seen["lost"].as_str().expect("a bar");
    assert!(lost.contains("No news from the watch program") && lost.contains("old. Go and look at the panel"), "{lost}");
}
