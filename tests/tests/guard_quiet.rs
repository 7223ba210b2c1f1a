//! The guard keeps quiet through every honest brew day: a check that cries wolf is switched off by its users.

use copperhold::files;
use copperhold::rehearse::Rehearsal;
use std::path::Path;

/// Thirty days over three rigs.
const SEEDS: std::ops::RangeInclusive<u64> = 1..=10;

fn quiet_on(rig: &str, sheet: &str) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim");
    let rig_file = files::load_rig(&folder.join("rigs").join(rig)).unwrap_or_else(|why| panic!("{}", why.render(false)));
    let sheet = files::load_sheet(&folder.join("sheets").join(sheet)).unwrap_or_else(|why| panic!("{}", why.render(false)));
    for seed in SEEDS {
        let mut day = Rehearsal::new(&rig_file, &sheet, seed).unwrap_or_else(|why| panic!("{rig}: {why}"));
        while day.advance() {
            let latch = day.controller().supervisor().guard().latch();
            assert_eq!(latch, None, "{rig}, seed {seed}: {:?}", day.progress());
            assert!(day.t_s() < 24.0 * 3_600.0, "{rig}, seed {seed}: stuck in {:?}", day.progress());
        }
        let day = day.finish();
        assert!(day.trips.is_empty() && day.advice.is_empty(), "{rig}, seed {seed}: {:?} {:?}", day.trips, day.advice);
        assert_eq!(day.two_elements_ticks, 0);
        assert!(day.energy.total_kwh() > 2.0, "{rig}, seed {seed}: a day that heats");
    }
}

#[test]
fn no_trip_and_no_advice_on_the_demo_rig() {
    quiet_on("demo.toml", "demo.toml");
}

#[test]
fn no_trip_and_no_advice_on_a_small_rig_at_230_v() {
    quiet_on("small-230v.toml", "small.toml");
}

#[test]
fn no_trip_and_no_advice_on_a_large_rig_at_240_v() {
    quiet_on("large-240v.toml", "large.toml");
}
