//! What happens to a kettle on a real brew day, and what the heat control makes of it.

use copperhold_core::heat::{Demand, HeatConfig, HeatControl, Learned, Phase};
use copperhold_core::units::{Slope, Span};
use copperhold_tests::bench_kettle::Bench;
use copperhold_tests::heat_bench::{Run, celsius, duty, heat_up};

/// The common rig, at its target and settled.
fn settled_at(target_c: f64) -> Run {
    let mut run = Run::new(Bench { target_c, ..Bench::common() }, 1, None);
    run.run_for(4000.0);
    assert!((run.kettle.bulk_c() - target_c).abs() < 0.1, "settled at {:.2}", run.kettle.bulk_c());
    run
}

#[test]
fn arrives_at_71c_and_does_not_pass_it() {
    let outcome = heat_up(Bench::common(), 1, None);
    assert!(outcome.ratio < 1.01, "ratio {:.4}", outcome.ratio);
    assert!(outcome.overshoot_k < 0.1, "overshoot {:.3}", outcome.overshoot_k);
    assert!(outcome.hold_rms_k < 0.03, "hold {:.3}", outcome.hold_rms_k);
}

#[test]
fn holds_71c_within_a_tenth_after_ten_litres_of_cold_water() {
    let mut run = settled_at(71.0);
    run.kettle.pour(10.0, 12.0);
    let (_, high) = run.run_for(1500.0);
    assert!(high < 71.4, "passed 71 C by {:.2}", high - 71.0);
    let (low, high) = run.run_for(1500.0);
    assert!(low > 70.9 && high < 71.1, "{low:.2} to {high:.2}");
}

#[test]
fn a_noisy_thermometer_is_no_excuse() {
    for seed in 0..5 {
        let outcome = heat_up(Bench { noise_k: 0.1, step_k: 0.0625, refresh_s: 0.75, ..Bench::common() }, seed, None);
        assert!(outcome.overshoot_k < 0.15 && outcome.ratio < 1.02 && outcome.hold_rms_k < 0.04, "{outcome:?}");
    }
}

#[test]
fn a_stir_in_mid_ramp_moves_the_reading_and_not_the_judgement() {
    for (at_s, kelvin) in [(60.0, 1.0), (150.0, 1.5), (300.0, -1.0), (1000.0, 1.5)] {
        let mut run = Run::new(Bench::common(), 3, None);
        run.run_for(at_s);
        run.kettle.stir(kelvin);
        let (_, high) = run.run_for(3500.0);
        assert!(high < 71.35, "stirred {kelvin} K at {at_s} s: passed by {:.2}", high - 71.0);
        assert!((run.kettle.bulk_c() - 71.0).abs() < 0.1);
    }
}

#[test]
fn recirculation_that_adds_a_fifth_of_the_volume_in_mid_ramp_does_not_overshoot() {
    // A minute into the first ramp ever nothing is known yet: that is the dear one.
    for (at_s, allowed_k) in [(60.0, 0.5), (200.0, 0.3), (900.0, 0.3)] {
        let mut run = Run::new(Bench::common(), 4, None);
        run.run_for(at_s);
        let at_c = run.kettle.bulk_c() - 5.0;
        run.kettle.pour(8.0, at_c);
        let (_, high) = run.run_for(4500.0);
        assert!(high < 71.0 + allowed_k, "started at {at_s} s: passed by {:.2}", high - 71.0);
        assert!((run.kettle.bulk_c() - 71.0).abs() < 0.1, "started at {at_s} s: {:.2}", run.kettle.bulk_c());
    }
}

#[test]
fn a_target_changed_in_mid_ramp_is_met_as_if_it_had_been_meant_all_along() {
    for to_c in [55.0, 66.0, 70.5, 72.0, 76.0] {
        let mut run = Run::new(Bench::common(), 5, None);
        run.run_for(900.0);
        run.demand = Demand::Hold(celsius(to_c));
        let (_, high) = run.run_for(4000.0);
        assert!(high < to_c + 0.15, "to {to_c} C: passed by {:.2}", high - to_c);
        assert!((run.kettle.bulk_c() - to_c).abs() < 0.1, "to {to_c} C: {:.2}", run.kettle.bulk_c());
    }
}

#[test]
fn a_target_lowered_below_the_water_waits_and_does_not_dip() {
    let mut run = settled_at(71.0);
    run.demand = Demand::Hold(celsius(69.0));
    let (low, _) = run.run_for(9000.0);
    assert!(low > 68.8, "dipped to {low:.2}");
    assert!((run.kettle.bulk_c() - 69.0).abs() < 0.1, "{:.2}", run.kettle.bulk_c());
}

#[test]
fn a_start_close_to_the_target_has_no_ramp_to_learn_from_and_does_not_overshoot() {
    for short_k in [0.2, 0.6, 1.0, 2.0, 4.0] {
        let outcome = heat_up(Bench { start_c: 71.0 - short_k, ..Bench::common() }, 6, None);
        assert!(outcome.overshoot_k < 0.2, "{short_k} K short: passed by {:.2}", outcome.overshoot_k);
        assert!(outcome.hold_rms_k < 0.06, "{short_k} K short: {:.3}", outcome.hold_rms_k);
    }
}

