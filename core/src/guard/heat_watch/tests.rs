use super::*;

const TICK: Span = Span::from_millis(250);
/// 40 L brimful, 10 L at least, on 5.5 kW.
const BOUNDS: Bounds =
    Bounds { slowest: Slope::from_micro(32_900), fastest: Slope::from_micro(131_600), boiling: Celsius::from_milli(100_000) };

/// Water that follows its element after a lag, in whole micro-kelvin, with an input from elsewhere.
struct Bench {
    watch: HeatWatch,
    micro_c: i64,
    /// What full power does, uK/s, and heat on its way: (uK, time constant in ticks).
    climb: i64,
    way: i64,
    lag_ticks: i64,
    learned: Option<(Slope, Span)>,
    may_come_from: Option<Celsius>,
    drained: bool,
}

impl Bench {
    fn at(milli: i32) -> Bench {
        Bench {
            watch: HeatWatch::new(BOUNDS),
            micro_c: i64::from(milli) * 1_000,
            climb: 65_000,
            way: 0,
            lag_ticks: 80,
            learned: None,
            may_come_from: None,
            drained: false,
        }
    }

    fn reading(&self) -> Celsius {
        Celsius::from_milli(i32::try_from(self.micro_c / 1_000).unwrap())
    }

    /// The element conducts `really` while `applied` was commanded.
    fn tick(&mut self, applied: Duty, really: Duty) -> Option<Finding> {
        self.way += self.climb * i64::from(really.bits()) / 65_536 / 4;
        let arrives = self.way / self.lag_ticks;
        self.way -= arrives;
        self.micro_c += arrives;
        self.watch.tick(&HeatFacts {
            elapsed: TICK,
            reading: self.reading(),
            applied,
            learned: self.learned,
            may_come_from: self.may_come_from,
            drained: self.drained,
        })
    }

    /// First finding within a while, and when.
    fn run(&mut self, applied: Duty, really: Duty, how_long: Span) -> Option<(Span, Finding)> {
        (1..=how_long.as_millis() / TICK.as_millis())
            .find_map(|n| self.tick(applied, really).map(|finding| (TICK.times(n), finding)))
    }
}

const HOUR: Span = Span::from_mins(60);

#[test]
fn heat_that_arrives_as_commanded_is_never_remarked_upon() {
    for (climb, lag_ticks) in [(33_000, 40), (33_000, 240), (65_000, 80), (131_000, 20), (131_000, 200)] {
        let mut bench = Bench { climb, lag_ticks, ..Bench::at(12_000) };
        while bench.reading() < Celsius::from_milli(71_000) {
            assert_eq!(bench.tick(Duty::FULL, Duty::FULL), None, "{climb} uK/s at {:?}", bench.reading());
        }
        assert_eq!(bench.run(Duty::ZERO, Duty::ZERO, HOUR), None, "coasting and after");
        assert_eq!(bench.run(Duty::from_basis_points(300), Duty::ZERO, HOUR), None, "a hold whose heat is all lost");
    }
}

/// A lag far shorter than the one assumed, learned at any moment of the ramp, must not turn time that was given into work without a rise.
#[test]
fn a_lag_that_is_learned_in_mid_ramp_is_no_evidence() {
    for learned_after in (0..1_600).step_by(7) {
        let mut bench = Bench { climb: 131_000, lag_ticks: 80, ..Bench::at(12_000) };
        assert_eq!(bench.run(Duty::FULL, Duty::FULL, TICK.times(learned_after)), None);
        bench.learned = Some((Slope::from_micro(131_000), Span::from_secs(20)));
        while bench.reading() < Celsius::from_milli(80_000) {
            assert_eq!(bench.tick(Duty::FULL, Duty::FULL), None, "learned after {learned_after} ticks, at {:?}", bench.reading());
        }
    }
}

#[test]
fn h6_a_relay_that_fails_shorted_while_off_is_found_within_two_kelvin() {
    for climb in [33_000, 65_000, 131_000] {
        let mut bench = Bench { climb, ..Bench::at(60_000) };
        assert_eq!(bench.run(Duty::ZERO, Duty::ZERO, Span::from_mins(10)), None);
        let before = bench.reading();
        let found = bench.run(Duty::ZERO, Duty::FULL, HOUR);
        let Some((after, Finding::UnaskedHeat)) = found else { panic!("{found:?}") };
        assert!(bench.reading().above(before) < Kelvin::from_milli(2_000), "{climb} uK/s: {:?} at {after:?}", bench.reading());
        assert!(after <= Span::from_secs(90), "{climb} uK/s: found after {after:?}");
    }
}

