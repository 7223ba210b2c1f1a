//! The PID block and the heat control at their limits.

use copperhold_core::heat::pid::{Pid, PidGains, PidGainsError};
use copperhold_core::heat::{Demand, HeatConfig, HeatConfigError, HeatControl, Learned};
use copperhold_core::units::{Celsius, Duty, Slope, Span};
use copperhold_tests::heat_bench::{celsius, share};
use fixed::types::{I8F24, I16F16};
use proptest::prelude::*;

const TICK: Span = Span::from_millis(250);

fn gains(kc: f64, ti_s: Option<u64>, td_s: u64) -> PidGains {
    PidGains::new(I16F16::from_num(kc), ti_s.map(Span::from_secs), Span::from_secs(td_s)).unwrap()
}

#[test]
fn follows_the_textbook_form_within_a_thousandth() {
    // u = Kc (e + 1/Ti sum(e dt)) for PI; floating point beside it.
    let mut pid = Pid::new(gains(0.05, Some(120), 0));
    let (mut integral, mut worst) = (0.0, 0.0_f64);
    for tick in 0..2000 {
        let measured = 60.0 + 4.0 * (f64::from(tick) / 300.0).sin();
        let error = celsius(63.0).above(celsius(measured)).fixed().to_num::<f64>();
        let step = 0.05 * error * 0.25 / 120.0;
        let moved = integral + step;
        // The same limits as the block's, in words: never push past full or below nothing.
        integral =
            if step > 0.0 { moved.min((1.0 - 0.05 * error).max(integral)) } else { moved.max((-0.05 * error).min(integral)) };
        let expected = (0.05 * error + integral).clamp(0.0, 1.0);
        worst = worst.max((share(pid.tick(TICK, celsius(63.0), celsius(measured))) - expected).abs());
    }
    assert!(worst < 1e-3, "{worst}");
}

#[test]
fn derivative_of_a_steady_climb_is_its_slope_times_td_and_a_new_setpoint_gives_no_kick() {
    let mut pid = Pid::new(gains(0.1, None, 20));
    pid.preload(Duty::from_basis_points(5_000));
    let mut level = 60.0;
    for _ in 0..400 {
        level += 0.02 * 0.25;
        pid.tick(TICK, celsius(level), celsius(level));
    }
    // Error zero: what is left is 0.5 less Kc Td times the slope.
    let output = share(pid.tick(TICK, celsius(level), celsius(level)));
    assert!((output - (0.5 - 0.1 * 20.0 * 0.02)).abs() < 6e-3, "{output}");
    let moved = share(pid.tick(TICK, celsius(level + 1.0), celsius(level)));
    assert!((moved - output - 0.1).abs() < 6e-3, "proportional only: {output} -> {moved}");
}

#[test]
fn an_hour_at_full_power_winds_nothing_up() {
    let mut pid = Pid::new(gains(0.2, Some(60), 0));
    for _ in 0..4 * 3600 {
        assert_eq!(pid.tick(TICK, celsius(66.0), celsius(20.0)), Duty::FULL);
    }
    assert_eq!(pid.tick(TICK, celsius(66.0), celsius(66.1)), Duty::ZERO);
}

#[test]
fn swapping_gains_and_taking_over_from_another_hand_does_not_bump() {
    let mut pid = Pid::new(gains(0.05, Some(120), 15));
    for tick in 0..200 {
        pid.tick(TICK, celsius(66.0), celsius(60.0 + f64::from(tick) * 0.02));
    }
    // At rest, so that the derivative filter has nothing left to forget.
    for _ in 0..100 {
        pid.tick(TICK, celsius(66.0), celsius(64.0));
    }
    let before = share(pid.tick(TICK, celsius(66.0), celsius(64.0)));
    assert!(before > 0.05 && before < 0.95, "within the band: {before}");
    pid.set_gains(gains(0.12, Some(400), 5));
    let after = share(pid.tick(TICK, celsius(66.0), celsius(64.0)));
    assert!((after - before).abs() < 0.002, "{before} -> {after}");
    pid.track(Duty::from_basis_points(4_200));
    let taken = share(pid.tick(TICK, celsius(66.0), celsius(64.0)));
    assert!((taken - 0.42).abs() < 0.002, "{taken}");
}

#[test]
fn t4_limits_come_after_everything_that_is_added() {
    let mut pid = Pid::new(gains(10.0, Some(30), 10));
    pid.preload(Duty::FULL);
    pid.set_limits(Duty::from_basis_points(1_000), Duty::from_basis_points(6_000));
    for measured in [-100.0, 0.0, 65.9, 66.0, 66.1, 300.0] {
        let output = pid.tick(TICK, celsius(66.0), celsius(measured)).basis_points();
        assert!((1_000..=6_000).contains(&output), "{measured}: {output}");
    }
}

#[test]
fn t6_a_late_tick_integrates_what_has_passed_but_no_more_than_a_second() {
    let rise = |dt: Span| {
        let mut pid = Pid::new(gains(0.01, Some(10), 0));
        pid.tick(dt, celsius(66.0), celsius(64.0));
        share(pid.tick(Span::ZERO, celsius(66.0), celsius(66.0)))
    };
    let second = rise(Span::from_secs(1));
    assert!((rise(Span::from_millis(500)) - second / 2.0).abs() < 1e-4);
    assert!((second - 0.002).abs() < 1e-4, "{second}");
    assert_eq!(rise(Span::from_secs(1)), rise(Span::from_mins(600)));
}