/// The bound on the climb follows from the least filling: a full kettle climbs many times slower, and that is all that is known of it.
#[test]
fn a_start_close_to_the_target_in_a_kettle_far_slower_than_its_bound_does_not_swing() {
    for short_k in [0.4, 0.6, 0.8, 1.0, 1.5, 2.5] {
        for times in [2.0, 5.0, 12.0] {
            let bench = Bench { start_c: 71.0 - short_k, ..Bench::common() };
            let mut run = Run::bounded(bench, 16, None, times);
            let (_, high) = run.run_for(900.0);
            // Less than a kelvin is a poor ramp to learn from: it may leave a slow swing, until a longer one comes.
            let (passes, swings) = if short_k < 1.0 { (0.7, 0.4) } else { (0.2, 0.1) };
            assert!(high < 71.0 + passes, "{short_k} K short, bound {times} times: passed by {:.2}", high - 71.0);
            run.run_for(900.0);
            let (low, high) = run.run_for(1800.0);
            assert!(low > 71.0 - swings && high < 71.0 + swings, "{short_k} K short, bound {times} times: {low:.2} to {high:.2}");
        }
    }
}

/// While the other vessel has the element, nothing tells of climb and lag, and the time does not count.
#[test]
fn ten_minutes_of_waiting_for_the_element_change_nothing_of_what_is_learned() {
    let first_lesson = |waits_s: f64| {
        let mut run = Run::new(Bench::common(), 9, None);
        run.granted = 0.0;
        run.run_for(waits_s);
        run.granted = 1.0;
        let mut ramp_s = 0.0;
        while run.control.learned().is_none() && ramp_s < 3000.0 {
            run.run_for(1.0);
            ramp_s += 1.0;
        }
        let learned = run.control.learned().expect("a ramp");
        [ramp_s, f64::from(learned.slope().micro()), learned.lag().as_millis() as f64]
    };
    let (at_once, later) = (first_lesson(0.0), first_lesson(600.0));
    for (then, now) in at_once.into_iter().zip(later) {
        assert!((now / then - 1.0).abs() < 0.03, "{at_once:?} {later:?}");
    }
}

#[test]
fn steps_of_a_mash_are_met_from_what_the_first_ramp_taught() {
    let mut run = settled_at(66.0);
    for to_c in [67.0, 72.0, 73.5, 78.0] {
        run.demand = Demand::Hold(celsius(to_c));
        let (_, high) = run.run_for(1800.0);
        assert!(high < to_c + 0.15, "to {to_c} C: passed by {:.2}", high - to_c);
        let (low, _) = run.run_for(300.0);
        assert!(low > to_c - 0.15, "to {to_c} C: {low:.2}");
    }
}

#[test]
fn a_mains_sag_of_a_tenth_in_the_ramp_or_the_hold_is_made_good() {
    for at_s in [100.0, 1200.0, 3500.0] {
        let mut run = Run::new(Bench::common(), 7, None);
        run.run_for(at_s);
        run.kettle.bench.power_w *= 0.81;
        let (_, high) = run.run_for(6000.0 - at_s);
        assert!(high < 71.2, "at {at_s} s: passed by {:.2}", high - 71.0);
        let (low, high) = run.run_for(1000.0);
        assert!(low > 70.9 && high < 71.1, "at {at_s} s: {low:.2} to {high:.2}");
    }
}

#[test]
fn a_lid_put_on_or_taken_off_is_made_good() {
    for (before, after) in [(18.0, 1.5), (1.5, 18.0)] {
        for at_s in [1000.0, 3500.0] {
            let mut run = Run::new(Bench { evaporation_w_per_kpa: before, ..Bench::common() }, 8, None);
            run.run_for(at_s);
            run.kettle.bench.evaporation_w_per_kpa = after;
            let (_, high) = run.run_for(2500.0);
            assert!(high < 71.35, "{before} -> {after} at {at_s} s: passed by {:.2}", high - 71.0);
            let (low, high) = run.run_for(1500.0);
            assert!(low > 70.85 && high < 71.15, "{before} -> {after} at {at_s} s: {low:.2} to {high:.2}");
        }
    }
}

#[test]
fn an_element_shared_with_the_other_vessel_slows_the_ramp_and_upsets_nothing() {
    let mut run = Run::new(Bench::common(), 9, None);
    // The arbiter gives this vessel the element for one minute in two, then for good.
    for minute in 0..40 {
        run.granted = f64::from(minute % 2);
        run.run_for(60.0);
    }
    run.granted = 1.0;
    let (_, high) = run.run_for(4000.0);
    assert!(high < 71.15, "passed by {:.2}", high - 71.0);
    assert!((run.kettle.bulk_c() - 71.0).abs() < 0.1);
    let learned = run.control.learned().expect("a ramp teaches");
    let slope = f64::from(learned.slope().micro()) / 1e6;
    assert!((slope / run.kettle.bench.slope() - 1.0).abs() < 0.1, "climb {slope}");
}

