//! The rivals against what is known of their laws.

use copperhold::plant::Figures;
use copperhold::survey::rivals::{CratePid, Gains, Pi, Thermostat, simc, ziegler_nichols};
use copperhold::survey::trial::{Plant, Ramp, free, pi, tick_s};
use copperhold::survey::{Contender, Draw, Field, survey_rig};

const KETTLE: Figures = Figures { power_w: 5500.0, climb_k_per_s: 0.0348, lag_s: 20.0, standing_duty: 0.1 };

/// Skogestad 2003 with tc = L, and Ziegler and Nichols 1942, worked by hand for k = 0.0348 K/s and L = 20 s.
#[test]
fn rules_give_the_published_gains() {
    let Gains { per_k, integral_s } = simc(&KETTLE);
    assert!((per_k - 0.718_391).abs() < 1e-6 && (integral_s - 160.0).abs() < 1e-9, "{per_k} {integral_s}");
    let Gains { per_k, integral_s } = ziegler_nichols(&KETTLE);
    assert!((per_k - 1.293_103).abs() < 1e-6 && (integral_s - 66.666_667).abs() < 1e-5, "{per_k} {integral_s}");
}

/// An integrator with a dead time of `L` under a load of half its power; the size of the last swing over that of an early one.
fn growth(gain_over_ultimate: f64) -> f64 {
    let (k, lag_s) = (KETTLE.climb_k_per_s, KETTLE.lag_s);
    // The exact edge of stability of an integrator with dead time: Ku = pi / (2 k L). A held output adds half a tick to the dead time.
    let ultimate = std::f64::consts::PI / (2.0 * k * (lag_s + 0.5 * tick_s()));
    let gains = Gains { per_k: gain_over_ultimate * ultimate, integral_s: 1e12 };
    let mut law = Pi::new(70.0, gains);
    let rest_c = 70.0 - 0.5 / gains.per_k;
    let mut pipe = std::collections::VecDeque::from(vec![0.5; (lag_s / tick_s()).round() as usize]);
    let mut t_c = rest_c + 0.002;
    let (mut early, mut late) = (0.0_f64, 0.0_f64);
    let ticks = (60.0 * lag_s / tick_s()) as usize;
    for tick in 0..ticks {
        pipe.push_back(law.duty(t_c));
        let arriving = pipe.pop_front().expect("the pipe is never empty");
        t_c += k * (arriving - 0.5) * tick_s();
        let off = (t_c - rest_c).abs();
        if tick < ticks / 4 {
            early = early.max(off);
        } else if tick > 3 * ticks / 4 {
            late = late.max(off);
        }
    }
    late / early
}

#[test]
fn the_pi_is_stable_just_below_the_ultimate_gain_and_unstable_just_above() {
    let (below, above) = (growth(0.93), growth(1.07));
    assert!(below < 0.5, "{below}");
    assert!(above > 1.5, "{above}");
}

#[test]
fn the_crate_agrees_with_the_pi_while_nothing_saturates() {
    let gains = Gains { per_k: 0.2, integral_s: 160.0 };
    let (mut ours, mut theirs) = (Pi::new(70.0, gains), CratePid::new(70.0, gains, 1.0));
    for tick in 0..2000_u32 {
        let reading_c = 69.0 + 0.5 * (f64::from(tick) * 0.01).sin();
        let (a, b) = (ours.duty(reading_c), theirs.duty(reading_c));
        // They differ by the order of a step: one integrates before it answers.
        let step = gains.per_k * (70.0 - reading_c) * tick_s() / gains.integral_s;
        if a < 1.0 && b < 1.0 {
            assert!((a + step - b).abs() < 1e-9, "tick {tick}: {a} {b}");
        }
    }
    assert!(ours.duty(69.9) > 0.3, "the integral has grown");
}

#[test]
fn the_thermostat_switches_where_it_says() {
    let mut thermostat = Thermostat::new(60.0);
    let duties = [59.6, 59.5, 59.9, 60.0, 59.6, 59.4].map(|c| thermostat.duty(c));
    assert_eq!(duties, [0.0, 1.0, 1.0, 0.0, 0.0, 1.0]);
}

/// Power goes off when the reading is at the target. The bulk is then ahead by the ramp's climb over mixing, delay and probe, and the
/// sheath's heat brings it on by the climb over the sheath's own lag: together climb times lag.
#[test]
fn the_thermostat_overshoots_by_climb_times_lag() {
    for number in 0..12 {
        let mut draw = Draw::of(number, 4);
        draw.file.rig.liquor_tank.probe.noise_k = 0.005;
        let ramp = Ramp::run(&draw);
        let figures = draw.figures();
        let mut thermostat = Thermostat::new(draw.target_c);
        let outcome = free(&draw, ramp.least_s, |reading_c| thermostat.duty(reading_c));
        let net = figures.climb_k_per_s * (1.0 - figures.standing_duty);
        let expected_k = net * figures.lag_s;
        assert!(
            (outcome.overshoot_k - expected_k).abs() < 0.12 * expected_k + 0.08,
            "rig {number}: {} K against {expected_k} K",
            outcome.overshoot_k
        );
    }
}

/// A PI's trial goes on from the stored ramp; it must be the trial that would have been run from the start.
#[test]
fn a_trial_from_the_stored_ramp_is_the_whole_trial() {
    for number in 0..4 {
        let draw = Draw::of(number, 8);
        let (ramp, gains) = (Ramp::run(&draw), simc(&draw.figures()));
        let mut law = Pi::new(draw.target_c, gains);
        let whole = free(&draw, ramp.least_s, |reading_c| law.duty(reading_c));
        assert_eq!(pi(&draw, &ramp, gains, f64::INFINITY), Some(whole), "rig {number}");
    }
}

#[test]
fn a_trial_is_given_up_once_its_penalty_is_too_large() {
    let draw = Draw::of(0, 8);
    let (ramp, gains) = (Ramp::run(&draw), ziegler_nichols(&draw.figures()));
    assert_eq!(pi(&draw, &ramp, gains, 0.0), None);
}

#[test]
fn all_trials_of_a_rig_see_the_same_noise() {
    let draw = Draw::of(3, 8);
    let (mut a, mut b) = (Plant::new(&draw), Plant::new(&draw));
    for _ in 0..400 {
        assert_eq!(a.read(), b.read());
        a.heat(0.3);
        b.heat(0.3);
    }
}

/// No rival on the same rig does exactly what another does.
#[test]
fn every_contender_is_really_run() {
    let rig = survey_rig(0, 2, Field::Limits);
    for (index, one) in Contender::ALL.into_iter().enumerate() {
        for other in Contender::ALL.into_iter().skip(index + 1) {
            assert_ne!(rig.outcomes.get(one), rig.outcomes.get(other), "{} and {}", one.label(), other.label());
        }
    }
}
