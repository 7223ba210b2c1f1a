//! Learning a kettle from its own ramp.
//!
//! Job: from the work done and the reading, say how far the reading still has to climb if the power went off now.
//!
//! - *Work*: the integral of applied duty, in microseconds at full power.
//! - *Climb* `k`: K/s at full power before any loss. *Lag* `L`: total delay from element to thermometer.
//! - *Candidate*: one guess of `L` and of the shape (stages that share it). Its lag chain turns the work `w` into what such a thermometer
//!   would have heard of it, `q`. Candidates of one shape are a [`family`].
//! - *Step*: a second; chains move and readings are taken once per step.
//! - *Fit*: the least-squares line `reading + loss so far = start + k q`. The candidate whose line leaves the least squared error agrees best;
//!   the best is blended with its better neighbour (see [`sums`]), as the true lag lies between them.
//! - *Window*: the stretch of readings a fit uses. Only the bend after a change of power tells `L`, so the window is closed a few
//!   lags after it; what comes later (loss, lid, mains) would only be mistaken for lag.
//! - *Gap*: `k (w - q)`, what is on its way to the thermometer.
//! - *Turn*: a step's work is shared among the ticks that follow it, so that no tick is long. What a candidate has heard is worked out only
//!   when it is asked for; a family takes in the reading, then fits; the verdict comes last, and nothing shows before it. Turns may be taken
//!   between ticks, when the outputs are served already.
//!
//! All sums are exact 64-bit integers.
//!
//! | quantity | format |
//! | --- | --- |
//! | work | us at full power; in sums 1024 us |
//! | reading in sums | 2^-12 K |
//! | climb in fits | Q30 of 2^-12 K per 1024 us, "raw" |
//! | squared error | 2^-24 K^2 |

mod family;
mod sums;

use super::settle::ratio_of;
use super::{HeatConfig, Learned};
use crate::units::Slope;
use crate::wide::{Bound, Product, Sum};
use family::{Family, SHARP, SOFT};
use sums::{Shared, Terms};

/// Lag assumed before anything is known.
pub const UNKNOWN_LAG_US: i32 = 60_000_000;
/// Length of a step, us.
pub const STEP_US: i32 = 1_000_000;
/// Squared error that is never believed to mean more than noise: (0.03 K)^2.
const FLOOR: i64 = 15_099;
/// A learned climb and lag are known to this part: a fortieth.
const KNOWN_PART: i64 = 40;
/// A fit this many such parts off the record breaks with it.
const BREAK_PARTS: i64 = 4;
/// Least climb that is believed, raw: 0.0005 K/s.
const LEAST_RAW: i64 = 2_251_800;
/// A window whose reading has not risen by this tells nothing of climb and lag yet. 2 K in Q12.
const WORTH_A_FIT: i64 = 2 << 12;
/// Weight of a step that every shape agrees on; one that they disagree on counts for less.
const FULL_WEIGHT: i64 = 64;
/// The most steps a window may hold, so that no sum can overflow.
const LONGEST_WINDOW: i64 = 2_048;
/// One, Q16.
const ONE: i64 = 1 << 16;
/// Candidates of each family that move on in one turn: a third of them.
const CATCH_UP: usize = 5;

/// Q24 K/s from a raw climb.
pub fn slope_of_raw(raw: i64) -> i64 {
    raw.product(1_000_000) >> 28
}

/// Raw climb from Q24 K/s.
pub fn raw_of_slope(slope: i64) -> i64 {
    slope.product(1 << 28) / 1_000_000
}

/// What earlier windows or an earlier day taught.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Prior {
    /// Climb, raw.
    pub raw: i64,
    /// No climb below this is believed, raw.
    pub least: i64,
    /// Lag, us.
    pub lag_us: i32,
    /// Whether it was learned on a vessel, or is only the rig's bound.
    pub known: bool,
}

