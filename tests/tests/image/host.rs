//! The host program itself and the flashed image at the two ends of a serial line: a sheet is sent, the image's page is watched, heat is
//! asked for and taken away.

use crate::support::powered;
use copperhold_tests::emulator::{Emulator, hex, unhex};
use copperhold_tests::fake_board::until;
use copperhold_tests::pty::{Line, line};
use copperhold_tests::watched::{Watched, copperhold, root};
use serde_json::json;
use std::io::Write;
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// What the emulated board shows.
#[derive(Default)]
struct Seen {
    stop: AtomicBool,
    tank_on: AtomicBool,
    screen: Mutex<Vec<u8>>,
}

/// Runs the board at the far end of a line, no faster than real time, until `stop`.
fn run(mut emulator: Emulator, seen: Arc<Seen>) -> (String, std::thread::JoinHandle<()>) {
    let Line { name, told, mut output } = line();
    let thread = std::thread::spawn(move || {
        while !seen.stop.load(Ordering::SeqCst) {
            let began = std::time::Instant::now();
            let input: Vec<u8> = told.try_iter().flatten().collect();
            // A byte takes 87 us at 115200 baud.
            let answer = emulator.call(json!({"cmd": "run", "ns": 50_000_000, "uart": hex(&input), "apart": 87_000}));
            output.write_all(&unhex(answer["uart"].as_str().expect("bytes"))).expect("the line takes it");
            seen.tank_on.store(answer["lines"]["tank_element"]["level"] == true, Ordering::SeqCst);
            *seen.screen.lock().expect("no panic") = emulator.screen();
            std::thread::sleep(Duration::from_millis(50).saturating_sub(began.elapsed()));
        }
    });
    (name, thread)
}

#[test]
fn the_program_sends_the_image_a_sheet_and_the_page_asks_it_for_heat() {
    let mut emulator = powered();
    emulator.arm();
    let seen = Arc::new(Seen::default());
    let (port, thread) = run(emulator, seen.clone());
    let (sheet, rig) = (root().join("host-sim/sheets/demo.toml"), root().join("host-sim/rigs/demo.toml"));
    let screen = || seen.screen.lock().expect("no panic").clone();
    until("there is a picture", || !screen().is_empty());
    let before = screen();
    let output = Command::new(copperhold()).arg("send").arg(&sheet).arg("--rig").arg(&rig).args(["--port", &port]).output();
    let output = output.expect("it runs");
    assert!(output.status.success(), "{output:?}");
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(said.contains("11 steps") && said.contains(env!("CARGO_PKG_VERSION")), "{said}");
    until("the panel says that a sheet is ready", || screen() != before);

    let watch = Watched::start(["--port", &port]);
    let figures = || watch.page.get("/metrics", &watch.page.good()).2;
    until("the page is live", || figures().contains("copperhold_live 1\n"));
    let page = figures();
    assert!(
        page.contains("copperhold_armed 1\n") && page.contains("copperhold_temperature_celsius{vessel=\"liquor_tank\"} 19.9"),
        "{page}"
    );
    let act = |body: &str| {
        let (status, _, said) = watch.page.post("/api/act", &watch.page.good(), body);
        assert_eq!(status, 200, "{body}: {said}");
    };
    act("{\"act\":\"target\",\"vessel\":\"liquor_tank\",\"target_c\":60}");
    until("its line is high", || seen.tank_on.load(Ordering::SeqCst));
    until("the page shows it", || figures().contains("copperhold_grant{vessel=\"liquor_tank\"} 1\n"));
    let (status, _, said) = watch.page.post("/api/stop", &watch.page.good(), "{}");
    assert_eq!(status, 200, "{said}");
    until("its line is low", || !seen.tank_on.load(Ordering::SeqCst));
    seen.stop.store(true, Ordering::SeqCst);
    thread.join().expect("the board ran");
}
