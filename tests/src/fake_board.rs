//! A board at the far end of a pseudo-terminal: the firmware's own link and its rules for what a host may ask, with a supervisor that sees
//! three vessels at 20 degrees.

use crate::pty::{Line, line};
use copperhold_core::fast::{FastReport, Outputs, Switches};
use copperhold_core::probe::Reading;
use copperhold_core::sheet::{Sheet, Step};
use copperhold_core::supervisor::{Knowledge, Supervisor};
use copperhold_core::units::{Celsius, Instant, Litres, Span};
use copperhold_core::vessel::PerVessel;
use copperhold_core::wire::message::{Telemetry, ToDevice, ToHost};
use copperhold_core::wire::sheet::EncodedSheet;
use copperhold_firmware::link::Port;
use copperhold_firmware::remote::{Remote, Standing};
use copperhold_firmware::report;
use copperhold_firmware::storage::safe_defaults;
use std::io::Write;
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// What a test sees and does at the board.
#[derive(Default)]
pub struct Bench {
    /// The session; a change of it is a restart.
    pub session: AtomicU32,
    /// Somebody has armed it.
    pub armed: AtomicBool,
    /// It says nothing.
    pub silent: AtomicBool,
    /// A sheet is started.
    pub start: AtomicBool,
    /// Heat was allowed in the last control tick.
    pub heats: AtomicBool,
    /// Time of the board that is added, ms: passes at once.
    pub leap_ms: AtomicU32,
    /// The stop is hit.
    pub stopped: AtomicBool,
    /// The board's time, ms.
    pub now_ms: AtomicU64,
    /// The board's time of the last control tick that allowed heat, ms.
    pub heated_ms: AtomicU64,
    /// The sheet that is ready to be started.
    pub steps: Mutex<Vec<Step>>,
    /// So many answers get lost on their way to the host.
    pub deaf: AtomicU32,
}

/// A board on a pseudo-terminal until the test program ends; its name.
pub fn board(bench: &Arc<Bench>) -> String {
    let Line { name, told, mut output } = line();
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
                    port.send(&report::hello("power on", port.heard()));
                    continue;
                }
                let outcome = remote.take(now, &message, &mut supervisor, Standing { armed, sheet: &mut sheet });
                *bench.steps.lock().expect("no panic") = sheet.steps().collect();
                if bench.deaf.fetch_update(Ordering::SeqCst, Ordering::SeqCst, |left| left.checked_sub(1)).is_err() {
                    port.send(&ToHost::Answer { sequence, outcome });
                }
            }
            if bench.start.swap(false, Ordering::SeqCst) {
                let fill = Step::HeatStrike { fill: Litres::from_millilitres(30_000), to: Celsius::from_milli(66_000) };
                supervisor.start(Sheet { steps: [fill].into_iter().collect() });
            }
            remote.expire(now, &mut supervisor);
            let readings: PerVessel<Reading> = PerVessel::build(|_| Ok(Celsius::from_milli(20_000)));
            let switches = Switches { stop_loop: true, key: true, ..Switches::default() };
            let stopped = bench.stopped.load(Ordering::SeqCst);
            let fast = FastReport { armed, stopped, ..FastReport::default() };
            let lease = supervisor.tick(now, Span::from_millis(250), &readings, &switches, &fast);
            bench.heats.store(lease.heat.is_some(), Ordering::SeqCst);
            bench.now_ms.store(ms, Ordering::SeqCst);
            if lease.heat.is_some() {
                bench.heated_ms.store(ms, Ordering::SeqCst);
            }
            let outputs = Outputs { armed, contactor: armed, grant: lease.heat.map(|(element, _)| element), ..Outputs::default() };
            while let Some(entry) = supervisor.log().take() {
                port.send(&ToHost::Happened { at_ms: report::ms(entry.at), what: entry.event.into() });
            }
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

/// A board that has just started.
pub fn bench() -> Arc<Bench> {
    let bench = Bench::default();
    bench.session.store(11, Ordering::SeqCst);
    Arc::new(bench)
}

/// Waits for something to come true, for half a minute.
#[track_caller]
pub fn until(what: &str, mut holds: impl FnMut() -> bool) {
    for _ in 0..600 {
        if holds() {
            return;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    panic!("it never came to pass: {what}");
}