impl Prior {
    /// The record, or what the rig's figures say. A coil may draw so much heat that a known vessel seems slower than its brimful volume allows,
    /// so that bounds only a vessel nobody knows.
    pub fn of(learned: Option<Learned>, config: &HeatConfig) -> Prior {
        let raw = |slope: Slope| raw_of_slope(i64::from(slope.fixed().to_bits()));
        match learned {
            Some(l) => Prior {
                raw: raw(l.slope()).at_most(raw(config.max_slope())),
                least: 0,
                lag_us: i32::try_from(l.lag().as_micros()).unwrap_or(UNKNOWN_LAG_US),
                known: true,
            },
            None => {
                Prior { raw: raw(config.usual_slope()), least: raw(config.least_slope()), lag_us: UNKNOWN_LAG_US, known: false }
            }
        }
    }
}

/// What is left to do of a step. The reading is with the loss added back, Q32 K.
#[derive(Debug, Clone, Copy)]
enum Turn {
    Done,
    Soft { reading: i64 },
    Sharp { reading: i64, terms: Terms },
    Fit { reading: i64, terms: Terms },
    Verdict { reading: i64 },
}

/// What the next turn has to put in order before all else.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stale {
    Nothing,
    /// The prior has changed.
    Leaning,
    /// A new window has begun.
    Sums,
}

/// All candidates, and what they say.
#[derive(Debug, Clone)]
#[repr(C)]
pub struct Bank {
    work: i64,
    lag_us: i32,
    raw: i64,
    /// Trust in the sharp shape, Q16.
    share: i64,
    best: i64,
    /// How far the shapes lie apart, held for a while: in mid-bend they cross. 1024 us.
    apart: i64,
    /// How much a step tells at present.
    weight: i64,
    shared: Shared,
    turn: Turn,
    stale: Stale,
    prior: Prior,
    steepest: i64,
    reference: Option<(i64, i64)>,
    noise: Noise,
    soft: Family,
    sharp: Family,
}

/// Variance of the reading about its course, from second differences, 2^-24 K^2.
#[derive(Debug, Clone, Copy)]
struct Noise {
    before: Option<(i64, i64)>,
    variance: i64,
}

impl Noise {
    fn see(&mut self, y: i64) {
        if let Some((last, last_but_one)) = self.before {
            let second = (y - 2 * last + last_but_one).within(-(1 << 16), 1 << 16);
            // A jump is not noise: one step moves the variance no more than to half as much again.
            let square = (second * second / 6).at_most(self.variance.product(16));
            self.variance = (self.variance + (square - self.variance) / 32).at_least(FLOOR);
        }
        self.before = Some((y, self.before.map_or(y, |(last, _)| last)));
    }
}

impl Bank {
    /// A bank at rest that knows `prior` and believes no climb above `steepest` (raw).
    pub fn new(prior: Prior, steepest: i64) -> Bank {
        Bank {
            soft: Family::new(&SOFT, &prior),
            sharp: Family::new(&SHARP, &prior),
            shared: Shared::default(),
            turn: Turn::Done,
            stale: Stale::Nothing,
            prior,
            steepest,
            reference: None,
            work: 0,
            lag_us: prior.lag_us,
            raw: prior.raw.at_least(LEAST_RAW),
            share: ONE / 2,
            best: 0,
            apart: 0,
            weight: FULL_WEIGHT,
            noise: Noise { before: None, variance: FLOOR },
        }
    }

    /// Starts a new window: forgets the sums, leans on `prior`. The chains keep what is on its way.
    pub fn open(&mut self, prior: Prior) {
        self.prior = prior;
        self.reference = None;
        self.shared = Shared::default();
        self.turn = Turn::Done;
        self.soft.stand_at(&prior);
        self.sharp.stand_at(&prior);
        self.stale = Stale::Sums;
        (self.lag_us, self.raw) = (prior.lag_us, prior.raw.at_least(LEAST_RAW));
        self.weigh();
        (self.best, self.share) = (0, ONE / 2);
    }