#[test]
fn h6_half_a_shorted_relay_is_found_too() {
    let mut bench = Bench::at(60_000);
    bench.run(Duty::ZERO, Duty::ZERO, Span::from_mins(10));
    let found = bench.run(Duty::ZERO, Duty::from_basis_points(2_500), HOUR);
    assert!(matches!(found, Some((after, Finding::UnaskedHeat)) if after <= Span::from_mins(3)), "{found:?}");
}

#[test]
fn h6_a_shorted_relay_after_a_heat_up_is_not_taken_for_the_coast() {
    let mut bench = Bench::at(20_000);
    bench.learned = Some((Slope::from_micro(65_000), Span::from_secs(20)));
    bench.run(Duty::FULL, Duty::FULL, Span::from_mins(10));
    let found = bench.run(Duty::ZERO, Duty::FULL, HOUR);
    assert!(matches!(found, Some((after, Finding::UnaskedHeat)) if after <= Span::from_mins(4)), "{found:?}");
}

#[test]
fn h9_h12_a_reading_that_does_not_follow_full_power_is_found() {
    // Brimful and nothing learned: 2 K at 32.9 mK/s take 61 s after one and a half lags of 60 s and the grace.
    let mut bench = Bench::at(20_000);
    let unlearned = bench.run(Duty::FULL, Duty::ZERO, HOUR);
    assert!(matches!(unlearned, Some((after, Finding::NoRise)) if (150..=170).contains(&after.as_secs())), "{unlearned:?}");
    let mut bench = Bench::at(20_000);
    bench.learned = Some((Slope::from_micro(65_000), Span::from_secs(20)));
    let learned = bench.run(Duty::FULL, Duty::ZERO, HOUR);
    assert!(matches!(learned, Some((after, Finding::NoRise)) if (90..=110).contains(&after.as_secs())), "{learned:?}");
}

#[test]
fn h9_a_probe_that_falls_out_half_way_is_found_after_the_same_time() {
    let mut bench = Bench::at(20_000);
    bench.learned = Some((Slope::from_micro(65_000), Span::from_secs(20)));
    assert_eq!(bench.run(Duty::FULL, Duty::FULL, Span::from_mins(5)), None);
    let found = bench.run(Duty::FULL, Duty::ZERO, HOUR);
    assert!(matches!(found, Some((after, Finding::NoRise)) if after <= Span::from_secs(260)), "{found:?}");
}

/// A probe that hangs in the air follows it with a lag of up to some minutes, and falls all that while.
#[test]
fn h9_a_probe_that_cools_slowly_in_the_air_is_found_before_the_water_has_risen_far() {
    for lag_ticks in [60, 240, 960, 4_000] {
        let mut watch = HeatWatch::new(BOUNDS);
        let mut micro_c = 66_000_000_i64;
        let found = (1..20_000_u64).find(|_| {
            micro_c += (20_000_000 - micro_c) / lag_ticks;
            let reading = Celsius::from_milli(i32::try_from(micro_c / 1_000).unwrap());
            let facts =
                HeatFacts { elapsed: TICK, reading, applied: Duty::FULL, learned: None, may_come_from: None, drained: false };
            watch.tick(&facts) == Some(Finding::NoRise)
        });
        // The debt and the purse at three tenths of 32.9 mK/s take 111 s, the mean power a minute and a half to be above half for good.
        let after = TICK.times(found.expect("it is found"));
        assert!((Span::from_secs(140)..=Span::from_secs(290)).contains(&after), "lag of {lag_ticks} ticks: {after:?}");
    }
}

/// Cold water: a fall that full power cannot make good while it runs. What it is forgiven comes back with the rise that follows.
#[test]
fn eighty_seconds_of_cold_water_at_full_power_are_no_fault_and_again_after_a_rise() {
    let mut bench = Bench { climb: 33_000, ..Bench::at(60_000) };
    for time in 0..3 {
        assert_eq!(bench.run(Duty::FULL, Duty::FULL, Span::from_mins(4)), None, "rises before water {time}");
        for tick in 0..320 {
            bench.micro_c -= 60_000;
            assert_eq!(bench.tick(Duty::FULL, Duty::FULL), None, "water {time}, tick {tick}");
        }
    }
    assert_eq!(bench.run(Duty::FULL, Duty::FULL, Span::from_mins(4)), None);
    // Without a rise in between the purse is empty.
    for _ in 0..320 {
        bench.micro_c -= 60_000;
        assert_eq!(bench.tick(Duty::FULL, Duty::FULL), None);
    }
    let found = (0..480).find_map(|_| {
        bench.micro_c -= 60_000;
        bench.tick(Duty::FULL, Duty::FULL)
    });
    assert_eq!(found, Some(Finding::NoRise));
}

