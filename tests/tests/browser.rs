//! The live page in a real browser: a whole day, a trip, a lost link, on phone and desktop, light and dark. Screenshots are left in
//! `target/watch-shots`. Needs node and Debian's chromium; `tests/run` installs the browser, this test the locked package.

use copperhold_tests::fake_board::{bench, board};
use copperhold_tests::http::Client;
use copperhold_tests::watched::{Watched, root};
use serde_json::Value;
use std::net::{IpAddr, SocketAddr, TcpStream, UdpSocket};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// The browser's driver, installed as it is locked.
fn driver() -> PathBuf {
    static INSTALLED: OnceLock<PathBuf> = OnceLock::new();
    let folder = INSTALLED.get_or_init(|| {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("browser");
        if !folder.join("node_modules/playwright-core/package.json").is_file() {
            let npm = Command::new("npm").args(["ci", "--no-audit", "--no-fund"]).current_dir(&folder).status();
            assert!(npm.expect("npm runs").success());
        }
        folder
    });
    folder.join("watch.mjs")
}

/// Runs a watched rehearsal with these flags and drives the browser over it; gives what was seen.
fn rehearse(what: &str, flags: &[&str]) -> Value {
    let watch = Watched::start(["--rehearse"].iter().chain(flags));
    let seen = drive(what, &watch, watch.page.0, "");
    assert!(seen["source"].as_str().is_some_and(|text| text.starts_with("Rehearsal")), "it says what it is");
    seen
}

