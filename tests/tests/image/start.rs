//! From power-on to heat: every line low until a person has armed and asked.

use crate::support::{bench, flash_with, heating, powered, pt100};
use copperhold_core::vessel::Vessel;
use copperhold_core::wire::message::{Identity, ReadingMessage, ToHost};
use copperhold_tests::emulator::Emulator;
use serde_json::json;

#[test]
fn no_line_rises_before_a_person_has_armed_and_asked() {
    let mut emulator = powered();
    let report = emulator.run(5.0);
    assert!(report.lines.values().all(|line| line.rises == 0), "{report:?}");
    emulator.arm();
    let report = emulator.run(5.0);
    for (name, line) in &report.lines {
        assert_eq!(line.rises > 0, name == "contactor", "{name}");
    }
}

#[test]
fn the_thermometers_are_read_register_by_register() {
    let mut emulator = powered();
    let temperatures = [11.0, 66.5, 99.0];
    for (vessel, t_c) in Vessel::ALL.into_iter().zip(temperatures) {
        emulator.set(json!({"spi": {vessel.key(): pt100(t_c)}}));
    }
    let report = emulator.run(5.0);
    let telemetry = report.telemetry().expect("telemetry");
    for (vessel, t_c) in Vessel::ALL.into_iter().zip(temperatures) {
        let ReadingMessage::Milli(milli) = *telemetry.readings.get(vessel) else { panic!("{vessel:?}: {telemetry:?}") };
        // One code is 0.032 K.
        assert!((f64::from(milli) - t_c * 1000.0).abs() < 20.0, "{vessel:?}: {milli}");
    }
}

#[test]
fn it_says_who_it_is_and_that_the_supply_came_on() {
    let mut emulator = Emulator::boot(&flash_with(&bench()));
    let report = emulator.run(1.0);
    let hello = report.messages.iter().find_map(|message| match message {
        ToHost::Hello { identity, restarted, .. } => Some((*identity, restarted.clone())),
        ToHost::Telemetry(_) | ToHost::Answer { .. } | ToHost::Happened { .. } => None,
    });
    let (identity, restarted) = hello.expect("a greeting");
    assert_eq!(identity, Identity::Device);
    assert_eq!(restarted.as_str(), "power on");
}

#[test]
fn a_target_set_at_the_panel_heats_and_a_blank_store_does_not() {
    let (mut emulator, _) = heating();
    let report = emulator.run(2.0);
    assert!(report.line("tank_element").on_s > 1.9, "full power: {report:?}");
    assert_eq!(report.line("kettle_element").rises, 0);

    let mut blank = Emulator::boot(&[]);
    let code = (u32::from(pt100(20.0)) * 400 / 430) as u16;
    blank.set(json!({"spi": {"liquor_tank": code, "mash_tun": code, "boil_kettle": code}}));
    let report = blank.arm();
    assert!(!report.telemetry().expect("telemetry").armed, "settings are in doubt");
    assert!(report.lines.values().all(|line| line.rises == 0));
}

#[test]
fn the_watchdog_is_set_up_as_written() {
    let mut emulator = powered();
    let registers = emulator.call(json!({"cmd": "registers"}));
    let ctrl = registers["watchdog_ctrl"].as_u64().expect("a register");
    assert_eq!(ctrl >> 30 & 1, 1, "enabled");
    assert_eq!(ctrl >> 24 & 0b111, 0, "a debugger does not pause it");
    assert_eq!(registers["psm_wdsel"], 0x1_FFFC, "everything but the oscillators is reset");
}
