//! The link at its full speed: noise and frames that are refused, without a pause, must disturb neither the fast tick nor a stop.

use crate::support::heating;
use copperhold::plant::rng::Pcg;
use copperhold_core::vessel::Vessel;
use copperhold_core::wire::encode;
use copperhold_core::wire::message::{DemandMessage, LONGEST_DEMAND_MS, ToDevice};
use copperhold_tests::emulator::Emulator;
use serde_json::json;

/// Bytes of a tenth of a second at 115200 baud.
const TENTH: usize = 1_152;
/// Period of the fast tick, s.
const PERIOD_S: f64 = 0.01;

/// Number of the fast tick's interrupt (RP2040 datasheet 2.3.2).
const TIMER_0: u8 = 0;

/// Tenths of a second of flood: ten minutes with `--long`.
fn tenths() -> usize {
    if std::env::var("COPPERHOLD_LONG").is_ok_and(|long| long == "yes") { 6_000 } else { 60 }
}

/// Noise, whole frames of another session, and this session's frames over and over.
fn garbage(rng: &mut Pcg, session: u32) -> Vec<u8> {
    let demand =
        ToDevice::Demand { vessel: Vessel::BoilKettle, demand: DemandMessage::Percent(10_000), lasts_ms: LONGEST_DEMAND_MS };
    let message = postcard::to_stdvec(&demand).expect("it encodes");
    let mut bytes = Vec::new();
    while bytes.len() < TENTH {
        match rng.next_u32() % 4 {
            0 => bytes.extend(encode(session ^ 1, rng.next_u32(), &message).expect("it fits")),
            // Number 1 was the first that the board took.
            1 => bytes.extend(encode(session, 1, &message).expect("it fits")),
            2 => bytes.extend(std::iter::repeat_n(0, 64)),
            _ => bytes.extend((0..300).map(|_| rng.next_u32() as u8)),
        }
    }
    bytes.truncate(TENTH);
    bytes
}

fn ask_for_heat(emulator: &mut Emulator) {
    let demand = DemandMessage::Hold(60_000);
    // The end of what was cut off.
    let mut bytes = vec![0];
    bytes.extend(emulator.frame(&ToDevice::Demand { vessel: Vessel::LiquorTank, demand, lasts_ms: LONGEST_DEMAND_MS }));
    emulator.run_with(3.0, &bytes);
}

#[test]
fn s6_a_flood_at_line_rate_neither_delays_the_fast_tick_nor_a_stop() {
    let (mut emulator, before) = heating();
    ask_for_heat(&mut emulator);
    let mut rng = Pcg::new(6, 0);
    let session = emulator.session();
    let (mut slowest_stop, mut stops, mut ticks) = (0.0_f64, 0, (f64::INFINITY, 0.0_f64, 0.0));
    for _ in 0..tenths() / 20 {
        // While it heats: with every line low, the flash may be written, and nothing else runs meanwhile.
        emulator.call(json!({"cmd": "beats", "interrupt": TIMER_0}));
        for _ in 0..20 {
            assert_eq!(emulator.flood(&garbage(&mut rng, session)).resets, 0);
        }
        let beaten = emulator.call(json!({"cmd": "beaten"}));
        let [least, most, count] = ["least_ns", "most_ns", "count"].map(|key| beaten[key].as_f64().expect("a number"));
        ticks = (ticks.0.min(least), ticks.1.max(most), ticks.2 + count);
        // A stop in the midst of it; its time counts from its last byte.
        let mut stop = vec![0];
        stop.extend(emulator.frame(&ToDevice::Stop));
        let asked = emulator.flood(&stop);
        assert!(asked.line("tank_element").level, "it heats until it is stopped");
        let after = emulator.flood(&[garbage(&mut rng, session), garbage(&mut rng, session)].concat());
        assert!(!after.line("tank_element").level && !after.line("kettle_element").level, "{after:?}");
        slowest_stop = slowest_stop.max(after.line("tank_element").fell_s - asked.t_s);
        stops += 1;
        emulator.run(1.0);
        ask_for_heat(&mut emulator);
    }
    let (least, most, count) = ticks;
    let report = emulator.run(1.0);
    let telemetry = report.telemetry().expect("telemetry");
    println!(
        "S6: {count} fast ticks, {:.1} to {:.1} us apart; {stops} stops, the slowest {:.1} ms after its last byte; {} frames dropped",
        least / 1e3,
        most / 1e3,
        slowest_stop * 1e3,
        telemetry.dropped
    );
    assert!(count > 100.0 && stops >= 3);
    assert!(most * 1e-9 <= PERIOD_S + 1e-3 && least * 1e-9 >= PERIOD_S - 1e-3);
    assert!(slowest_stop <= 0.1);
    assert!(telemetry.armed && telemetry.trip.is_none() && telemetry.dropped > 20, "{telemetry:?}");
    assert_eq!(report.line("kettle_element").rises, before.line("kettle_element").rises, "nothing of it was done");
}
