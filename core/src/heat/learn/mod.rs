//! Learning a kettle from its own ramp.
//!
//! Job: from the work done and the reading, say how far the reading still has to climb if the power went off now.
//!
//! - *Work*: the integral of applied duty, in microseconds at full power.
//! - *Response*: what a second of work does to the reading, spread over the delays after which it is heard. Its sum is the *climb* `k`, K/s at full
//!   power before any loss; its mean delay is the *lag* `L`. It is linear between the nodes of [`past`].
//! - *Step*: a second; the work of the last minutes is remembered, and readings are taken in, once per step.
//! - *Fit*: the least-squares response, start, and loss beyond the usual, for `reading + loss so far = start + climb so far`; see [`fit`].
//! - *Window*: the stretch of readings a fit uses. Only the bend after a change of power tells the response, so the window is closed a few
//!   lags after it; what comes later (lid, mains) would only be mistaken for it.
//! - *Gap*: the work that each node has not heard yet, times its part of the response: what is on its way to the thermometer.
//! - *Turn*: a step's work is done between the ticks that follow it, a turn each time, when the outputs are served already. Nothing shows before
//!   the tick after.
//!
//! | quantity | format |
//! | --- | --- |
//! | work | us at full power; in sums 1024 us |
//! | reading in sums | 2^-12 K |
//! | climb and parts of the response | Q30 of 2^-12 K per 1024 us, "raw" |

mod fit;
mod past;
mod places;
mod prior;
mod scale;
mod solve;
mod usual;
mod window;

use crate::wide::Product;
use fit::Fit;
use past::{NODES, Past};
pub use prior::Prior;
use window::{LONGEST_WINDOW, Noise, Window};

/// Lag assumed before anything is known.
pub const UNKNOWN_LAG_US: i32 = 60_000_000;
/// Length of a step, us.
pub const STEP_US: i32 = 1_000_000;
/// A window whose reading has not risen by this tells nothing of climb and lag yet. 2 K in Q12.
const WORTH_A_FIT: i64 = 2 << 12;
/// A window that has risen by this is a lesson even if something happened in it. 4 K in Q12.
const WORTH_A_LESSON: i64 = 4 << 12;

/// Q24 K/s from a raw climb.
pub fn slope_of_raw(raw: i64) -> i64 {
    raw.product(1_000_000) >> 28
}

/// Raw climb from Q24 K/s.
pub fn raw_of_slope(slope: i64) -> i64 {
    slope.product(1 << 28) / 1_000_000
}

/// What is left to do of a step. The reading is with the loss added back, Q32 K.
#[derive(Debug, Clone, Copy)]
enum Turn {
    Done,
    Hear { reading: Option<i64>, missed: i64 },
    Fit { reading: i64 },
    Conclude { reading: i64, found: Fit, miss: i64 },
}

/// What a concluded step has changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Found {
    /// The reading it was about, with the loss added back, Q32 K.
    pub reading: i64,
    /// By how much what is on its way has moved, Q32 K.
    pub gap: i64,
    /// By how much the lag has moved, us.
    pub lag_us: i32,
    /// How far the reading lies off the fit's line, Q12 K.
    pub miss: i64,
}

/// The fit, and what it is made from.
#[derive(Debug, Clone)]
#[repr(C)]
pub struct Estimator {
    work: i64,
    fit: Fit,
    /// What to lean on from the next turn on, instead of the fit.
    fresh: Option<Prior>,
    turn: Turn,
    prior: Prior,
    steepest: i64,
    noise: Noise,
    trails: [i32; NODES],
    past: Past,
    window: Window,
}

impl Estimator {
    /// An estimator at rest that knows `prior` and believes no climb above `steepest` (raw).
    pub fn new(prior: Prior, steepest: i64) -> Estimator {
        Estimator {
            work: 0,
            fit: Fit::of(&prior, &[0; NODES]),
            fresh: None,
            turn: Turn::Done,
            prior,
            steepest,
            noise: Noise::QUIET,
            trails: [0; NODES],
            past: Past::idle(),
            window: Window::EMPTY,
        }
    }

