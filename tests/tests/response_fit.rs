//! The free response that is on trial, against the controller's own learning, on rigs of the survey.

use copperhold::survey::{Draw, spread};
use copperhold_tests::response::Response;
use copperhold_tests::response::trial::{ASKED, misses};

/// One lag after the cut the bend is where the fixed shapes differ most; there a response of its own is worth the most.
#[test]
fn in_mid_coast_a_free_response_knows_the_settled_temperature_better() {
    let all: Vec<_> = (0..60).map(|number| misses(&Draw::of(number, 2))).collect();
    let at = ASKED.iter().position(|&lags| lags == 1.0).expect("asked then");
    let [shapes, free] = [0, 1].map(|who| spread(all.iter().map(|rig| rig[who][at].abs())));
    println!("shapes {shapes:?}, free {free:?}");
    assert!(free.p95 < 0.6 * shapes.p95 && free.p95 < 0.13, "{free:?}, shapes {shapes:?}");
    assert!(free.worst < 0.3, "{free:?}");
}

/// A lag of first order of 40 s after a delay of 20 s, climbing by 0.05 K/s, no loss: known by calculus.
#[test]
fn climb_and_lag_of_a_known_response_are_found() {
    let mut response = Response::new(0.08, 0.3);
    let reading_c = |s: f64| 20.0 + if s < 20.0 { 0.0 } else { 0.05 * (s - 20.0 - 40.0 * (1.0 - (-(s - 20.0) / 40.0).exp())) };
    // What is lost if the loss is the one assumed is taken out of the readings, so that there is none beyond it.
    let mut lost_k = 0.0;
    for s in 1..=400 {
        let warm_c = reading_c(f64::from(s) - 0.5);
        response.step(1_000_000, warm_c - lost_k);
        let shape = f64::from(copperhold_core::heat::loss::shape((warm_c * 65_536.0) as i64) as i32) / 65_536.0;
        lost_k += 0.0032 * shape;
    }
    assert!((response.climb_k_per_s() - 0.05).abs() < 0.001, "{}", response.climb_k_per_s());
    assert!((response.lag_s() - 60.0).abs() < 2.0, "{}", response.lag_s());
    assert!(response.loss().abs() < 0.5, "{}", response.loss());
}