    /// Moves every chain on by a step to the work `work_us`, and takes the reading of this step (with the loss so far added back, Q32 K) into
    /// the window, if there is one; the turns that follow fit anew. `false` once the window is full.
    pub fn advance(&mut self, work_us: i64, reading: Option<i64>) -> bool {
        let by_us = i32::try_from(work_us - self.work).unwrap_or(0);
        self.work = work_us;
        self.soft.advance(by_us, self.lag_us);
        self.sharp.advance(by_us, self.lag_us);
        let fade = ratio_of(self.apart.product(4), i64::from(STEP_US), i64::from(self.lag_us.max(4 * STEP_US)));
        let heard = |family: &Family| (work_us - family.trailing_near(self.lag_us)) >> 10;
        let (soft, sharp) = (heard(&self.soft), heard(&self.sharp));
        self.apart = (soft - sharp).size().at_least(self.apart - fade);
        let room = self.shared.n < LONGEST_WINDOW;
        match reading {
            Some(reading) if room => self.observe(reading),
            Some(_) | None => self.weigh(),
        }
        reading.is_none() || room
    }

    fn observe(&mut self, reading: i64) {
        let (start, _) = *self.reference.get_or_insert((reading, self.work));
        let y = ((reading - start) >> 20).within(-(1 << 20), 1 << 20);
        self.noise.see(y);
        self.weigh();
        self.shared.see(y, self.weight);
        self.turn = Turn::Soft { reading };
    }

    /// Takes one turn at what is left of a step, all but the verdict. Nothing shows of it.
    pub fn take_turn(&mut self) {
        self.refresh();
        let worked_us = self.worked_us();
        self.turn = match self.turn {
            Turn::Done => {
                self.soft.catch_up(CATCH_UP);
                self.sharp.catch_up(CATCH_UP);
                Turn::Done
            }
            Turn::Soft { reading } => {
                self.shared.take();
                let terms = Terms::of(&self.prior, self.steepest, self.noise.variance);
                self.soft.observe(worked_us, &self.shared);
                self.soft.fit(&self.shared, &terms);
                Turn::Sharp { reading, terms }
            }
            Turn::Sharp { reading, terms } => {
                self.sharp.observe(worked_us, &self.shared);
                Turn::Fit { reading, terms }
            }
            Turn::Fit { reading, terms } => {
                self.sharp.fit(&self.shared, &terms);
                Turn::Verdict { reading }
            }
            Turn::Verdict { reading } => Turn::Verdict { reading },
        };
    }

    /// Puts in order what only turns look at.
    #[inline(never)]
    fn refresh(&mut self) {
        let stale = core::mem::replace(&mut self.stale, Stale::Nothing);
        if stale == Stale::Sums {
            self.soft.clear();
            self.sharp.clear();
        }
        if stale != Stale::Nothing {
            self.soft.lean_on(&self.prior);
            self.sharp.lean_on(&self.prior);
        }
    }

    /// The verdict, once both families have fitted: the reading it was about.
    pub fn conclude(&mut self) -> Option<i64> {
        let Turn::Verdict { reading } = self.turn else { return None };
        self.verdict();
        self.turn = Turn::Done;
        Some(reading)
    }

    /// The work since the window's beginning.
    fn worked_us(&self) -> i64 {
        self.reference.map_or(0, |(_, work)| self.work - work)
    }

    /// Whether something of a step is left to do.
    pub fn is_busy(&self) -> bool {
        !matches!(self.turn, Turn::Done)
    }

    /// How far the shapes disagree at present on what is heard, Q12 K.
    pub fn doubt(&self) -> i64 {
        self.raw.product(self.apart.at_most(1 << 18)) >> 30
    }

    /// How much a step tells, 1 to 64.
    pub fn weight(&self) -> i32 {
        self.weight as i32
    }

