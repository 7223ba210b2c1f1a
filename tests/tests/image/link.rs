//! The link under garbage at its full rate, 115,200 bauds: what it does to the ticks, the stop and the heat.
//!
//! Ten seconds of it; ten minutes with `COPPERHOLD_LONG=yes` in the environment.

use crate::support::heating;
use copperhold::plant::rng::Pcg;
use copperhold_core::wire::encode;
use copperhold_core::wire::message::{LONGEST_DEMAND_MS, ToDevice, ToHost};
use copperhold_tests::emulator::Emulator;
use serde_json::json;

/// Eight bits, a start and a stop bit each.
const BYTES_PER_S: f64 = 115_200.0 / 10.0;
/// Time of one delivery, s: what comes in it fits the receiver's FIFO of 32 bytes.
const SLICE_S: f64 = 0.002;

/// The processor's clock is 48 MHz.
const TICKS_PER_MS: f64 = 48_000.0;

/// What a line that is never silent carries, a second of each in turn.
struct Garbage {
    random: Pcg,
    due: f64,
    sent: u64,
    frame: Vec<u8>,
}

impl Garbage {
    fn new() -> Garbage {
        // Whole frames of another session: they cost the most, since each is checked to its end.
        let message = postcard::to_stdvec(&ToDevice::Demand {
            vessel: copperhold_core::vessel::Vessel::BoilKettle,
            demand: copperhold_core::wire::message::DemandMessage::Percent(10_000),
            lasts_ms: LONGEST_DEMAND_MS,
        });
        let frame = encode(0xDEAD_BEEF, 1, &message.expect("it encodes")).expect("it fits").to_vec();
        Garbage { random: Pcg::new(6, 0), due: 0.0, sent: 0, frame }
    }

    fn slice(&mut self, kind: u64) -> Vec<u8> {
        self.due += BYTES_PER_S * SLICE_S;
        let count = self.due as usize;
        self.due -= count as f64;
        let bytes = (0..count).map(|_| {
            let at = self.sent as usize % self.frame.len();
            self.sent += 1;
            match kind % 3 {
                0 => (self.random.uniform() * 256.0) as u8,
                1 => 0,
                _ => self.frame[at],
            }
        });
        bytes.collect()
    }

    /// Garbage for this many seconds.
    fn pour(&mut self, emulator: &mut Emulator, seconds: f64) {
        for slice in 0..(seconds / SLICE_S).round() as u64 {
            let kind = (slice as f64 * SLICE_S) as u64;
            let bytes = self.slice(kind);
            let report = emulator.run_with(SLICE_S, &bytes);
            assert_eq!(report.resets, 0, "it was reset after {} bytes", self.sent);
        }
    }
}

/// From the start of one tick to the next, cycles: least and most, of the fast tick and of the control tick.
fn spacing(emulator: &mut Emulator, run: impl FnOnce(&mut Emulator)) -> [(f64, f64); 2] {
    emulator.call(json!({"cmd": "profile", "names": ["TIMER_IRQ_0", "3app12App$LT$B$GT$6decide"]}));
    run(emulator);
    let answer = emulator.call(json!({"cmd": "profiled"}));
    [0, 1].map(|index| {
        let routine = &answer["routines"][index];
        assert!(routine["count"].as_f64().expect("a count") >= 19.0, "{routine}");
        (routine["nearest"].as_f64().expect("cycles"), routine["furthest"].as_f64().expect("cycles"))
    })
}

#[test]
fn s6_garbage_at_line_rate_moves_no_tick_stops_no_heat_and_delays_no_stop() {
    let long = std::env::var("COPPERHOLD_LONG").is_ok_and(|long| long == "yes");
    let seconds = if long { 600.0 } else { 10.0 };
    let (mut emulator, before) = heating();
    let quiet = spacing(&mut emulator, |emulator| {
        emulator.run(5.0);
    });
    let mut garbage = Garbage::new();
    let poured = spacing(&mut emulator, |emulator| garbage.pour(emulator, seconds));
    println!("{} bytes of garbage in {seconds} s", garbage.sent);
    for (name, period_ms, index) in [("fast tick", 10.0, 0), ("control tick", 250.0, 1)] {
        let jitter = |(least, most): (f64, f64)| {
            let period = period_ms * TICKS_PER_MS;
            (period - least).max(most - period)
        };
        let (silent, loud) = (jitter(quiet[index]), jitter(poured[index]));
        println!(
            "{name}: off its period by {silent:.0} clock ticks in silence, by {loud:.0} under garbage ({:.3} ms)",
            loud / TICKS_PER_MS
        );
        assert!(loud <= TICKS_PER_MS, "{name}: more than a millisecond");
    }
    let report = emulator.run(0.0);
    assert!(report.line("tank_element").level && report.resets == 0, "what the panel asked for goes on: {report:?}");
    assert_eq!(report.line("kettle_element").rises, before.line("kettle_element").rises, "and nothing else came on");

    // The stop in the middle of it.
    let at_s = emulator.run(0.0).t_s;
    emulator.contact("stop_loop", false);
    garbage.pour(&mut emulator, 0.1);
    let report = emulator.run(0.0);
    assert!(report.all_low(), "{report:?}");
    let last_s = report.lines.values().map(|line| line.fell_s).fold(0.0, f64::max);
    println!("stop loop to every line low under garbage: {:.0} us", (last_s - at_s) * 1e6);
    assert!(last_s >= at_s && last_s - at_s <= 1e-3);

    // And the next frame after it is heard: a zero ends what was begun.
    emulator.run_with(0.5, &[0]);
    let greeting = encode(0, 1, &postcard::to_stdvec(&ToDevice::Hello).expect("it encodes")).expect("it fits").to_vec();
    let report = emulator.run_with(1.0, &greeting);
    assert!(report.messages.iter().any(|message| matches!(message, ToHost::Hello { .. })), "{:?}", report.messages);
}
