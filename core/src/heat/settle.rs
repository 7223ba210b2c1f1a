//! Where the reading would settle: the state that the heat control steers.
//!
//! - *Settled temperature* `E`: what the reading will come to once everything on its way has arrived, should the power go off now; what is
//!   lost meanwhile is the standing loss. `E = reading + k (w - q) - b L`, in the words of the `learn` module.
//! - *Standing loss* `b`: K/s. In a window it follows the usual shape ([`super::loss`]) and the fit; out of it, it is what makes the prediction come true.
//!
//! `E` is moved on by what is applied, `dE = (k duty - b) dt`, and drawn towards the formula, so the reading's noise is smoothed
//! without delay (a steady-state Kalman filter in form; gains chosen by survey, see the tests). It needs no anti-windup: it knows what really
//! conducted.

use crate::wide::{Bound, Product};

/// Bound on the surprise of one tick: 64 K in Q32.
const SURPRISE: i64 = 64 << 32;
/// The loss is learned no faster than with this time constant: a short lag's would follow the reading's noise.
const LEAST_LOSS_US: i32 = 60_000_000;
/// `E` is drawn to the formula over this part of the lag, a seventh, but not faster than [`LEAST_PULL_US`].
const PULL_PART: i32 = 7;
const LEAST_PULL_US: i32 = 5_000_000;

/// The settled temperature and the standing loss. Temperatures in Q32 C, rates in Q32 K/s.
#[derive(Debug, Clone, Copy)]
pub struct Settled {
    /// `E`.
    pub level: i64,
    /// `b`.
    pub loss: i64,
}

/// What one tick of [`Settled`] needs to know.
#[derive(Debug, Clone, Copy)]
pub struct Evidence {
    /// Elapsed time, us, up to 1 s.
    pub dt_us: i32,
    /// Reading, Q32 C.
    pub reading: i64,
    /// `k (w - q)`, Q32 K.
    pub gap: i64,
    /// `k`, Q32 K/s.
    pub climb: i64,
    /// `k` times the applied duty, Q32 K/s.
    pub heat: i64,
    /// `L`, us.
    pub lag_us: i32,
    /// What to make of the standing loss.
    pub loss: Loss,
}

/// Where the standing loss comes from.
#[derive(Debug, Clone, Copy)]
pub enum Loss {
    /// From its usual shape and the fit, Q32 K/s: a window is open, so a surprise is the fit's to explain.
    Known(i64),
    /// From surprises, and as the usual loss drifts with temperature, Q32 K/s since the last tick.
    Sought {
        /// Growth of the usual loss.
        drift: i64,
        /// Time constant of learning it, in halves of the lag.
        half_lags: i32,
    },
}

impl Settled {
    /// Moves on by one tick.
    pub fn tick(&mut self, seen: &Evidence) {
        let Evidence { dt_us, reading, gap, climb, heat, lag_us, loss } = *seen;
        if let Loss::Known(known) = loss {
            self.loss = known;
        }
        let rate = heat - self.loss;
        self.level += per_second(rate, dt_us);
        let formula = reading + gap - per_second(self.loss, lag_us);
        let surprise = (formula - self.level).within(-SURPRISE, SURPRISE);
        let pull_us = (lag_us / PULL_PART).max(LEAST_PULL_US);
        let step = surprise.product(dt_us) / i64::from((pull_us + dt_us).max(1));
        self.level += step;
        if let Loss::Sought { drift, half_lags } = loss {
            let over_us = i64::from((lag_us * half_lags / 2).max(LEAST_LOSS_US));
            let change = step.product(1_000_000) / over_us;
            self.loss = (self.loss + drift - change).at_most(climb).at_least(-climb / 2);
        }
    }
}

/// A rate in Q32 K/s over microseconds, Q32 K, to half a millionth. Saturates beyond 2^63 / span.
#[inline(never)]
pub fn per_second(rate: i64, span_us: i32) -> i64 {
    // 2^38 / 1e6, rounded: a product instead of a division, which costs ten times as much on a small core.
    ((rate.product(span_us) >> 20) * 274_878) >> 18
}

/// `a * b / whole`, zero for a whole of zero.
pub fn ratio_of(a: i64, b: i64, whole: i64) -> i64 {
    a.product(b).checked_div(whole).unwrap_or(0)
}
