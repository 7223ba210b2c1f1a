//! A flow meter behind the mash pump, counted by the chip's own counter: H15, H16.

use crate::support::{bench, flash_with, pt100};
use copperhold_core::guard::Advice;
use copperhold_core::vessel::Vessel;
use copperhold_core::wire::message::{DemandMessage, Happening, LONGEST_DEMAND_MS, ToDevice, ToHost};
use copperhold_firmware::storage::Stored;
use copperhold_tests::emulator::{Emulator, Report};
use serde_json::json;

/// 8 L/min, at 450 pulses per litre.
const FLOWS: u32 = 60;
const PER_LITRE: u16 = 450;

/// Armed; the mash is held over the link, and its tank is cold.
fn mashing(flow_per_litre: u16) -> Emulator {
    let mut emulator = Emulator::boot(&flash_with(&Stored { flow_per_litre, ..bench() }));
    let cold = pt100(20.0);
    emulator.set(json!({"contacts": {"stop_loop": true}, "spi": {"liquor_tank": cold, "mash_tun": cold, "boil_kettle": cold}}));
    emulator.run(1.0);
    assert!(emulator.arm().telemetry().expect("telemetry").armed);
    emulator
}

/// Time passes, and the host repeats its demand.
fn hold(emulator: &mut Emulator, seconds: f64) -> (Report, Vec<String>) {
    let demand = DemandMessage::Hold(66_000);
    let bytes = emulator.frame(&ToDevice::Demand { vessel: Vessel::MashTun, demand, lasts_ms: LONGEST_DEMAND_MS });
    let asked = emulator.flood(&bytes);
    let mut report = emulator.run(seconds);
    report.messages.splice(0..0, asked.messages);
    let told = report.messages.iter().filter_map(|message| match message {
        ToHost::Happened { what: Happening::Advised(advice), .. } => Some(advice.to_string()),
        ToHost::Happened { .. } | ToHost::Hello { .. } | ToHost::Telemetry(_) | ToHost::Answer { .. } => None,
    });
    let told = told.collect();
    (report, told)
}

/// The words are longer than the link's line: its beginning.
fn is(told: &[String], advice: Advice) -> bool {
    matches!(told, [text] if text.len() > 20 && advice.words().concat().starts_with(text.as_str()))
}

#[test]
fn h15_flow_that_stops_takes_the_element_away_within_a_second_and_a_tick_and_the_pump_within_five() {
    let mut emulator = mashing(PER_LITRE);
    emulator.set(json!({"flow": FLOWS}));
    let (report, told) = hold(&mut emulator, 9.0);
    assert!(report.line("mash_pump").level && report.line("tank_element").level && told.is_empty(), "{:?} {told:?}", report.lines);
    let stopped_s = report.t_s;
    emulator.set(json!({"flow": 0}));
    let (report, told) = hold(&mut emulator, 8.0);
    let (element_s, pump_s) = (report.line("tank_element").fell_s - stopped_s, report.line("mash_pump").fell_s - stopped_s);
    println!("H15 on the image: element off after {element_s:.2} s, pump after {pump_s:.2} s");
    assert!(!report.line("tank_element").level && (0.2..=1.3).contains(&element_s), "{element_s}");
    assert!(!report.line("mash_pump").level && (4.0..=5.5).contains(&pump_s), "{pump_s}");
    assert!(report.line("contactor").level && report.telemetry().expect("telemetry").trip.is_none(), "held, not tripped");
    assert!(is(&told, Advice::NoFlow), "{told:?}");
    // A person has cleared it, and presses the green button: it goes on.
    emulator.set(json!({"flow": FLOWS}));
    emulator.contact("button", true);
    emulator.run(0.4);
    emulator.contact("button", false);
    let (report, told) = hold(&mut emulator, 3.0);
    assert!(report.line("mash_pump").level && report.line("tank_element").level && told.is_empty(), "{:?} {told:?}", report.lines);
}

#[test]
fn h16_a_pump_that_never_primes_rests_after_ten_seconds_and_no_meter_changes_nothing() {
    let mut emulator = mashing(PER_LITRE);
    let (report, _) = hold(&mut emulator, 9.0);
    assert!(report.line("mash_pump").level, "it may fill its hoses: {:?}", report.lines);
    let (report, told) = hold(&mut emulator, 3.0);
    assert!(!report.line("mash_pump").level && !report.line("tank_element").level, "{:?}", report.lines);
    assert!(is(&told, Advice::NoFlow), "{told:?}");
    // Demand and pump off, and the meter counts: told once.
    emulator.set(json!({"flow": FLOWS}));
    emulator.run(12.0);
    let report = emulator.run(40.0);
    let strayed = report.messages.iter().filter(|message| matches!(message, ToHost::Happened { what: Happening::Advised(_), .. }));
    assert_eq!(strayed.count(), 1);

    let mut emulator = mashing(0);
    hold(&mut emulator, 9.0);
    let (report, told) = hold(&mut emulator, 9.0);
    assert!(report.line("mash_pump").level && report.line("tank_element").level && told.is_empty(), "{:?} {told:?}", report.lines);
}