    /// While the two shapes disagree on what is heard, either may be wrong by as much.
    fn weigh(&mut self) {
        let doubt = self.doubt();
        let variance = self.noise.variance;
        self.weight = ratio_of(FULL_WEIGHT, variance, variance.plus(doubt.product(doubt))).max(1);
    }

    /// What is on its way to the thermometer, Q32 K.
    pub fn gap(&self) -> i64 {
        self.blend(self.soft.gap(), self.sharp.gap())
    }

    /// The lag that agrees best, us.
    pub fn lag_us(&self) -> i32 {
        self.lag_us
    }

    /// The climb that agrees best, raw.
    pub fn raw(&self) -> i64 {
        self.raw
    }

    /// Steps in the window so far.
    pub fn steps(&self) -> i64 {
        self.shared.n
    }

    /// Whether the window has seen a rise that tells of climb and lag.
    pub fn has_risen(&self) -> bool {
        self.shared.highest > WORTH_A_FIT
    }

    /// Mean squared error of the best fit, 2^-24 K^2, never below the floor.
    pub fn spread(&self) -> i64 {
        ratio_of(self.best, 1, self.shared.total).at_least(self.noise.variance)
    }

    /// How far the last reading of the window lies off the best fit's line, Q12 K, given that reading (with the loss added back, Q32 K).
    pub fn miss(&self, reading: i64) -> i64 {
        let Some((start, work)) = self.reference else { return 0 };
        let y = (reading - start) >> 20;
        let worked_us = self.work - work;
        let (soft, sharp) = (self.soft.heard(worked_us, &self.shared), self.sharp.heard(worked_us, &self.shared));
        y - self.shared.mean(self.shared.y) - self.blend(soft, sharp)
    }

    fn blend(&self, soft: i64, sharp: i64) -> i64 {
        let step = sharp - soft;
        // The product of a Q32 kelvin difference and a Q16 share fits while the two shapes differ by less than 2^15 K.
        soft + (step.product(self.share) >> 16)
    }

    /// Whether the better shape lies further off the record than it can be off.
    fn breaks_with_prior(&self) -> bool {
        let pick = if self.soft.pick().score < self.sharp.pick().score { self.soft.pick() } else { self.sharp.pick() };
        let off = |now: i64, then: i64| sums::log_ratio(now, then).size() > BREAK_PARTS * ONE / KNOWN_PART;
        off(i64::from(pick.lag_us), i64::from(self.prior.lag_us)) || off(pick.raw, self.prior.raw)
    }

    /// Weighs the two shapes against each other.
    fn verdict(&mut self) {
        if self.prior.known && self.breaks_with_prior() {
            // Another volume, another place of the thermometer: the record says nothing about this kettle. The next step fits without it.
            self.prior = Prior { raw: self.steepest, known: false, ..self.prior };
            self.stale = Stale::Leaning;
        }
        let (soft, sharp) = (*self.soft.pick(), *self.sharp.pick());
        self.best = soft.score.at_most(sharp.score);
        // Errors of neighbouring seconds are alike, so a fit has fewer independent errors than steps: about one per quarter lag.
        let independent = i64::from((self.lag_us / 4_000_000).max(1));
        let scale = self.spread().product(independent).product(2 * FULL_WEIGHT);
        let trust = |score: i64| {
            let excess = ratio_of(score.minus(self.best), 256, scale).within(0, 1 << 20);
            // 1 / (1 + x)^2 instead of exp(-x): the same order, no table.
            let whole = 256 + excess;
            ratio_of(1, 1 << 40, whole * whole)
        };
        let (trust_soft, trust_sharp) = (trust(soft.score), trust(sharp.score));
        self.share = ratio_of(trust_sharp, ONE, trust_soft + trust_sharp);
        self.lag_us = i32::try_from(self.blend(i64::from(soft.lag_us), i64::from(sharp.lag_us))).unwrap_or(UNKNOWN_LAG_US);
        self.raw = self.blend(soft.raw, sharp.raw);
        self.weigh();
    }
}
