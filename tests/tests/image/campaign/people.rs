//! What hosts, thermometers and cables do at any instant: H5, H11, H25, H26, H27.

use super::{Campaign, Phase, many, rises};
use crate::support::pt100;
use copperhold_core::vessel::{Pumps, Vessel};
use copperhold_core::wire::encode;
use copperhold_core::wire::message::{DemandMessage, LONGEST_DEMAND_MS, ToDevice};
use serde_json::json;

fn demand(vessel: Vessel, demand: DemandMessage) -> ToDevice {
    ToDevice::Demand { vessel, demand, lasts_ms: LONGEST_DEMAND_MS }
}

#[test]
fn h5_whatever_is_asked_for_and_read_two_elements_are_never_on_and_the_dead_time_is_kept() {
    let mut campaign = Campaign::new("H5 two elements", 5);
    let (mut shortest_s, mut changes, mut demands) = (f64::INFINITY, 0, 0);
    for _ in 0..many(20) {
        let place = campaign.somewhere(&Phase::ALL);
        let before = campaign.emulator.run(0.0);
        for _ in 0..20 {
            let vessel = campaign.one_of(&[Vessel::LiquorTank, Vessel::BoilKettle]);
            let share = campaign.below(10_001) as u16;
            let target = 20_000 + campaign.below(70_000) as i32;
            let asked = campaign.one_of(&[DemandMessage::Percent(share), DemandMessage::Hold(target), DemandMessage::Off]);
            let t_c = 20.0 + 70.0 * campaign.rng.uniform();
            let seconds = 0.2 * campaign.rng.uniform();
            campaign.emulator.set(json!({"spi": {vessel.key(): pt100(t_c)}}));
            let bytes = campaign.emulator.frame(&demand(vessel, asked));
            campaign.emulator.run_with(seconds, &bytes);
            demands += 1;
        }
        let report = campaign.emulator.run(1.0);
        assert_eq!((report.both, report.resets), (before.both, before.resets), "{place:?}");
        shortest_s = report.gap_s.map_or(shortest_s, |gap| gap.min(shortest_s));
        changes += report.line("kettle_element").rises + report.line("tank_element").rises
            - before.line("kettle_element").rises
            - before.line("tank_element").rises;
        campaign.took(&place, 0.0, 0.0);
    }
    println!(
        "  {demands} demands, the elements rose {changes} times, {:.0} ms at least between one and the other",
        shortest_s * 1e3
    );
    assert!(changes > 20 && shortest_s.is_finite(), "there were changeovers");
    assert!(shortest_s >= 0.1, "{shortest_s}");
    campaign.done(20, "runs of twenty random demands");
}

#[test]
fn h11_a_probe_that_fails_at_any_instant_takes_the_element_away_and_then_trips() {
    let mut campaign = Campaign::new("H11 probe", 11);
    let mut slowest_trip_s: f64 = 0.0;
    let faults = [
        json!({"spi": {"liquor_tank": 0x7FFF}}),
        json!({"spi": {"liquor_tank": 0}}),
        json!({"fault": {"spi_high": true}}),
        json!({"fault": {"unplug": "liquor_tank"}}),
    ];
    for index in 0..many(24) {
        let place = campaign.somewhere(&Phase::HEATING);
        campaign.emulator.set(faults[index as usize % faults.len()].clone());
        // The filter waits a second, the control tick a quarter.
        let report = campaign.emulator.run(1.5);
        assert!(!report.line("tank_element").level && report.line("contactor").level, "held: {place:?} {:?}", report.lines);
        let held_s = report.line("tank_element").fell_s.max(place.t_s) - place.t_s;
        let report = campaign.emulator.run(6.0);
        assert!(report.telemetry().expect("telemetry").trip.is_some() && report.all_low());
        slowest_trip_s = slowest_trip_s.max(report.line("contactor").fell_s - place.t_s);
        campaign.took(&place, held_s, 1.5);
    }
    println!("  slowest trip {slowest_trip_s:.2} s after the fault");
    campaign.done(20, "failed probes: no element");
}

#[test]
fn h25_a_host_that_falls_silent_takes_its_demand_with_it() {
    let mut campaign = Campaign::new("H25 link lost", 25);
    for _ in 0..many(20) {
        let place = campaign.somewhere(&[Phase::Idle]);
        let bytes = campaign.emulator.frame(&demand(Vessel::LiquorTank, DemandMessage::Percent(10_000)));
        let asked = campaign.emulator.flood(&bytes);
        let report = campaign.emulator.run(9.0);
        assert!(report.line("tank_element").level, "it heats as long as was said: {:?}", report.lines);
        let report = campaign.emulator.run(1.5);
        assert!(!report.line("tank_element").level, "{:?}", report.lines);
        let off_s = report.line("tank_element").fell_s - asked.t_s;
        assert!(off_s > 9.0, "{off_s}");
        campaign.took(&place, off_s, f64::from(LONGEST_DEMAND_MS) * 1e-3 + 0.3);
    }
    campaign.done(20, "hosts that fell silent");
}

#[test]
fn h26_h27_damaged_replayed_and_foreign_frames_change_nothing_and_no_frame_arms() {
    let mut campaign = Campaign::new("H26 frames", 26);
    for index in 0..many(40) {
        let place = campaign.somewhere(&[Phase::Idle]);
        let heat = demand(Vessel::BoilKettle, DemandMessage::Percent(10_000));
        let used = campaign.emulator.frame(&ToDevice::Pumps(Pumps::default()));
        campaign.emulator.flood(&used);
        let mut bytes = campaign.emulator.frame(&heat);
        match index % 4 {
            0 => {
                let (at, bit) = (campaign.below(bytes.len() as u32 - 1) as usize, campaign.below(8));
                bytes[at] ^= 1 << bit;
            }
            1 => bytes = used,
            2 => {
                let message = postcard::to_stdvec(&heat).expect("it encodes");
                bytes = encode(campaign.emulator.session() ^ 1, 9, &message).expect("it fits").to_vec();
            }
            // A sound one, to a board that nobody has armed.
            _ => {
                campaign.emulator.contact("key", false);
                campaign.emulator.run(0.2);
                campaign.emulator.contact("key", true);
            }
        }
        let before = campaign.emulator.run(0.3);
        campaign.emulator.flood(&bytes);
        let report = campaign.emulator.run(0.8);
        assert_eq!(rises(&report), rises(&before), "{index}: {:?}", report.lines);
        let [armed, was] = [&report, &before].map(|report| report.telemetry().expect("telemetry").armed);
        assert_eq!((armed, was), (index % 4 != 3, index % 4 != 3));
        campaign.took(&place, 0.0, 0.0);
    }
    // The same demand, sound and to an armed board, does heat.
    campaign.back(Phase::Idle);
    let bytes = campaign.emulator.frame(&demand(Vessel::BoilKettle, DemandMessage::Percent(10_000)));
    assert!(campaign.emulator.run_with(1.5, &bytes).line("kettle_element").level);
    campaign.done(40, "frames that do nothing");
}
