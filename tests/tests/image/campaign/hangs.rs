//! The program stands still, runs wild or faults: H19, H20.

use super::{Campaign, Phase, many, rises};
use copperhold_tests::emulator::Place;
use serde_json::{Value, json};

/// Watchdog, and a tenth for what comes before and after.
const RESET_S: f64 = 0.6;
/// The first sixteen exceptions are the processor's own (ARMv6-M Architecture Reference Manual, B1.5.2).
const TIMER_0: u32 = 16;
const IO_BANK_0: u32 = 16 + 13;
const HARD_FAULT: u32 = 3;

/// Does it, and sees every line low within the watchdog's time, one reset, and nothing come back.
fn reset_by(campaign: &mut Campaign, place: &Place, fault: &Value) {
    let before = campaign.emulator.run(0.0);
    campaign.emulator.set(json!({ "fault": fault }));
    let report = campaign.emulator.run(RESET_S);
    assert_eq!(report.resets, before.resets + 1, "{fault} at {place:?}: {:?}", report.lines);
    campaign.low(place, &report, RESET_S);
    let after = campaign.emulator.run(0.4);
    assert_eq!((rises(&after), after.all_low()), (rises(&report), true), "nothing comes back by itself: {:?}", after.lines);
    assert!(!after.telemetry().expect("it runs again").armed);
}

#[test]
fn h19_a_hang_at_any_instruction_is_reset_with_every_line_low() {
    let mut campaign = Campaign::new("H19 hang", 19);
    for _ in 0..many(80) {
        let place = campaign.somewhere(&Phase::ALL);
        reset_by(&mut campaign, &place, &json!({"hang": "here"}));
    }
    for _ in 0..many(20) {
        let place = campaign.inside(&Phase::ALL, TIMER_0, 200_000);
        reset_by(&mut campaign, &place, &json!({"hang": "here"}));
    }
    campaign.done(100, "hangs");
}

#[test]
fn h19_a_hang_in_the_edge_interrupt_is_reset_too() {
    let mut campaign = Campaign::new("H19 hang in the edge interrupt", 1913);
    for _ in 0..many(20) {
        let phase = campaign.one_of(&Phase::ALL);
        campaign.back(phase);
        // A spike on the stop loop, too short to be an opening: the interrupt comes, and hangs before it has decided.
        let seconds = campaign.rng.uniform() * 0.25;
        campaign.emulator.run(seconds);
        campaign.emulator.contact("stop_loop", false);
        let count = campaign.below(300);
        let place = campaign.emulator.step(count, Some(IO_BANK_0));
        campaign.emulator.contact("stop_loop", true);
        assert!(place.exception == IO_BANK_0 && !place.high.is_empty(), "{place:?}");
        reset_by(&mut campaign, &place, &json!({"hang": "here"}));
    }
    campaign.done(20, "hangs");
}

#[test]
fn h19_interrupts_that_stay_away_or_never_end_are_reset() {
    let mut campaign = Campaign::new("H19 interrupts", 1900);
    for _ in 0..many(20) {
        let place = campaign.somewhere(&Phase::ALL);
        reset_by(&mut campaign, &place, &json!({"masked": true}));
    }
    for _ in 0..many(10) {
        let place = campaign.somewhere(&Phase::ALL);
        reset_by(&mut campaign, &place, &json!({"storm": true}));
        let place = campaign.emulator.step(1, Some(TIMER_0));
        assert_eq!(place.exception, TIMER_0, "after the reset the storm is over");
    }
    campaign.done(30, "interrupts masked, or one that asks without end");
}

#[test]
fn h20_a_fault_at_any_instruction_lowers_every_line_at_once_and_resets() {
    let mut campaign = Campaign::new("H20 fault", 20);
    let mut lower: f64 = 0.0;
    for _ in 0..many(40) {
        let place = campaign.somewhere(&Phase::ALL);
        let before = campaign.emulator.run(0.0);
        campaign.emulator.set(json!({"fault": {"exception": HARD_FAULT}}));
        let report = campaign.emulator.run(1e-3);
        assert_eq!(report.resets, before.resets, "the handler, not the reset, has lowered them");
        campaign.low(&place, &report, 1e-3);
        lower = lower.max(report.lines.values().map(|line| line.fell_s).fold(0.0, f64::max) - place.t_s);
        let after = campaign.emulator.run(1.0);
        assert_eq!((after.resets, rises(&after), after.all_low()), (before.resets + 1, rises(&report), true), "{:?}", after.lines);
    }
    campaign.done(40, "faults");
}