/// A poor probe: a standard deviation of 0.1 K each sample, 0.07 K after the median filter.
#[test]
fn noise_pays_no_debt() {
    let mut bench = Bench::at(20_000);
    let mut seed = 7_u64;
    let mut noise = || {
        let mut sum = 0_i64;
        for _ in 0..12 {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            sum += i64::try_from(seed >> 44).unwrap() - (1 << 19);
        }
        // Twelve uniforms within a half: a standard deviation of one.
        sum * 70_000 / (1 << 20)
    };
    let truth = bench.micro_c;
    let after = (1..2_400).find(|_| {
        bench.micro_c = truth + noise();
        bench.tick(Duty::FULL, Duty::ZERO) == Some(Finding::NoRise)
    });
    let after = TICK.times(after.expect("it is found"));
    assert!(after <= Span::from_secs(220), "{after:?}, without noise 160 s");
}

#[test]
fn pauses_take_no_evidence_away_while_the_mean_is_above_half() {
    for (on_s, off_s, within_min) in [(15, 10, 10), (60, 45, 30), (60, 20, 10)] {
        let mut bench = Bench::at(20_000);
        bench.learned = Some((Slope::from_micro(65_000), Span::from_secs(20)));
        let mut found = None;
        for _ in 0..within_min * 60 / (on_s + off_s) {
            found = found.or(bench.run(Duty::FULL, Duty::ZERO, Span::from_secs(on_s)));
            found = found.or(bench.run(Duty::ZERO, Duty::ZERO, Span::from_secs(off_s)));
        }
        assert!(matches!(found, Some((_, Finding::NoRise))), "{on_s} s of {} s", on_s + off_s);
    }
}

/// The arbiter pays a hold in slices of full power. Whatever the lag, a mean below half that only covers losses is no fault.
#[test]
fn a_hold_that_is_paid_in_slices_is_never_judged() {
    for lag_s in [5, 20, 60, 180] {
        for (on_s, off_s) in [(1, 3), (6, 8), (20, 25), (20, 80)] {
            let mut bench = Bench::at(75_000);
            bench.learned = Some((Slope::from_micro(131_000), Span::from_secs(lag_s)));
            for _ in 0..7_200 / (on_s + off_s) {
                assert_eq!(bench.run(Duty::FULL, Duty::ZERO, Span::from_secs(on_s)), None, "lag {lag_s} s, {on_s} s on");
                assert_eq!(bench.run(Duty::ZERO, Duty::ZERO, Span::from_secs(off_s)), None, "lag {lag_s} s, {off_s} s off");
            }
        }
    }
}

#[test]
fn evidence_outlives_a_lag_that_is_learned_anew_and_a_reading_that_is_missing() {
    let found_after = |disturb: fn(&mut Bench, u64)| {
        let mut bench = Bench::at(20_000);
        bench.learned = Some((Slope::from_micro(65_000), Span::from_secs(20)));
        (1..1_000).find(|&n| {
            disturb(&mut bench, n);
            bench.tick(Duty::FULL, Duty::ZERO).is_some()
        })
    };
    let undisturbed = found_after(|_, _| {}).expect("it is found");
    // Learned anew every second, to and fro around the same lag.
    let relearned = found_after(|bench, n| {
        let lag = Span::from_millis(if n % 8 < 4 { 18_000 } else { 22_000 });
        bench.learned = Some((Slope::from_micro(65_000), lag));
    });
    let gaps = found_after(|bench, n| {
        if n % 8 == 0 {
            bench.watch.look_away(TICK);
        }
    });
    assert!(relearned.is_some_and(|n| n.abs_diff(undisturbed) <= 20), "{relearned:?} against {undisturbed}");
    assert_eq!(gaps, Some(undisturbed));
}

#[test]
fn a_tank_whose_heat_goes_on_into_the_mash_is_not_judged_until_it_stays() {
    let mut bench = Bench { drained: true, ..Bench::at(70_000) };
    assert_eq!(bench.run(Duty::FULL, Duty::ZERO, HOUR), None);
    bench.drained = false;
    let found = bench.run(Duty::FULL, Duty::ZERO, HOUR);
    assert!(matches!(found, Some((after, Finding::NoRise)) if after <= Span::from_secs(210)), "{found:?}");
}

