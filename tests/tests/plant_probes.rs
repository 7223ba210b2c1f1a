//! What the thermometers make of the liquid: lag, delay, noise, calibration error and the front end's steps.

use copperhold::plant::probe::{ONE_WIRE_S, Thermometer};
use copperhold::plant::{Brewery, Drive, RawCode};
use copperhold::rig::{Probe, ProbeKind, Rig};
use copperhold_core::vessel::{Element, Vessel};

const QUIET: Probe = Probe { kind: ProbeKind::Pt100, lag_s: 8.0, delay_s: 3.0, noise_k: 0.0, offset_k: 0.0 };

/// Steps the place of a thermometer from 20 to 80 C and lets `seconds` pass.
fn after_a_step(probe: &Probe, dt_s: f64, seconds: f64) -> f64 {
    let mut thermometer = Thermometer::new(probe, 1, 0, 20.0);
    for _ in 0..(seconds / dt_s).round() as usize {
        thermometer.step(dt_s, 80.0);
    }
    thermometer.sensor_c()
}

#[test]
fn a_step_arrives_after_the_delay_and_rises_with_the_lag() {
    for dt_s in [0.05, 0.25] {
        assert_eq!(after_a_step(&QUIET, dt_s, 2.5), 20.0, "nothing before the delay");
        for t_s in [5.0, 11.0, 40.0] {
            // First-order response; the step itself is spread over one interval.
            let (late, early) = (t_s - 3.0 - dt_s, t_s - 3.0 + dt_s);
            let exact = |t: f64| 80.0 - 60.0 * (-t / 8.0f64).exp();
            let got = after_a_step(&QUIET, dt_s, t_s);
            assert!((exact(late)..=exact(early)).contains(&got), "{dt_s} {t_s}: {got}");
        }
    }
    let instant = Probe { lag_s: 0.0, delay_s: 0.0, ..QUIET };
    assert_eq!(after_a_step(&instant, 0.25, 0.25), 80.0);
}

#[test]
fn on_a_ramp_the_reading_trails_by_delay_and_lag_for_any_step() {
    for (dt_s, delay_s) in [(0.25, 3.0), (1.0, 0.4), (0.01, 0.02), (0.25, 120.0)] {
        let probe = Probe { delay_s, ..QUIET };
        let mut thermometer = Thermometer::new(&probe, 1, 0, 0.0);
        let steps = (600.0 / dt_s) as usize;
        for n in 1..=steps {
            thermometer.step(dt_s, n as f64 * dt_s * 0.05);
        }
        let behind_s = (steps as f64 * dt_s * 0.05 - thermometer.sensor_c()) / 0.05;
        assert!((behind_s - delay_s - 8.0).abs() < 1e-6, "{dt_s} s: behind by {behind_s} s, not {}", delay_s + 8.0);
    }
}

#[test]
fn the_whole_chain_lags_a_heat_up_by_mixing_delay_and_well() {
    let mut brewery = Brewery::new(&Rig::example(), 1);
    brewery.preset(Vessel::LiquorTank, 30.0, 20.0);
    let mut drive = Drive::default();
    drive.element_on.liquor_tank = 1.0;
    for _ in 0..4 * 600 {
        brewery.step(0.25, &drive);
    }
    let t = brewery.truth();
    let k_per_s = 5500.0 / (brewery.heat_capacity_j_per_k(Vessel::LiquorTank) + 880.0);
    let behind_s = (t.bulk_c.liquor_tank - t.sensor_c.liquor_tank) / k_per_s;
    // 18 s of mixing, 1 s of delay and 5 s of well; the loss slows the ramp by a few percent.
    assert!((22.5..24.5).contains(&behind_s), "{behind_s} s");
    assert!(brewery.least_seconds(Element::LiquorTank, 20.0, t.bulk_c.liquor_tank) < 600.0);
}

#[test]
fn every_code_decodes_to_within_half_a_step() {
    for (kind, half_step_k) in [(ProbeKind::Pt100, 0.017), (ProbeKind::Ntc10k, 0.08), (ProbeKind::Ds18b20, 0.0313)] {
        for n in -80..=1050 {
            let t_c = f64::from(n) * 0.1;
            let back_c = RawCode::encode(kind, t_c).celsius();
            assert!((back_c - t_c).abs() <= half_step_k, "{kind:?}: {t_c} came back as {back_c}");
        }
        let coarse = (0..1000).map(|n| RawCode::encode(kind, 66.0 + f64::from(n) * 1e-4)).collect::<std::collections::HashSet<_>>();
        assert!(coarse.len() < 5, "{kind:?} resolves {} steps in a tenth of a kelvin", coarse.len());
    }
}

#[test]
fn noise_and_calibration_error_are_those_of_the_rig() {
    let probe = Probe { noise_k: 0.05, offset_k: -0.4, ..QUIET };
    let mut thermometer = Thermometer::new(&probe, 3, 1, 66.0);
    let readings: Vec<f64> = (0..20_000).map(|_| thermometer.sample().ideal_c).collect();
    let mean = readings.iter().sum::<f64>() / readings.len() as f64;
    let variance = readings.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / readings.len() as f64;
    assert!((mean - 65.6).abs() < 0.002, "{mean}");
    assert!((variance.sqrt() - 0.05).abs() < 0.002, "{}", variance.sqrt());
}

#[test]
fn a_one_wire_thermometer_repeats_itself_for_three_quarters_of_a_second() {
    let probe = Probe { kind: ProbeKind::Ds18b20, noise_k: 0.2, ..QUIET };
    let mut thermometer = Thermometer::new(&probe, 3, 1, 66.0);
    let mut changes_s = vec![0.0];
    let mut last = thermometer.sample();
    for n in 1..=400 {
        thermometer.step(0.25, 66.0);
        let now = thermometer.sample();
        if now.ideal_c != last.ideal_c {
            changes_s.push(f64::from(n) * 0.25);
            last = now;
        }
    }
    assert!(changes_s.len() > 130);
    assert!(changes_s.windows(2).all(|pair| (pair[1] - pair[0] - ONE_WIRE_S).abs() < 1e-9), "{changes_s:?}");
}
