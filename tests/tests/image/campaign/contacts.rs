//! Stop loop, key and button at any instruction: H29, H30, H31.

use super::{Campaign, Phase, many, rises};
use copperhold_tests::emulator::{Place, Report};

/// What WIRING.md and the issue promise from an opening to every line low.
const SOON_S: f64 = 1e-3;

fn opens(campaign: &mut Campaign, contact: &str) -> (Place, Report) {
    let place = campaign.somewhere(&Phase::ALL);
    assert!(!place.high.is_empty(), "something is on: {place:?}");
    campaign.emulator.contact(contact, false);
    let report = campaign.emulator.run(5.0 * SOON_S);
    campaign.low(&place, &report, SOON_S);
    let seconds = 0.05 + 0.5 * campaign.rng.uniform();
    campaign.emulator.run(seconds);
    campaign.emulator.contact(contact, true);
    let after = campaign.emulator.run(0.6);
    assert_eq!((rises(&after), after.all_low()), (rises(&report), true), "closing it again restarts nothing: {:?}", after.lines);
    (place, after)
}

#[test]
fn h30_the_stop_loop_opened_at_any_instruction_lowers_every_line_within_a_millisecond() {
    let mut campaign = Campaign::new("H30 stop", 30);
    for _ in 0..many(100) {
        let (place, after) = opens(&mut campaign, "stop_loop");
        let trip = after.telemetry().and_then(|telemetry| telemetry.trip.clone()).unwrap_or_default();
        assert!(trip.contains("stop loop"), "{place:?}: {trip}");
    }
    campaign.done(100, "stops");
}

#[test]
fn h29_the_key_turned_off_at_any_instruction_lowers_every_line_within_a_millisecond() {
    let mut campaign = Campaign::new("H29 key", 29);
    for _ in 0..many(100) {
        let (place, after) = opens(&mut campaign, "key");
        assert!(!after.telemetry().expect("telemetry").armed, "{place:?}");
    }
    campaign.done(100, "times the key was turned off");
}

#[test]
fn h31_a_button_that_bounces_arms_nothing_and_one_that_is_held_does() {
    let mut campaign = Campaign::new("H31 bounce", 31);
    for _ in 0..many(20) {
        let place = campaign.somewhere(&[Phase::Idle]);
        // Off and on again: a press is wanted.
        campaign.emulator.contact("key", false);
        campaign.emulator.run(0.3);
        campaign.emulator.contact("key", true);
        let before = campaign.emulator.run(0.3);
        assert!(before.all_low());
        let (mut held_s, mut longest_s, mut presses): (f64, f64, u32) = (0.0, 0.0, 0);
        for press in 0..25 {
            // Bounces of 1 to 50 ms, and now and then a press that is too short.
            let seconds = if press % 6 == 5 { 0.4 + 0.4 * campaign.rng.uniform() } else { 0.001 + 0.05 * campaign.rng.uniform() };
            campaign.emulator.contact("button", true);
            held_s += seconds;
            longest_s = longest_s.max(seconds);
            presses += 1;
            campaign.emulator.run(seconds);
            campaign.emulator.contact("button", false);
            // Longer than the filter of the contact takes for a bounce.
            campaign.emulator.run(0.06);
        }
        assert!(held_s > 1.6 && longest_s > 0.4 && presses == 25, "{held_s} {longest_s}");
        let report = campaign.emulator.run(0.3);
        assert_eq!((rises(&report), report.all_low()), (rises(&before), true), "{:?}", report.lines);
        campaign.emulator.contact("button", true);
        let report = campaign.emulator.run(1.5);
        assert!(report.line("contactor").level, "a real press arms: {:?}", report.lines);
        campaign.took(&place, 0.0, 0.0);
    }
    campaign.done(20, "trains of bounces");
}
