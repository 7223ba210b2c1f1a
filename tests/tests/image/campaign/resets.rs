//! Resets at any instruction: H18, H28, H33.

use super::{Campaign, Phase, many, rises};
use serde_json::{Value, json};

/// A pulse that nothing may make.
const NO_PULSE_S: f64 = 100e-6;

#[test]
fn h18_b5_five_hundred_resets_at_any_instruction_leave_every_line_low_and_nobody_armed() {
    let mut campaign = Campaign::new("H18 reset", 18);
    let (mut in_the_start, mut spoke) = (0, 0);
    for _ in 0..many(500) {
        let place = campaign.somewhere(&Phase::ALL);
        assert!(!place.high.is_empty(), "something is on: {place:?}");
        let resets = campaign.emulator.run(0.0).resets;
        let kind = campaign.one_of(&["watchdog", "power"]);
        campaign.emulator.set(json!({"fault": {"reset": kind}}));
        let at_once = campaign.emulator.run(NO_PULSE_S);
        assert_eq!(at_once.resets, resets + u64::from(kind == "watchdog"), "it was reset");
        campaign.low(&place, &at_once, NO_PULSE_S);
        // Every fourth time the supply fails again while it starts: after any of its first instructions.
        if campaign.below(4) == 0 {
            let count = campaign.below(60_000);
            campaign.emulator.step(count, None);
            campaign.emulator.set(json!({"fault": {"reset": "power"}}));
            in_the_start += 1;
        }
        // Past the first control tick; every tenth one long enough for it to say how it is.
        let long = campaign.below(10) == 0;
        let report = campaign.emulator.run(if long { 0.6 } else { 0.255 });
        assert_eq!((rises(&report), report.all_low()), (rises(&at_once), true), "no pulse: {:?}", report.lines);
        if long {
            let telemetry = report.telemetry().expect("it runs again");
            assert!(!telemetry.armed && telemetry.setpoints.liquor_tank.is_none(), "{telemetry:?}");
            spoke += 1;
        }
    }
    println!("  {in_the_start} of them with a second one while it started; {spoke} were heard to be unarmed");
    assert!(in_the_start > 50 && spoke > 20);
    campaign.done(500, "resets: no line high after, none while it starts, nobody armed");
}

#[test]
fn h28_whatever_is_pressed_after_a_reset_arms_nothing_while_the_key_was_never_off() {
    let mut campaign = Campaign::new("H28 power returns", 28);
    for _ in 0..many(20) {
        let place = campaign.somewhere(&Phase::HEATING);
        let mut contacts = json!({});
        for name in ["button", "knob_push", "knob_a", "knob_b"] {
            contacts[name] = Value::Bool(campaign.below(2) == 0);
        }
        campaign.emulator.set(json!({"fault": {"reset": "power"}, "contacts": contacts}));
        let before = rises(&campaign.emulator.run(0.0));
        for _ in 0..8 {
            let name = campaign.one_of(&["button", "button", "knob_push", "stop_loop", "knob_a", "knob_b"]);
            let closed = campaign.below(2) == 0;
            let seconds = 0.8 * campaign.rng.uniform();
            campaign.emulator.contact(name, closed);
            campaign.emulator.run(seconds);
        }
        let report = campaign.emulator.run(0.3);
        assert_eq!((rises(&report), report.all_low()), (before, true), "{:?}", report.lines);
        assert!(!report.telemetry().expect("telemetry").armed);
        campaign.took(&place, 0.0, 0.0);
    }
    // And that very panel arms once the key has been off.
    campaign.emulator.set(json!({"contacts": {"knob_push": false, "knob_a": false, "knob_b": false}}));
    assert!(campaign.emulator.arm().telemetry().expect("telemetry").armed);
    campaign.done(20, "times power came back to a panel somebody played with");
}

#[test]
fn h33_the_fourth_reset_by_the_watchdog_locks_wherever_the_hangs_were() {
    let mut campaign = Campaign::new("H33 reset again and again", 33);
    for _ in 0..many(20) {
        let place = campaign.somewhere(&Phase::ALL);
        let mut report = campaign.emulator.run(0.0);
        let before = report.resets;
        for hang in 1..=4 {
            campaign.emulator.set(json!({"fault": {"hang": "here"}}));
            report = campaign.emulator.run(0.6);
            assert_eq!(report.resets, before + hang);
            let count = campaign.below(100_000);
            campaign.emulator.step(count, None);
        }
        let report = campaign.emulator.arm();
        assert!(!report.telemetry().expect("telemetry").armed && report.all_low(), "locked");
        campaign.took(&place, 0.0, 0.0);
    }
    campaign.done(20, "locked after four");
}