#[test]
fn near_the_boil_no_rise_is_no_fault() {
    let mut bench = Bench { climb: 0, ..Bench::at(93_000) };
    assert_eq!(bench.run(Duty::FULL, Duty::FULL, HOUR), None);
}

#[test]
fn a_hold_that_needs_less_than_half_power_is_never_judged() {
    let mut bench = Bench::at(70_000);
    assert_eq!(bench.run(Duty::from_basis_points(4_900), Duty::ZERO, HOUR), None);
}

#[test]
fn a_pour_is_neither_unasked_heat_nor_evidence() {
    // A bucket of boiling water into a quiet vessel.
    let mut bench = Bench::at(20_000);
    bench.run(Duty::ZERO, Duty::ZERO, Span::from_mins(5));
    for _ in 0..20 {
        bench.micro_c += 1_500_000;
        assert_eq!(bench.tick(Duty::ZERO, Duty::ZERO), None);
    }
    assert_eq!(bench.run(Duty::ZERO, Duty::ZERO, HOUR), None);
    // Cold water into one that heats: judged from the new low.
    let mut bench = Bench::at(60_000);
    bench.run(Duty::FULL, Duty::FULL, Span::from_mins(3));
    for _ in 0..40 {
        bench.micro_c -= 500_000;
        assert_eq!(bench.tick(Duty::FULL, Duty::FULL), None);
    }
    assert_eq!(bench.run(Duty::FULL, Duty::FULL, Span::from_mins(5)), None);
}

#[test]
fn a_gap_in_the_readings_hides_no_unasked_heat_and_a_leap_over_it_is_a_pour() {
    for (kelvin_milli, found) in [(1_700, true), (20_000, false)] {
        let mut bench = Bench::at(40_000);
        bench.run(Duty::ZERO, Duty::ZERO, Span::from_mins(5));
        for _ in 0..16 {
            bench.watch.look_away(TICK);
        }
        bench.micro_c += kelvin_milli * 1_000;
        let finding = bench.run(Duty::ZERO, Duty::ZERO, Span::from_mins(5));
        assert_eq!(finding.is_some(), found, "{kelvin_milli} mK over four seconds: {finding:?}");
    }
}

#[test]
fn heat_that_may_come_from_a_hotter_vessel_is_accepted_up_to_its_temperature() {
    let mut bench = Bench { may_come_from: Some(Celsius::from_milli(66_000)), ..Bench::at(20_000) };
    bench.run(Duty::ZERO, Duty::ZERO, Span::from_mins(5));
    let found = bench.run(Duty::ZERO, Duty::FULL, HOUR);
    assert!(matches!(found, Some((_, Finding::UnaskedHeat))));
    let reading = bench.reading();
    assert!(reading > Celsius::from_milli(67_000) && reading < Celsius::from_milli(67_500), "{reading:?}");
}

#[test]
fn a_vessel_that_was_filled_hot_and_then_heats_is_not_accused() {
    // A kettle at 20 C fills with wort of 74 C over some minutes; then its own element takes it to 94 C.
    let mut bench = Bench { may_come_from: Some(Celsius::from_milli(75_000)), ..Bench::at(20_000) };
    while bench.reading() < Celsius::from_milli(60_000) {
        bench.micro_c += 20_000;
        assert_eq!(bench.tick(Duty::ZERO, Duty::ZERO), None);
    }
    while bench.reading() < Celsius::from_milli(91_000) {
        assert_eq!(bench.tick(Duty::FULL, Duty::FULL), None, "at {:?}", bench.reading());
    }
    bench.may_come_from = None;
    assert_eq!(bench.run(Duty::ZERO, Duty::ZERO, HOUR), None);
    assert!(
        matches!(bench.run(Duty::ZERO, Duty::FULL, HOUR), Some((_, Finding::UnaskedHeat))),
        "and a shorted relay is still found"
    );
}

/// Half of the climb that was learned is believed, and no less than the largest filling's.
#[test]
fn a_climb_that_was_learned_makes_the_guard_faster_on_a_small_filling() {
    let after = |learned: Option<i32>| {
        let mut bench = Bench::at(20_000);
        bench.learned = learned.map(|micro| (Slope::from_micro(micro), UNKNOWN_LAG));
        bench.run(Duty::FULL, Duty::ZERO, HOUR).map(|(after, _)| after)
    };
    assert_eq!(after(Some(60_000)), after(None), "half of it is less than the largest filling's");
    let (slow, fast) = (after(None).unwrap(), after(Some(263_200)).unwrap());
    assert!(fast.plus(Span::from_secs(40)) < slow, "{fast:?} and {slow:?}");
}

