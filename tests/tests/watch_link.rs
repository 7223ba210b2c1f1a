//! The watch and a board at the two ends of a pseudo-terminal.

use copperhold::watch::board::Board;
use copperhold::watch::hub::BEAT_MS;
use copperhold::watch::order::{Act, VesselKey};
use copperhold::watch::state::{DemandNow, Link, Source};
use copperhold::watch::track::Known;
use copperhold::watch::{About, Hub};
use copperhold_core::vessel::Vessel;
use copperhold_core::wire::message::LONGEST_DEMAND_MS;
use copperhold_tests::fake_board::{bench, board, until};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// A watch of a port; it ends when its flag is set.
fn watch(port: &str) -> (Arc<Hub>, Arc<AtomicBool>) {
    let board = Board::new(Some(port.to_owned()), Known::default());
    let (hub, orders) = Hub::new(board.first(), About::default());
    let stop = Arc::new(AtomicBool::new(false));
    let (at, until) = (hub.clone(), stop.clone());
    std::thread::spawn(move || board.run(&at, orders, &until));
    let (at, until) = (hub.clone(), stop.clone());
    std::thread::spawn(move || {
        while !until.load(Ordering::Relaxed) {
            at.beat();
            std::thread::sleep(Duration::from_millis(BEAT_MS));
        }
    });
    (hub, stop)
}

fn ask(hub: &Arc<Hub>, act: Act) -> Result<(), String> {
    tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime").block_on(hub.ask(act))
}

const TANK_60: Act = Act::Target { vessel: VesselKey::LiquorTank, target_c: 60.0 };

#[test]
fn h38_a_board_says_that_it_is_one_and_takes_demands_only_while_armed() {
    let bench = bench();
    let (hub, _stop) = watch(&board(&bench));
    until("it is live", || hub.now().now.link == Link::Live);
    let now = hub.now();
    assert!(
        matches!(&now.now.source, Source::Board { firmware, restarted, .. } if !firmware.is_empty() && restarted == "power on")
    );
    assert_eq!((now.now.boot, now.now.vessel(Vessel::MashTun).reading_c), (11, Some(20.0)));
    assert!(ask(&hub, TANK_60).expect_err("not armed").contains("arm it at the panel"));
    bench.armed.store(true, Ordering::SeqCst);
    assert_eq!(ask(&hub, TANK_60), Ok(()));
    until("it heats", || bench.heats.load(Ordering::SeqCst));
    until("it shows", || hub.now().now.vessel(Vessel::LiquorTank).demand == DemandNow::Hold { target_c: 60.0 });
    // Repeated in time: it outlives the longest time that one demand lasts.
    std::thread::sleep(Duration::from_millis(u64::from(LONGEST_DEMAND_MS) + 1_000));
    assert!(bench.heats.load(Ordering::SeqCst));
    assert_eq!(ask(&hub, Act::Stop {}), Ok(()));
    until("it ends", || !bench.heats.load(Ordering::SeqCst));
}

#[test]
fn s10_a_host_that_dies_while_it_heats_takes_the_heat_with_it_and_its_successor_does_not_bring_it_back() {
    let bench = bench();
    bench.armed.store(true, Ordering::SeqCst);
    let port = board(&bench);
    let (hub, stop) = watch(&port);
    until("it is live", || hub.now().now.link == Link::Live);
    assert_eq!(ask(&hub, TANK_60), Ok(()));
    until("it heats", || bench.heats.load(Ordering::SeqCst));
    stop.store(true, Ordering::Relaxed);
    // As long as its last demand may last.
    std::thread::sleep(Duration::from_millis(500));
    bench.leap_ms.store(LONGEST_DEMAND_MS, Ordering::SeqCst);
    until("the demand ends", || !bench.heats.load(Ordering::SeqCst));
    let (hub, _stop) = watch(&port);
    until("the next watch is live", || hub.now().now.link == Link::Live);
    std::thread::sleep(Duration::from_secs(4));
    assert!(!bench.heats.load(Ordering::SeqCst));
}

#[test]
fn h36_a_silent_board_is_lost_and_one_that_restarts_is_met_anew_without_heat() {
    let bench = bench();
    bench.armed.store(true, Ordering::SeqCst);
    let (hub, _stop) = watch(&board(&bench));
    until("it is live", || hub.now().now.link == Link::Live);
    assert_eq!(ask(&hub, TANK_60), Ok(()));
    bench.silent.store(true, Ordering::SeqCst);
    until("it is stale", || hub.now().now.stale);
    until("it is lost", || matches!(&hub.now().now.link, Link::Lost { why } if why.contains("says nothing")));
    bench.session.store(12, Ordering::SeqCst);
    bench.silent.store(false, Ordering::SeqCst);
    until("it is met anew", || hub.now().now.boot == 12 && hub.now().now.link == Link::Live && !hub.now().now.stale);
    std::thread::sleep(Duration::from_secs(4));
    assert!(!bench.heats.load(Ordering::SeqCst), "what was asked of the board before its restart is not asked again");
}

#[test]
fn a_sheet_on_a_board_is_answered_and_adjusted() {
    let bench = bench();
    bench.armed.store(true, Ordering::SeqCst);
    let (hub, _stop) = watch(&board(&bench));
    until("it is live", || hub.now().now.link == Link::Live);
    bench.start.store(true, Ordering::SeqCst);
    until("it asks", || hub.now().now.prompt.is_some());
    let prompt = hub.now().now.prompt.clone().expect("a prompt");
    assert_eq!((prompt.key, prompt.litres, prompt.covers), ("fill_tank", Some(30.0), true));
    let wrong = Act::Answer { step: 0, prompt: "run_strike".to_owned() };
    assert!(ask(&hub, wrong).is_err());
    assert_eq!(ask(&hub, Act::Answer { step: 0, prompt: "fill_tank".to_owned() }), Ok(()));
    until("it heats", || bench.heats.load(Ordering::SeqCst));
    assert_eq!(ask(&hub, Act::StepTarget { step: 0, target_c: 64.5 }), Ok(()));
    until("it shows", || hub.now().now.vessel(Vessel::LiquorTank).demand == DemandNow::Hold { target_c: 64.5 });
    assert!(ask(&hub, Act::StepOn { step: 0 }).expect_err("a person must look").contains("look again"));
    assert!(ask(&hub, Act::StepTarget { step: 0, target_c: 99.0 }).expect_err("the limit").contains("out of range"));
}

#[test]
fn a_port_that_is_not_there_is_waited_for_in_words() {
    let (hub, _stop) = watch("/dev/no-such-port");
    until("it waits", || matches!(&hub.now().now.link, Link::Waiting { why } if why.contains("cannot be opened")));
    assert!(ask(&hub, Act::Stop {}).expect_err("nobody is there").contains("panel"));
}
