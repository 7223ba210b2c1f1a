//! The watch and a board at the two ends of a pseudo-terminal. The board is the firmware's own link and its rules for what a host may ask,
//! with a supervisor that sees three vessels at 20 degrees.

use copperhold::watch::board::Board;
use copperhold::watch::hub::BEAT_MS;
use copperhold::watch::order::{Act, VesselKey};
use copperhold::watch::state::{DemandNow, Link, Source};
use copperhold::watch::track::Known;
use copperhold::watch::{About, Hub};
use copperhold_core::fast::{FastReport, Outputs, Switches};
use copperhold_core::probe::Reading;
use copperhold_core::sheet::{Sheet, Step};
use copperhold_core::supervisor::{Knowledge, Supervisor};
use copperhold_core::units::{Celsius, Instant, Litres, Span};
use copperhold_core::vessel::{PerVessel, Vessel};
use copperhold_core::wire::message::{LONGEST_DEMAND_MS, Telemetry, ToDevice, ToHost};
use copperhold_core::wire::sheet::EncodedSheet;
use copperhold_firmware::link::Port;
use copperhold_firmware::remote::{Remote, Standing};
use copperhold_firmware::report;
use copperhold_firmware::storage::safe_defaults;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use std::fs::File;
use std::io::{Read, Write};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// What a test sees and does at the board.
#[derive(Default)]
struct Bench {
    /// The session; a change of it is a restart.
    session: AtomicU32,
    armed: AtomicBool,
    /// It says nothing.
    silent: AtomicBool,
    /// A sheet is started.
    start: AtomicBool,
    /// Heat was allowed in the last control tick.
    heats: AtomicBool,
    /// Time of the board that is added, ms: passes at once.
    leap_ms: AtomicU32,
    step: Mutex<Option<u8>>,
}

/// A board on a pseudo-terminal until the test program ends; its name.
fn board(bench: &Arc<Bench>) -> String {
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a pseudo-terminal");
    grantpt(&master).expect("granted");
    unlockpt(&master).expect("unlocked");
    let name = ptsname(&master, Vec::new()).expect("a name").into_string().expect("text");
    let (mut input, mut output) = (File::from(master.try_clone().expect("a second end")), File::from(master));
    // Raw from the start, so that nothing is echoed before the watch has opened it.
    let slave = std::fs::OpenOptions::new().read(true).write(true).open(&name).expect("it opens");
    let mut modes = rustix::termios::tcgetattr(&slave).expect("modes");
    modes.make_raw();
    rustix::termios::tcsetattr(&slave, rustix::termios::OptionalActions::Now, &modes).expect("raw");
    let (tell, told) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        let mut byte = [0; 256];
        while let Ok(n) = input.read(&mut byte) {
            if tell.send(byte[..n].to_vec()).is_err() {
                break;
            }
        }
        drop(slave);
    });
    let bench = bench.clone();
    std::thread::spawn(move || {
        let began = std::time::Instant::now();
        let mut session = bench.session.load(Ordering::SeqCst);
        let mut port = Port::new(session);
        let mut supervisor = Supervisor::new(safe_defaults().settings().expect("defaults"), Knowledge::default());
        let (mut remote, mut sheet) = (Remote::new(), EncodedSheet::new());
        loop {
            if bench.session.load(Ordering::SeqCst) != session {
                session = bench.session.load(Ordering::SeqCst);
                port = Port::new(session);
                supervisor = Supervisor::new(safe_defaults().settings().expect("defaults"), Knowledge::default());
                remote = Remote::new();
            }
            let ms = began.elapsed().as_millis() as u64 + u64::from(bench.leap_ms.load(Ordering::SeqCst));
            let now = Instant::from_micros(ms * 1_000);
            let armed = bench.armed.load(Ordering::SeqCst);
            for byte in told.try_iter().flatten() {
                let Some((sequence, message)) = port.receive(now, byte) else { continue };
                if message == ToDevice::Hello {
                    port.send(&report::hello("power on"));
                    continue;
                }
                let outcome = remote.take(now, &message, &mut supervisor, Standing { armed, sheet: &mut sheet });
                port.send(&ToHost::Answer { sequence, outcome });
            }
            if bench.start.swap(false, Ordering::SeqCst) {
                let fill = Step::HeatStrike { fill: Litres::from_millilitres(30_000), to: Celsius::from_milli(66_000) };
                supervisor.start(Sheet { steps: [fill].into_iter().collect() });
            }
            remote.expire(now, &mut supervisor);
            let readings: PerVessel<Reading> = PerVessel::build(|_| Ok(Celsius::from_milli(20_000)));
            let switches = Switches { stop_loop: true, key: true, ..Switches::default() };
            let fast = FastReport { armed, ..FastReport::default() };
            let lease = supervisor.tick(now, Span::from_millis(250), &readings, &switches, &fast);
            bench.heats.store(lease.heat.is_some(), Ordering::SeqCst);
            *bench.step.lock().expect("whole") = supervisor.sequencer().map(copperhold_core::sequencer::Sequencer::step);
            let outputs = Outputs { armed, contactor: armed, grant: lease.heat.map(|(element, _)| element), ..Outputs::default() };
            if !bench.silent.load(Ordering::SeqCst) {
                port.send(&ToHost::Telemetry(Telemetry::of(now, &supervisor, &outputs, &switches, None, port.dropped())));
            }
            while let Some(byte) = port.peek() {
                if output.write_all(&[byte]).is_err() {
                    return;
                }
                port.sent();
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    });
    name
}

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

#[track_caller]
fn until(what: &str, mut holds: impl FnMut() -> bool) {
    for _ in 0..600 {
        if holds() {
            return;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    panic!("it never came to pass: {what}");
}

fn ask(hub: &Arc<Hub>, act: Act) -> Result<(), String> {
    tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime").block_on(hub.ask(act))
}

fn bench() -> Arc<Bench> {
    let bench = Bench::default();
    bench.session.store(11, Ordering::SeqCst);
    Arc::new(bench)
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