/// Heat on its way is given one and a half lags to arrive: a thermometer that is half as late again as was learned is not accused.
#[test]
fn a_lag_half_as_long_again_as_was_learned_is_not_unasked_heat() {
    let mut bench = Bench { climb: 131_000, lag_ticks: 240, ..Bench::at(20_000) };
    bench.learned = Some((Slope::from_micro(131_000), Span::from_secs(40)));
    bench.run(Duty::FULL, Duty::FULL, Span::from_mins(5));
    assert_eq!(bench.run(Duty::ZERO, Duty::ZERO, HOUR), None);
}

/// A lesson from a heat-up that was broken off may be wrong, and the first one too.
#[test]
fn a_lesson_with_far_too_short_a_lag_makes_no_coast_unasked() {
    let coast = |lag_ticks: i64, lessons: &[u64]| {
        let mut bench = Bench { climb: 65_000, lag_ticks, ..Bench::at(20_000) };
        for &lag_s in lessons {
            bench.learned = Some((Slope::from_micro(65_000), Span::from_secs(lag_s)));
            assert_eq!(bench.run(Duty::FULL, Duty::FULL, Span::from_mins(3)), None);
        }
        bench.run(Duty::ZERO, Duty::ZERO, HOUR)
    };
    assert_eq!(coast(400, &[90, 9]), None, "the longer one is believed");
    assert_eq!(coast(120, &[9]), None, "and never less than half a minute");
    assert!(matches!(coast(400, &[9, 9]), Some((_, Finding::UnaskedHeat))), "with nothing longer to go by it is accused");
}

/// Half of the filling that was learned climbs twice as fast.
#[test]
fn a_vessel_refilled_with_half_is_not_accused_of_its_coast() {
    let mut bench = Bench { climb: 130_000, lag_ticks: 240, ..Bench::at(20_000) };
    bench.learned = Some((Slope::from_micro(65_000), Span::from_secs(60)));
    assert_eq!(bench.run(Duty::FULL, Duty::FULL, Span::from_mins(5)), None);
    assert_eq!(bench.run(Duty::ZERO, Duty::ZERO, HOUR), None);
}

/// Once the climb is known, a relay that shorts in a heat-up may not hide behind the steepest climb that the rig could have.
#[test]
fn h6_a_relay_that_shorts_in_a_heat_up_is_found_sooner_once_the_climb_is_known() {
    let rise_milli = |learned: Option<i32>| {
        let mut bench = Bench { climb: 40_000, lag_ticks: 240, ..Bench::at(20_000) };
        bench.learned = learned.map(|micro| (Slope::from_micro(micro), Span::from_secs(60)));
        bench.run(Duty::FULL, Duty::FULL, Span::from_mins(6));
        let before = bench.reading();
        assert!(matches!(bench.run(Duty::ZERO, Duty::FULL, HOUR), Some((_, Finding::UnaskedHeat))));
        bench.reading().above(before).milli()
    };
    // Time on its way at full power is one and a half lags: at one and a half times the climb 5.4 K, and the margin.
    let (known, unknown) = (rise_milli(Some(40_000)), rise_milli(None));
    assert!(known < 6_500, "{known} mK");
    assert!(unknown > known + 1_500, "{known} and {unknown} mK");
    assert_eq!(rise_milli(Some(200_000)), unknown, "never steeper than the rig can be");
}

#[test]
fn forgetting_starts_from_nothing() {
    let mut bench = Bench::at(20_000);
    bench.learned = Some((Slope::from_micro(65_000), Span::from_secs(20)));
    for _ in 0..20 {
        assert_eq!(bench.run(Duty::FULL, Duty::ZERO, Span::from_secs(80)), None);
        bench.watch.forget();
    }
}

#[test]
fn absurd_facts_do_not_wrap() {
    let mut watch = HeatWatch::new(BOUNDS);
    for reading in [Celsius::MAX, Celsius::MIN, Celsius::MAX] {
        for elapsed in [Span::ZERO, Span::from_micros(u64::MAX), TICK] {
            let learned = Some((Slope::from_micro(i32::MAX), Span::from_micros(u64::MAX)));
            let facts = HeatFacts { elapsed, reading, applied: Duty::FULL, learned, may_come_from: None, drained: false };
            watch.tick(&facts);
        }
    }
    watch.forget();
    assert_eq!((watch.ceiling, watch.mark, watch.debt), (None, None, 0));
}