#[test]
fn gains_and_bounds_out_of_range_are_refused_by_name() {
    let (kc, second) = (I16F16::ONE, Span::from_secs(1));
    assert_eq!(PidGains::new(I16F16::ZERO, None, Span::ZERO), Err(PidGainsError::Proportional(I16F16::ZERO)));
    let short = Span::from_millis(999);
    assert_eq!(PidGains::new(kc, Some(short), Span::ZERO), Err(PidGainsError::IntegralTime(short)));
    let long = Span::from_secs(10_001);
    assert_eq!(PidGains::new(kc, Some(second), long), Err(PidGainsError::DerivativeTime(long)));
    for slope in [Slope::ZERO, Slope::from_micro(999), Slope::from_micro(1_100_000)] {
        assert_eq!(HeatConfig::new(slope), Err(HeatConfigError::MaxSlope(slope)));
    }
}

#[test]
fn a_brimful_volume_bounds_the_climb_and_guesses_it_where_it_says_something() {
    let config =
        |most, brimful| HeatConfig::new(Slope::from_micro(most)).expect("in range").with_brimful(Slope::from_micro(brimful));
    let known = config(200_000, 30_000);
    assert_eq!((known.least_slope().micro(), known.usual_slope().micro()), (20_000, 45_000));
    // Thirty times apart: nobody said how large the vessel is.
    let unsaid = config(200_000, 6_000);
    assert_eq!((unsaid.least_slope().micro(), unsaid.usual_slope().micro()), (4_000, 200_000));
    let steeper = config(200_000, 400_000);
    assert_eq!((steeper.least_slope().micro(), steeper.usual_slope().micro()), (200_000, 200_000));
    assert_eq!(config(200_000, -1).least_slope(), Slope::ZERO);
    assert_eq!(HeatConfig::new(Slope::from_micro(200_000)).expect("in range").usual_slope().micro(), 200_000);
}

#[test]
fn a_record_is_brought_within_its_bounds() {
    let least = Learned::new(Slope::from_fixed(I8F24::MIN), Span::ZERO, Slope::from_fixed(I8F24::MIN));
    let most = Learned::new(Slope::from_fixed(I8F24::MAX), Span::from_mins(u64::MAX), Slope::from_fixed(I8F24::MAX));
    assert_eq!((least.slope().micro() + 1) / 10, 50);
    assert_eq!((least.lag(), least.loss()), (Span::from_secs(5), Slope::ZERO));
    assert!((most.slope().micro() - 1_000_000).abs() <= 1 && (most.loss().micro() - 20_000).abs() <= 1);
    assert_eq!(most.lag(), Span::from_secs(180));
}

fn any_celsius() -> impl Strategy<Value = Celsius> {
    prop_oneof![(-100_000..=300_000).prop_map(Celsius::from_milli), (60_000..75_000).prop_map(Celsius::from_milli)]
}

fn any_demand() -> impl Strategy<Value = Demand> {
    prop_oneof![
        Just(Demand::Off),
        any_celsius().prop_map(Demand::Hold),
        (0..=10_000_u32).prop_map(|bp| Demand::Percent(Duty::from_basis_points(bp))),
    ]
}

proptest! {
    #[test]
    fn t2_extreme_gains_and_errors_stay_in_limits_and_are_monotonic_in_the_error(
        kc in 1..=i32::MAX, ti in proptest::option::of(1..100_000_u64), td in 0..10_000_u64,
        history in proptest::collection::vec((any_celsius(), any_celsius(), 0..2_000_u64), 0..20),
        measured in any_celsius(), setpoints in (any_celsius(), any_celsius()), dt in 1..2_000_u64,
    ) {
        let gains = PidGains::new(I16F16::from_bits(kc), ti.map(Span::from_secs), Span::from_secs(td)).unwrap();
        let mut pid = Pid::new(gains);
        for (setpoint, measured, ms) in history {
            let output = pid.tick(Span::from_millis(ms), setpoint, measured);
            prop_assert!(output <= Duty::FULL);
        }
        let (low, high) = (setpoints.0.min(setpoints.1), setpoints.0.max(setpoints.1));
        let (mut colder, mut warmer) = (pid, pid);
        let dt = Span::from_millis(dt);
        prop_assert!(colder.tick(dt, low, measured) <= warmer.tick(dt, high, measured));
    }

    #[test]
    fn any_day_at_all_gives_a_duty_between_nothing_and_full(
        bound in 1_000..=1_000_000_i32,
        record in proptest::option::of((0..2_000_000_i32, 0..400_000_u64, 0..100_000_i32)),
        day in proptest::collection::vec((any_demand(), any_celsius(), any_celsius(), 0..=10_000_u32, 0..2_000_u64, 1..60_usize), 1..40),
    ) {
        let learned = record.map(|(k, l, b)| Learned::new(Slope::from_micro(k), Span::from_millis(l), Slope::from_micro(b)));
        let mut control = HeatControl::new(HeatConfig::new(Slope::from_micro(bound)).unwrap(), learned);
        for (demand, from, to, applied, ms, ticks) in day {
            for tick in 0..ticks {
                let reading = if tick % 3 == 0 { to } else { from };
                let duty = control.tick(Span::from_millis(ms), reading, Duty::from_basis_points(applied), demand);
                prop_assert!(duty <= Duty::FULL);
                if demand == Demand::Off {
                    prop_assert_eq!(duty, Duty::ZERO);
                }
            }
        }
    }
}
