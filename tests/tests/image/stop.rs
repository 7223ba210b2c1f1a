//! Drills: what takes the heat away, and how fast.

use crate::support::{heating, hold, home, pt100};
use copperhold_core::wire::message::ToHost;
use copperhold_tests::emulator::{Emulator, Report};
use serde_json::json;

/// Seconds until every line was low, at most `longest`.
fn until_all_low(emulator: &mut Emulator, longest: f64) -> f64 {
    let before = emulator.run(0.0);
    assert!(before.line("tank_element").level, "the drill needs heat: {before:?}");
    let report = emulator.run(longest);
    assert!(report.all_low(), "{report:?}");
    let last = report.lines.values().map(|line| line.fell_s).fold(0.0, f64::max);
    assert!(last >= before.t_s, "something was on");
    last - before.t_s
}

fn restarted(report: &Report) -> Option<String> {
    report.messages.iter().find_map(|message| match message {
        ToHost::Hello { restarted, .. } => Some(restarted.to_string()),
        ToHost::Telemetry(_) | ToHost::Answer { .. } | ToHost::Happened { .. } => None,
    })
}

#[test]
fn stop_in_mid_fire_lowers_every_line_within_a_millisecond() {
    let (mut emulator, _) = heating();
    let mut worst: f64 = 0.0;
    // Twenty instants across a control period, re-armed each time.
    for instant in 0..20 {
        if instant > 0 {
            emulator.contact("stop_loop", true);
            emulator.run(0.5);
            emulator.contact("button", true);
            emulator.run(0.4);
            emulator.contact("button", false);
            emulator.run(0.6);
            emulator.arm();
            emulator.press_knob(1.0);
            emulator.run(1.0);
        }
        emulator.run(f64::from(instant) * 0.013_7);
        emulator.contact("stop_loop", false);
        worst = worst.max(until_all_low(&mut emulator, 0.02));
    }
    println!("stop loop to every line low: worst of 20 is {:.0} us", worst * 1e6);
    assert!(worst <= 1e-3, "{worst}");
    let report = emulator.run(2.0);
    let trip = report.telemetry().and_then(|telemetry| telemetry.trip.clone()).expect("a trip is latched");
    assert!(trip.contains("stop loop"), "{trip}");
    emulator.contact("stop_loop", true);
    let rises = emulator.run(0.0).line("contactor").rises;
    let report = emulator.run(5.0);
    assert!(report.all_low() && report.line("contactor").rises == rises, "closing the loop again restarts nothing");
}

#[test]
fn the_key_lowers_every_line_within_a_millisecond() {
    let (mut emulator, _) = heating();
    emulator.contact("key", false);
    assert!(until_all_low(&mut emulator, 0.02) <= 1e-3);
    emulator.contact("key", true);
    assert!(emulator.run(5.0).all_low(), "the key alone arms nothing");
}

#[test]
fn a_spike_on_the_stop_loop_is_no_stop() {
    let (mut emulator, _) = heating();
    emulator.contact("stop_loop", false);
    emulator.run(20e-6);
    emulator.contact("stop_loop", true);
    let report = emulator.run(2.0);
    assert!(report.line("tank_element").level && report.telemetry().is_some_and(|telemetry| telemetry.trip.is_none()));
}

#[test]
fn a_hung_main_loop_is_reset_with_every_line_low() {
    let (mut emulator, _) = heating();
    emulator.set(json!({"fault": {"hang": "main"}}));
    let off = until_all_low(&mut emulator, 1.5);
    println!("main loop hung to every line low: {:.0} ms", off * 1e3);
    assert!(off <= 0.6, "{off}");
    let report = emulator.run(5.0);
    assert_eq!(report.resets, 1);
    assert!(report.all_low(), "nothing comes back by itself");
}

#[test]
fn a_hang_with_interrupts_off_is_reset_too() {
    let (mut emulator, _) = heating();
    emulator.set(json!({"fault": {"hang": "main", "interrupts_off": true}}));
    let off = until_all_low(&mut emulator, 1.5);
    println!("hung with interrupts off to every line low: {:.0} ms", off * 1e3);
    assert!(off <= 0.6, "{off}");
    let report = emulator.run(2.0);
    assert_eq!((report.resets, report.all_low()), (1, true));
}

#[test]
fn a_stuck_spi_bus_hangs_nobody_for_long() {
    let (mut emulator, _) = heating();
    emulator.set(json!({"fault": {"spi_stuck": true}}));
    let off = until_all_low(&mut emulator, 1.5);
    assert!(off <= 0.85, "a control period, then the watchdog: {off}");
    emulator.set(json!({"fault": {"spi_stuck": false}}));
    let report = emulator.run(3.0);
    assert!(report.all_low());
    assert_eq!(restarted(&report).as_deref(), Some("watchdog"));
}

#[test]
fn four_watchdog_resets_lock_it_until_the_supply_has_been_off() {
    let (mut emulator, _) = heating();
    for _ in 0..4 {
        emulator.set(json!({"fault": {"hang": "main"}}));
        emulator.run(1.5);
    }
    let report = emulator.arm();
    assert!(!report.telemetry().expect("telemetry").armed, "locked");
    emulator.call(json!({"cmd": "power"}));
    emulator.run(1.0);
    assert!(emulator.arm().telemetry().expect("telemetry").armed, "a cold start unlocks it");
}

#[test]
fn a_power_cycle_in_mid_heat_is_a_cold_start() {
    let (mut emulator, _) = heating();
    emulator.call(json!({"cmd": "power"}));
    // The key is still on, as it was left.
    let report = emulator.run(10.0);
    assert!(report.all_low());
    let telemetry = report.telemetry().expect("telemetry");
    assert!(!telemetry.armed && telemetry.setpoints.liquor_tank.is_none(), "{telemetry:?}");
    emulator.contact("button", true);
    let report = emulator.run(3.0);
    assert!(!report.telemetry().expect("telemetry").armed, "the key has not been seen off");
}

#[test]
fn a_cut_probe_wire_trips_and_a_bus_stuck_high_is_no_temperature() {
    for fault in
        [json!({"spi": {"liquor_tank": 0x7FFF}}), json!({"fault": {"spi_high": true}}), json!({"fault": {"unplug": "liquor_tank"}})]
    {
        let (mut emulator, _) = heating();
        emulator.set(fault.clone());
        let report = emulator.run(1.8);
        assert!(!report.line("tank_element").level, "no heat without a reading: {fault}");
        let report = emulator.run(8.0);
        let telemetry = report.telemetry().expect("telemetry");
        assert!(report.all_low() && telemetry.trip.is_some(), "{fault}: {telemetry:?}");
    }
}

#[test]
fn two_elements_are_never_on_together() {
    let (mut emulator, _) = heating();
    // The kettle wants heat too.
    home(&mut emulator);
    hold(&mut emulator, 2);
    // Near its target the tank shares with the kettle.
    emulator.set(json!({"spi": {"liquor_tank": pt100(59.9)}}));
    let report = emulator.run(60.0);
    assert!(report.line("kettle_element").rises > 0, "both had their turn: {report:?}");
    assert_eq!(report.both, 0);
}