/// Eleven kilowatts, eleven litres and a minute of pipe before the thermometer: 24 K are on their way when the power goes off. A reading that
/// stands still through the dead time once passed for a vessel that hardly climbs, and the water went 10 K too far.
#[test]
fn a_minute_of_dead_time_is_not_taken_for_a_slow_vessel() {
    let slow_to_tell = Bench {
        litres: 10.9,
        power_w: 10_800.0,
        sheath_s: 13.4,
        mixing_s: 4.8,
        delay_s: 63.9,
        probe_s: 17.5,
        evaporation_w_per_kpa: 1.0,
        step_k: 0.0625,
        refresh_s: 0.75,
        start_c: 8.0,
        target_c: 51.0,
        ..Bench::common()
    };
    for seed in 0..4 {
        let mut run = Run::new(slow_to_tell, seed, None);
        // The vessel holds a third more than is in it; without that figure this rig is still passed by 8 K.
        let config = HeatConfig::new(Slope::from_micro(300_000)).expect("in range").with_brimful(Slope::from_micro(178_000));
        run.control = HeatControl::new(config, None);
        let (_, high) = run.run_for(1500.0);
        println!("seed {seed}: passed by {:.2} K", high - 51.0);
        assert!(high < 51.0 + 1.5, "seed {seed}: passed by {:.2}", high - 51.0);
    }
}

#[test]
fn a_record_from_another_volume_costs_at_most_half_a_kelvin() {
    let truth = Bench::common();
    for slope_factor in [0.4, 2.5] {
        for lag_factor in [0.4, 2.5] {
            let wrong = Learned::new(
                Slope::from_micro((truth.slope() * slope_factor * 1e6) as i32),
                Span::from_millis((truth.lag() * lag_factor * 1e3) as u64),
                Slope::from_micro(3000),
            );
            let outcome = heat_up(truth, 10, Some(wrong));
            assert!(outcome.overshoot_k < 0.5, "climb x{slope_factor}, lag x{lag_factor}: {outcome:?}");
            let learned = outcome.learned.expect("learned anew");
            assert!((f64::from(learned.slope().micro()) / 1e6 / truth.slope() - 1.0).abs() < 0.1, "{learned:?}");
        }
    }
}

#[test]
fn the_change_from_percent_to_hold_near_the_target_has_no_bump() {
    let mut run = settled_at(71.0);
    let standing = run.asked;
    run.demand = Demand::Percent(duty(standing + 0.05));
    run.run_for(20.0);
    assert_eq!(run.control.phase(), Phase::Fixed);
    run.demand = Demand::Hold(celsius(71.0));
    let before = run.asked;
    run.tick();
    assert!((run.asked - before).abs() < 0.03, "{before:.3} -> {:.3}", run.asked);
    let (low, high) = run.run_for(1200.0);
    assert!(low > 70.85 && high < 71.25, "{low:.2} to {high:.2}");
    // And back: a percentage that equals the present duty moves nothing.
    let before = run.asked;
    run.demand = Demand::Percent(duty(before));
    run.tick();
    assert!((run.asked - before).abs() < 1e-3);
}

#[test]
fn a_percentage_is_passed_through_and_still_teaches() {
    let mut run = Run::new(Bench::common(), 11, None);
    run.demand = Demand::Percent(duty(0.8));
    run.run_for(900.0);
    assert!((run.asked - 0.8).abs() < 1e-3);
    let learned = run.control.learned().expect("a ramp at 80 % teaches");
    assert!((f64::from(learned.slope().micro()) / 1e6 / run.kettle.bench.slope() - 1.0).abs() < 0.1, "{learned:?}");
    assert!((learned.lag().as_millis() as f64 / 1e3 / run.kettle.bench.lag() - 1.0).abs() < 0.15, "{learned:?}");
}

#[test]
fn off_gives_nothing_and_a_reset_keeps_what_was_learned() {
    let mut run = settled_at(71.0);
    let learned = run.control.learned();
    assert!(learned.is_some());
    run.demand = Demand::Off;
    run.tick();
    assert_eq!((run.asked, run.control.phase()), (0.0, Phase::Off));
    run.control.reset();
    assert_eq!((run.control.learned(), run.control.phase()), (learned, Phase::Off));
}

#[test]
fn t6_ticks_of_uneven_length_change_nothing_that_matters() {
    let mut run = Run::new(Bench::common(), 12, None);
    let lengths = [0.25, 0.05, 0.9, 0.25, 0.4, 0.01, 1.0];
    let mut highest: f64 = 0.0;
    for length in lengths.iter().cycle() {
        run.tick_for(*length);
        highest = highest.max(run.kettle.bulk_c());
        if run.kettle.time_s > 4000.0 {
            break;
        }
    }
    assert!(highest < 71.15, "passed by {:.2}", highest - 71.0);
    assert!((run.kettle.bulk_c() - 71.0).abs() < 0.1);
}
