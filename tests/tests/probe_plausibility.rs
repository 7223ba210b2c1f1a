//! The plausibility filter against arbitrary probes and clocks.

use copperhold_core::probe::{Limits, Plausibility, ProbeFault, Reading};
use copperhold_core::units::{Celsius, Instant, Span};
use proptest::prelude::*;

fn any_reading() -> impl Strategy<Value = Reading> {
    prop_oneof![
        4 => (-10_000..=130_000).prop_map(|milli| Ok(Celsius::from_milli(milli))),
        4 => (65_000..=67_000).prop_map(|milli| Ok(Celsius::from_milli(milli))),
        1 => Just(Ok(Celsius::MIN)),
        1 => Just(Ok(Celsius::MAX)),
        4 => prop::sample::select(ProbeFault::ALL.to_vec()).prop_map(Err),
    ]
}

/// A step of the clock, in microseconds: mostly a control tick, at times none, long, or backwards.
fn any_step() -> impl Strategy<Value = i64> {
    prop_oneof![
        12 => Just(250_000_i64),
        4 => 1..=1_000_000_i64,
        1 => Just(0),
        1 => 1_000_000..=120_000_000_i64,
        1 => -10_000_000..=-1_i64,
    ]
}

fn any_limits() -> impl Strategy<Value = Limits> {
    prop::sample::select(vec![Limits::EVERY_TICK, Limits::ONE_WIRE])
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    #[test]
    fn whatever_comes_an_output_is_a_recent_sample_and_a_clock_going_back_is_a_fault(
        limits in any_limits(),
        start in prop_oneof![Just(0_u64), Just(u64::MAX - 1_000_000), any::<u64>()],
        calls in prop::collection::vec((any_step(), any_reading()), 1..120),
    ) {
        let mut filter = Plausibility::new(limits);
        let mut us = start;
        // Every good sample since the clock last ran backwards.
        let mut good: Vec<(Instant, Celsius)> = Vec::new();
        let mut first = true;
        for (step, reading) in calls {
            let before = us;
            us = us.saturating_add_signed(step);
            let now = Instant::from_micros(us);
            let seen = filter.check(now, reading);
            if us < before && !first {
                good.clear();
                prop_assert_eq!(seen, Err(ProbeFault::Stale));
                continue;
            }
            first = false;
            if let Ok(celsius) = reading {
                good.push((now, celsius));
            }
            if let Ok(output) = seen {
                let within = |age: Span| move |at: Instant| now.since(at).is_some_and(|past| past <= age);
                let held = within(limits.hold_for());
                prop_assert!(good.iter().any(|(at, _)| held(*at)), "nothing good within the hold time");
                // A median may be older than the newest sample, by the hold time at most.
                let shown = within(limits.hold_for().times(2));
                prop_assert!(good.iter().any(|(at, c)| shown(*at) && *c == output), "{output:?} was never measured");
            }
        }
    }

    #[test]
    fn a_single_glitch_of_any_size_never_passes(
        from in 5_000..100_000_i32,
        slope in -2_000..=2_000_i32,
        at in 1..30_usize,
        glitch in prop_oneof![
            (-10_000..=130_000_i32).prop_map(|milli| Ok(Celsius::from_milli(milli))),
            prop::sample::select(ProbeFault::ALL.to_vec()).prop_map(Err),
        ],
        jitter in prop::collection::vec(200_000..=300_000_u64, 40),
    ) {
        // A liquid that changes by less than 0.1 K per sample with a probe that errs once.
        let mut filter = Plausibility::new(Limits::EVERY_TICK);
        let mut now = Instant::START;
        let truth = |n: usize| from + slope * i32::try_from(n).unwrap() / 20;
        for (n, us) in jitter.into_iter().enumerate() {
            now = now.plus(Span::from_micros(us));
            let reading = if n == at { glitch } else { Ok(Celsius::from_milli(truth(n))) };
            let seen = filter.check(now, reading);
            let output = seen.map_err(|fault| TestCaseError::fail(format!("{fault:?} at {n}")))?;
            // At most two samples behind: one for the median, one for the glitch in its place.
            let behind = (0..=2).map(|back| truth(n.saturating_sub(back)));
            let (low, high) = (behind.clone().min().unwrap(), behind.max().unwrap());
            prop_assert!((low - 1..=high + 1).contains(&output.milli()), "{output:?} at {n}");
        }
    }

    #[test]
    fn a_true_change_within_the_rate_is_never_a_fault_and_at_most_one_sample_late(
        from in 20_000..80_000_i32,
        steps in prop::collection::vec((100_000..=500_000_u64, -9_900..=9_900_i64), 3..200),
    ) {
        let mut filter = Plausibility::new(Limits::EVERY_TICK);
        let (mut now, mut milli) = (Instant::START, i64::from(from));
        let mut last = Vec::new();
        for (us, rate_mk_per_s) in steps {
            now = now.plus(Span::from_micros(us));
            milli = (milli + rate_mk_per_s * i64::try_from(us).unwrap() / 1_000_000).clamp(-10_000, 130_000);
            let sample = Celsius::from_milli(i32::try_from(milli).unwrap());
            last.push(sample);
            let output = filter.check(now, Ok(sample));
            let output = output.map_err(|fault| TestCaseError::fail(format!("{fault:?}")))?;
            let mut three: Vec<_> = last.iter().rev().take(3).copied().collect();
            let expected = if three.len() < 3 { last[0] } else { three.sort(); three[1] };
            prop_assert_eq!(output, expected);
        }
    }

    #[test]
    fn faults_alone_never_become_a_temperature(
        limits in any_limits(),
        faults in prop::collection::vec((any_step(), prop::sample::select(ProbeFault::ALL.to_vec())), 1..60),
    ) {
        let mut filter = Plausibility::new(limits);
        let mut us = 10_000_000_u64;
        for (step, fault) in faults {
            us = us.saturating_add_signed(step);
            prop_assert!(filter.check(Instant::from_micros(us), Err(fault)).is_err());
        }
    }
}