/// Drives the browser over a watch at one of its addresses; gives what was seen.
fn drive(what: &str, watch: &Watched, address: SocketAddr, code: &str) -> Value {
    let shots = root().join("target/watch-shots");
    std::fs::create_dir_all(&shots).expect("a folder");
    let chromium = ["/usr/bin/chromium", "/usr/bin/chromium-browser"].into_iter().find(|path| Path::new(path).exists());
    let chromium = chromium.expect("chromium is installed: apt-get install chromium");
    let output = Command::new("node")
        .arg(driver())
        .args([chromium, &format!("http://{address}/")])
        .arg(&shots)
        .args([what, &watch.id().to_string(), code])
        .stderr(Stdio::inherit())
        .output()
        .expect("node runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stdout));
    let seen: Value = serde_json::from_slice(&output.stdout).expect("one line of JSON");
    assert_eq!(seen["foreign"], serde_json::json!([]), "nothing is fetched from elsewhere");
    assert_eq!(seen["errors"], serde_json::json!([]), "{seen}");
    assert_eq!(seen["scrollsSideways"], false);
    // WCAG 2.2, 1.4.3, level AA: 4.5 to 1 for text of any size.
    for page in seen["contrast"].as_array().expect("pages") {
        assert!(page[0].as_f64() >= Some(4.5) && page[2].as_u64() > Some(20), "{page}");
    }
    assert!(!["day", "trip", "hand"].contains(&what) || seen["contrast"].as_array().map(Vec::len) == Some(4));
    seen
}

/// An address of this machine that is not loopback: the one it would send from. Nothing is sent.
fn abroad() -> IpAddr {
    let socket = UdpSocket::bind("0.0.0.0:0").expect("a socket");
    socket.connect("192.0.2.1:9").expect("this machine has a network interface with a route");
    socket.local_addr().expect("an address").ip()
}

#[test]
fn a_whole_day_passes_on_the_page_with_its_prompts_and_additions() {
    let seen = rehearse("day", &["--speed", "300"]);
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
    // A rest or a prompt may be the first that is caught.
    let mut shots: Vec<&str> = seen["shots"].as_array().expect("pictures").iter().filter_map(Value::as_str).collect();
    shots.sort_unstable();
    assert_eq!(shots, ["boil", "over", "prompt", "rest"]);
    assert_eq!(seen["callButtons"], serde_json::json!(["Sound: on", "Notifications: on"]));
    let notes = seen["calls"]["notes"].to_string();
    for words in ["Add now: 24 g Tarnholm hops", "Add now: 20 g Sedgewick hops", "Add now: 30 g Sedgewick hops"] {
        assert_eq!(notes.matches(words).count(), 1, "called once: {notes}");
    }
    assert!(seen["calls"]["notes"].as_array().map(Vec::len) >= Some(8), "prompts too: {notes}");
    // Two tones a call, and those of the switch.
    assert!(seen["calls"]["tones"].as_u64() >= Some(16), "{seen}");
    assert_eq!(seen["callsUnasked"], serde_json::json!({"notes": [], "tones": 0}), "silent until it is switched on");
    assert_eq!(seen["callsLate"], "", "nobody is called for what is past");
    let changed: Vec<&str> = seen["changed"].as_array().expect("a rest's target").iter().filter_map(Value::as_str).collect();
    let [field, target, asked, held, field_then] = changed[..] else { panic!("{changed:?}") };
    assert!(target.starts_with(field.trim_end_matches(".0")) && held.starts_with(asked), "{changed:?}");
    assert_eq!(field_then.parse::<f64>(), asked.parse::<f64>(), "the field shows what is in force");
    assert_eq!(seen["focus"], true, "every control can be reached by keyboard and has a name");
}

#[test]
fn a_trip_takes_the_page_with_its_cause_and_what_to_do() {
    let seen = rehearse("trip", &["--speed", "120", "--drill", "probe-wire-broken", "--drill-at", "5 min"]);
    let trip = seen["trip"].as_str().expect("a trip");
    assert!(trip.contains("the liquor tank probe is disconnected") && trip.contains("Push the plug home"), "{trip}");
    assert!(trip.contains("cannot be acknowledged from here"));
}

#[test]
fn h36_a_killed_watch_greys_the_page_and_says_so_and_the_page_comes_back_with_the_next_watch() {
    let flags = ["--rehearse", "--speed", "600"];
    let watch = Watched::start(flags);
    let address = watch.page.0;
    let again = std::thread::spawn(move || {
        while TcpStream::connect(address).is_ok() {
            std::thread::sleep(Duration::from_millis(200));
        }
        // Long enough that nobody overlooks it.
        std::thread::sleep(Duration::from_secs(12));
        Watched::on(address.port(), flags)
    });
    let seen = drive("lost", &watch, address, "");
    let _second = again.join().expect("it starts again");
    assert!(seen["back"].as_str().is_some_and(|text| text.starts_with("Rehearsal")), "{seen}");
    let lost = seen["lost"].as_str().expect("a bar");
    assert!(lost.contains("No news from the watch program") && lost.contains("old. Go and look at the panel"), "{lost}");
}

#[test]
fn s9_from_another_address_the_page_shows_nothing_until_the_code_from_the_terminal_is_given() {
    let ip = abroad();
    assert!(!ip.is_loopback(), "{ip}");
    let watch = Watched::start(["--rehearse", "--speed", "60", "--listen", &SocketAddr::new(ip, 0).to_string()]);
    let (address, code) = watch.abroad();
    assert_eq!(address.ip(), ip);
    let (status, _, figures) = Client(address).get("/metrics", "");
    assert_eq!((status, figures.contains("copperhold_")), (401, false), "nor do other programs see figures");
    let seen = drive("pair", &watch, address, &code);
    assert_eq!(seen["beforePairing"], serde_json::json!(["code", true, ""]), "the form alone, ready to be filled in");
    assert!(seen["wrong"].as_str().is_some_and(|text| text.contains("another code")), "{seen}");
    assert!(seen["reading"].as_str().is_some_and(|text| text.parse::<f64>().is_ok()), "{seen}");
    assert_eq!(seen["others"], serde_json::json!([false, ""]), "who gave no code sees nothing");
    assert_eq!(
        seen["secrets"],
        serde_json::json!([format!("http://{address}/"), ""]),
        "in no address, and no script reads the cookie"
    );
}

#[test]
fn without_a_sheet_a_board_takes_temperature_percent_and_off_for_each_vessel_by_keyboard_and_by_name() {
    let bench = bench();
    bench.armed.store(true, Ordering::SeqCst);
    let watch = Watched::start(["--port", &board(&bench)]);
    let seen = drive("hand", &watch, watch.page.0, "");
    assert!(seen["source"].as_str().is_some_and(|text| text.starts_with("Board on")), "{seen}");
    assert_eq!(seen["way"], serde_json::json!(["Temperature", "Power", "Temperature for the liquor tank, °C"]));
    assert_eq!(seen["said"], "The liquor tank is asked for 60.0 °C.");
    assert!(seen["refused"].as_str().is_some_and(|text| text.contains("from 0 to 120")), "{}", seen["refused"]);
    assert!(bench.heated_ms.load(Ordering::SeqCst) > 0, "it heated");
    assert!(!bench.heats.load(Ordering::SeqCst), "and was taken away");
}
