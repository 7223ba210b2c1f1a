//! The program itself sends a sheet to a board at the other end of a pseudo-terminal.

use copperhold_core::sheet::Step;
use copperhold_tests::fake_board::{Bench, bench, board};
use copperhold_tests::watched::{Watched, copperhold, root};
use std::process::{Command, Output};
use std::sync::atomic::Ordering;

fn send(sheet: &str, port: &str) -> Output {
    let (sheet, rig) = (root().join("host-sim/sheets").join(sheet), root().join("host-sim/rigs/demo.toml"));
    let flags = [sheet.as_os_str(), "--rig".as_ref(), rig.as_os_str(), "--port".as_ref(), port.as_ref()];
    Command::new(copperhold()).arg("send").args(flags).output().expect("it runs")
}

fn said(output: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

/// The demo sheet as the rehearsal of it runs.
fn demo() -> Vec<Step> {
    let (rig, sheet) = (copperhold::files::demo_rig().expect("shipped"), copperhold::files::demo_sheet().expect("shipped"));
    sheet.compile(&rig).expect("shipped").steps.into_iter().collect()
}

fn there(bench: &Bench) -> Vec<Step> {
    bench.steps.lock().expect("no panic").clone()
}

#[test]
fn the_sheet_at_the_board_is_the_one_that_is_rehearsed_and_nothing_heats() {
    let bench = bench();
    // Armed, so that heat would show.
    bench.armed.store(true, Ordering::SeqCst);
    let port = board(&bench);
    for time in 1..=2 {
        let output = send("demo.toml", &port);
        assert_eq!(output.status.code(), Some(0), "time {time}: {}", said(&output));
        let text = said(&output);
        assert!(text.contains(&port) && text.contains(&format!("{} steps", demo().len())) && text.contains("panel"), "{text}");
        assert_eq!(there(&bench), demo(), "time {time}");
    }
    assert!(!bench.heats.load(Ordering::SeqCst));
}

#[test]
fn a_lost_answer_makes_it_begin_again_and_a_board_that_never_answers_is_given_up() {
    let bench = bench();
    let port = board(&bench);
    bench.deaf.store(1, Ordering::SeqCst);
    let output = send("demo.toml", &port);
    assert_eq!((output.status.code(), there(&bench)), (Some(0), demo()), "{}", said(&output));
    bench.deaf.store(1_000, Ordering::SeqCst);
    let output = send("demo.toml", &port);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(said(&output).contains("does not answer"), "{}", said(&output));
    assert!(there(&bench).is_empty(), "no half of a sheet can be started");
}

#[test]
fn a_port_that_is_not_there_or_that_a_watch_has_is_told_and_the_watch_goes_on() {
    let output = send("demo.toml", "/dev/no-such-port");
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output).contains("/dev/no-such-port") && said(&output).contains("cable"), "{}", said(&output));

    let bench = bench();
    let port = board(&bench);
    let watch = Watched::start(["--port", &port]);
    copperhold_tests::fake_board::until("the watch has the port", || {
        watch.page.get("/metrics", &watch.page.good()).2.contains("copperhold_live 1\n")
    });
    let output = send("demo.toml", &port);
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output).contains("in use"), "{}", said(&output));
    assert!(there(&bench).is_empty());
}

#[test]
fn a_sheet_that_the_rig_cannot_brew_leaves_the_old_one_at_the_board() {
    let bench = bench();
    let port = board(&bench);
    assert_eq!(send("demo.toml", &port).status.code(), Some(0));
    let bad = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("too-much.toml");
    std::fs::write(&bad, "name = \"too much\"\n[[step]]\ndo = \"heat strike\"\nfill = \"900 L\"\nto = \"70 C\"\n")
        .expect("written");
    let output = send(bad.to_str().expect("text"), &port);
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert_eq!(there(&bench), demo());
}
