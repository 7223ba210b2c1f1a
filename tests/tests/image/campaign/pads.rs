//! Pads that do not follow: H32, and what of H5 can be seen at the pins.

use super::{Campaign, Phase, many, rises};
use serde_json::json;

const LINES: [&str; 6] = ["contactor", "tank_element", "kettle_element", "liquor_pump", "mash_pump", "wort_pump"];
/// The list of hazards allows a tenth of a second.
const LIMIT_S: f64 = 0.1;

#[test]
fn h32_h5_a_pad_that_is_held_against_its_command_opens_the_contactor_and_trips() {
    let mut campaign = Campaign::new("H32 pad", 32);
    for index in 0..many(36) {
        let place = campaign.somewhere(&[Phase::Idle, Phase::Full]);
        let line = LINES[index as usize % LINES.len()];
        // Held high where it is commanded low: among them the kettle's element while the tank's is on. Held low where it is commanded high.
        let level = !place.high.iter().any(|high| high == line);
        campaign.emulator.set(json!({"fault": {"pad": {"line": line, "level": level}}}));
        let report = campaign.emulator.run(LIMIT_S);
        let (contactor, element) = (report.line("contactor"), report.line("tank_element"));
        assert!(!contactor.level && !element.level, "{line}: {place:?} {:?}", report.lines);
        let off_s = contactor.fell_s.max(element.fell_s) - place.t_s;
        assert!(off_s > 0.03, "one sample is no evidence: {line} {off_s}");
        let report = campaign.emulator.run(0.6);
        let trip = report.telemetry().and_then(|telemetry| telemetry.trip.clone()).unwrap_or_default();
        assert!(trip.contains("output pin") && report.all_low(), "{line}: {trip}");
        // While it is held high it cannot be acknowledged away.
        campaign.emulator.contact("button", true);
        campaign.emulator.run(0.4);
        campaign.emulator.contact("button", false);
        let report = campaign.emulator.run(0.5);
        let tripped = report.telemetry().expect("telemetry").trip.is_some();
        assert_eq!((tripped, rises(&report) >= 1), (level, true), "{line}");
        campaign.took(&place, off_s, LIMIT_S);
    }
    campaign.done(20, "pads held against their command: contactor and element off");
}

#[test]
fn h32_a_spike_at_a_pad_is_no_fault() {
    let mut campaign = Campaign::new("H32 spike", 3232);
    for index in 0..many(20) {
        let place = campaign.somewhere(&[Phase::Full]);
        let line = LINES[index as usize % LINES.len()];
        let level = !place.high.iter().any(|high| high == line);
        campaign.emulator.set(json!({"fault": {"pad": {"line": line, "level": level}}}));
        let seconds = 0.035 * campaign.rng.uniform();
        campaign.emulator.run(seconds);
        campaign.emulator.set(json!({"fault": {"pad": {"line": line, "level": null}}}));
        let report = campaign.emulator.run(1.0);
        assert!(report.line("tank_element").level && report.telemetry().expect("telemetry").trip.is_none(), "{line}: {place:?}");
        campaign.took(&place, 0.0, 0.0);
    }
    campaign.done(20, "spikes: it heats on");
}