    /// Starts a new window: forgets the sums, and leans on `prior` from the next turn on. What is on its way is remembered.
    pub fn open(&mut self, prior: Prior) {
        self.prior = prior;
        self.restore(prior);
        self.window = Window::EMPTY;
    }

    /// Back to what is known, from the next turn on.
    pub fn restore(&mut self, prior: Prior) {
        self.fresh = Some(prior);
        self.turn = Turn::Done;
    }

    /// Moves on by a step to the work `work_us`, and takes the reading of this step (with the loss so far added back, Q32 K) into the window, if
    /// there is one; the turns that follow fit anew. `missed`: the unit of loss heard so far, Q16 K. `false` once the window is full.
    pub fn advance(&mut self, work_us: i64, reading: Option<i64>, missed: i64) -> bool {
        self.past.push(i32::try_from(work_us - self.work).unwrap_or(0));
        self.work = work_us;
        let room = self.window.steps() < LONGEST_WINDOW;
        self.turn = Turn::Hear { reading: reading.filter(|_| room), missed };
        reading.is_none() || room
    }

    /// Takes one turn at what is left of a step, all but the verdict.
    pub fn take_turn(&mut self) {
        if let Some(prior) = self.fresh.take() {
            self.fit = Fit::of(&prior, &self.trails);
        }
        self.turn = match self.turn {
            Turn::Hear { reading, missed } => {
                self.trails = self.past.trails();
                self.fit.listen(&self.trails);
                match reading {
                    Some(reading) => {
                        let y = self.window.take(reading, self.work, missed, &self.trails);
                        self.noise.see(y);
                        Turn::Fit { reading }
                    }
                    None => Turn::Done,
                }
            }
            Turn::Fit { reading } => {
                let (found, miss) = self.fit.better(&self.window, &self.prior, self.noise.variance(), self.steepest, &self.trails);
                Turn::Conclude { reading, found, miss }
            }
            Turn::Done | Turn::Conclude { .. } => self.turn,
        };
    }

    /// Takes up the new fit, once it is made.
    pub fn conclude(&mut self) -> Option<Found> {
        let Turn::Conclude { reading, found, miss } = self.turn else { return None };
        self.turn = Turn::Done;
        let before = core::mem::replace(&mut self.fit, found);
        Some(Found { reading, gap: found.gap() - before.gap(), lag_us: found.lag_us() - before.lag_us(), miss })
    }

    /// Whether something of a step is left to do.
    pub fn is_busy(&self) -> bool {
        !matches!(self.turn, Turn::Done)
    }

    /// What is on its way to the thermometer, Q32 K.
    pub fn gap(&self) -> i64 {
        self.fit.gap()
    }

    /// The lag that agrees best, us.
    pub fn lag_us(&self) -> i32 {
        self.fit.lag_us()
    }

    /// The climb that agrees best, raw.
    pub fn raw(&self) -> i64 {
        self.fit.raw()
    }

    /// Loss beyond the usual, in units of [`super::loss::UNKNOWN`], Q16.
    pub fn loss(&self) -> i64 {
        self.fit.loss()
    }

    /// Steps in the window so far.
    pub fn steps(&self) -> i64 {
        self.window.steps()
    }

    /// Whether the window has seen a rise that tells of climb and lag.
    pub fn has_risen(&self) -> bool {
        self.window.highest() > WORTH_A_FIT
    }

    /// Whether the fit makes sense as a kettle's response.
    pub fn is_sound(&self) -> bool {
        self.fit.is_sound()
    }

    /// Whether it is worth writing down: sound, and of a vessel nobody knew, or in agreement with its record, or from a long rise.
    pub fn is_lesson(&self) -> bool {
        let first = !(self.prior.known || self.prior.shaken);
        let agrees = self.fit.is_tied() && !self.prior.shaken;
        self.fit.is_sound() && (first || agrees || self.window.highest() > WORTH_A_LESSON)
    }

    /// Variance of the reading, 2^-24 K^2.
    pub fn variance(&self) -> i64 {
        self.noise.variance()
    }
}
