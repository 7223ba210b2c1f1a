//! The oracle: the PI that turns out best on a rig, found by trying on that very rig.
//!
//! A grid over gain and integral time, then a compass search around its best point. It sees the true bulk, the noise to come and the
//! outcome, so no way of tuning a PI could do better on the penalty it minimises, but for the search's own coarseness.

use super::Draw;
use super::rivals::Gains;
use super::trial::{self, Outcome, Ramp};
use crate::plant::Figures;

/// Excess of the ratio that weighs as much as [`WEIGHED_K`] of overshoot. Both are what the design aims at for 19 rigs of 20.
const WEIGHED_RATIO: f64 = 0.02;
const WEIGHED_K: f64 = 0.12;
/// The grid: gain times climb and lag; integral time over lag.
const GAINS: [f64; 5] = [0.2, 0.35, 0.6, 1.0, 1.6];
const INTEGRALS: [f64; 4] = [5.0, 15.0, 50.0, 200.0];
/// First and last step of the compass search, as factors.
const STEPS: [f64; 3] = [1.3, 1.15, 1.07];

/// What the search found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tuned {
    /// Gain times climb and lag; SIMC has 0.5.
    pub gain: f64,
    /// Integral time over lag; SIMC has 8.
    pub integral: f64,
}

/// What the oracle minimises: `(ratio - 1) / 0.02 + overshoot / 0.12 K`.
pub fn penalty(outcome: &Outcome) -> f64 {
    penalty_of(outcome.ratio, outcome.overshoot_k)
}

pub(super) fn penalty_of(ratio: f64, overshoot_k: f64) -> f64 {
    (ratio - 1.0).max(0.0) / WEIGHED_RATIO + overshoot_k / WEIGHED_K
}

/// The best PI on a draw, and how it did.
pub(super) fn search(draw: &Draw, plant: &Figures, ramp: &Ramp) -> (Tuned, Outcome) {
    let mut best = (Tuned { gain: 0.5, integral: 8.0 }, Outcome::NEVER, f64::INFINITY);
    let attempt = |tuned: Tuned, best: &mut (Tuned, Outcome, f64)| {
        let gains = Gains { per_k: tuned.gain / (plant.climb_k_per_s * plant.lag_s), integral_s: tuned.integral * plant.lag_s };
        let outcome = trial::pi(draw, ramp, gains, best.2);
        let better = outcome.map(|outcome| (tuned, outcome, penalty(&outcome))).filter(|found| found.2 < best.2);
        if let Some(found) = better {
            *best = found;
        }
        better.is_some()
    };
    attempt(best.0, &mut best);
    for gain in GAINS {
        for integral in INTEGRALS {
            attempt(Tuned { gain, integral }, &mut best);
        }
    }
    for step in STEPS {
        let mut moved = true;
        while moved {
            let Tuned { gain, integral } = best.0;
            moved = [(step, 1.0), (1.0 / step, 1.0), (1.0, step * step), (1.0, 1.0 / (step * step))]
                .into_iter()
                .any(|(g, i)| attempt(Tuned { gain: gain * g, integral: integral * i }, &mut best));
        }
    }
    (best.0, best.1)
}
