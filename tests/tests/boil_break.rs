//! Coming to the boil on the simulated brewery: random kettles of fresh wort, altitudes and probes.

use copperhold_tests::boil_bench::{BreakResult, Wort};

const KETTLES: u64 = 50;

fn all(seed: u64) -> Vec<(u64, BreakResult)> {
    let half = |from: u64| (from..KETTLES).step_by(2).map(|n| (n, Wort::random(seed, n).bring_to_boil(|_| ()))).collect::<Vec<_>>();
    std::thread::scope(|scope| {
        let (even, odd) = (scope.spawn(|| half(0)), scope.spawn(|| half(1)));
        let mut all = even.join().expect("no panic");
        all.extend(odd.join().expect("no panic"));
        all
    })
}

#[test]
fn fifty_random_kettles_never_boil_over_and_their_boil_is_told_within_ninety_seconds_and_never_early() {
    let seed = 1;
    for (n, r) in all(seed) {
        let which = format!("seed {seed}, kettle {n}: {r:?}");
        assert_eq!(r.trip, None, "{which}");
        assert!(!r.boiled_over, "{which}");
        assert!(r.early_k <= 0.5, "{which}");
        assert!(r.boils_s.is_finite() && r.told_s - r.boils_s <= 90.0, "{which}");
        assert!(r.rolling_s - r.told_s >= 240.0 && r.boiling_then, "the boil is kept through the hot break: {which}");
    }
}

#[test]
fn full_power_left_on_would_boil_over_where_the_controller_does_not() {
    // The foam of the bench is no straw man: the kettle with the most power per litre at 85 % fill, driven at full power.
    use copperhold::plant::{Brewery, Drive};
    use copperhold_core::vessel::{PerElement, Pumps, Vessel};
    let boils_over = |wort: &Wort| {
        let mut brewery = Brewery::new(&wort.rig, 1);
        brewery.preset(Vessel::BoilKettle, wort.litres, 90.0);
        brewery.make_wort();
        let drive = Drive { element_on: PerElement { liquor_tank: 0.0, boil_kettle: 1.0 }, pumps: Pumps::default() };
        for _ in 0..4 * 3_600 {
            brewery.step(0.25, &drive);
        }
        brewery.truth().boiled_over
    };
    let over = (0..KETTLES).filter(|&n| boils_over(&Wort::random(1, n))).count();
    assert!(over >= 15, "{over} of {KETTLES} kettles boil over at full power");
}
