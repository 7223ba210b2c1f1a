//! Drills on the sense lines and on the coil's pulses, with the image that is flashed.

use crate::support::{bench, flash_with, hold, pt100};
use copperhold_core::vessel::Element;
use copperhold_firmware::lines::Coil;
use copperhold_firmware::sense::{Fitted, Line};
use copperhold_firmware::storage::Stored;
use copperhold_tests::emulator::{Emulator, Report};
use serde_json::json;

fn powered(fitted: &[Line], coil: Coil) -> Emulator {
    let mut lines = Fitted::default();
    fitted.iter().for_each(|&line| lines.set(line, true));
    let mut emulator = Emulator::boot(&flash_with(&Stored { fitted: lines, coil, ..bench() }));
    let code = pt100(20.0);
    emulator.set(json!({"contacts": {"stop_loop": true}, "spi": {"liquor_tank": code, "mash_tun": code, "boil_kettle": code}}));
    emulator.set(json!({"sense": 0}));
    emulator.run(1.0);
    emulator
}

fn ask_the_tank(emulator: &mut Emulator) -> Report {
    hold(emulator, 0);
    emulator.run(1.0)
}

fn trip(report: &Report) -> String {
    report.telemetry().and_then(|telemetry| telemetry.trip.clone()).map(|trip| trip.to_string()).unwrap_or_default()
}

#[test]
fn a_contactor_that_sticks_is_seen_at_its_auxiliary_contact_and_arms_no_more() {
    let mut emulator = powered(&[Line::Contactor], Coil::Level);
    // Closed although nobody has armed: welded.
    emulator.set(json!({"sense": Line::Contactor.bit()}));
    let report = emulator.run(1.2);
    assert!(trip(&report).contains("contactor stays closed"), "{}", trip(&report));
    let report = emulator.arm();
    assert!(report.lines.values().all(|line| line.rises == 0), "{report:?}");
    // Repaired and acknowledged, it arms; the contact then follows the coil.
    emulator.set(json!({"sense": 0}));
    emulator.run(1.0);
    emulator.contact("button", true);
    emulator.run(0.4);
    emulator.contact("button", false);
    let report = emulator.run(0.6);
    assert_eq!(trip(&report), "");
    emulator.set(json!({"contacts": {"key": false}}));
    emulator.run(0.5);
    emulator.contact("key", true);
    emulator.run(0.5);
    emulator.contact("button", true);
    let mut report = emulator.run(0.0);
    for _ in 0..200 {
        report = emulator.run(0.01);
        if report.line("contactor").level {
            emulator.set(json!({"sense": Line::Contactor.bit()}));
        }
    }
    assert!(report.line("contactor").level && trip(&report).is_empty(), "{report:?}");
    // Its wire breaks.
    emulator.set(json!({"sense": 0}));
    let report = emulator.run(1.2);
    assert!(report.all_low() && trip(&report).contains("contactor does not close"), "{report:?}");
}

#[test]
fn a_level_line_that_opens_in_mid_heat_takes_the_element_away_and_a_silent_expander_holds() {
    let lines = [Line::Level(Element::LiquorTank)];
    let covered = lines[0].bit();
    let mut emulator = powered(&lines, Coil::Level);
    emulator.set(json!({"sense": covered}));
    emulator.arm();
    let report = ask_the_tank(&mut emulator);
    assert!(report.line("tank_element").level, "{report:?}");
    emulator.set(json!({"sense": null}));
    let report = emulator.run(0.6);
    assert!(!report.line("tank_element").level && report.line("contactor").level, "held: {report:?}");
    emulator.set(json!({"sense": covered}));
    let report = emulator.run(1.5);
    assert!(report.line("tank_element").level, "it answers again: {report:?}");
    emulator.set(json!({"sense": 0}));
    let report = emulator.run(0.6);
    assert!(!report.line("tank_element").level, "no heat while it is not covered: {report:?}");
    let report = emulator.run(2.5);
    assert!(report.all_low() && trip(&report).contains("not covered"), "{report:?}");
}

#[test]
fn h22_a_coil_that_needs_pulses_gets_fifty_a_second_while_armed_and_none_once_the_processor_hangs() {
    let mut emulator = powered(&[], Coil::Pulses);
    assert_eq!(emulator.run(2.0).line("contactor").rises, 0, "not armed");
    emulator.arm();
    let before = ask_the_tank(&mut emulator).line("contactor").rises;
    let report = emulator.run(10.0);
    let pulses = report.line("contactor").rises - before;
    assert!((498..=502).contains(&pulses), "{pulses}");
    assert!(report.line("tank_element").on_s > 9.9, "the element's line is steady: {report:?}");
    // With interrupts off nothing lowers the line before the watchdog does: it may stand high, and does not change.
    emulator.set(json!({"fault": {"hang": "main", "interrupts_off": true}}));
    let before = report.line("contactor").rises;
    let report = emulator.run(0.4);
    assert!(report.line("contactor").rises <= before + 1, "{report:?}");
    let after = report.line("contactor").rises;
    let report = emulator.run(3.0);
    assert_eq!((report.resets, report.line("contactor").rises, report.all_low()), (1, after, true));
}
