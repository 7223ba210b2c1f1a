//! Learning a kettle from its own ramp.
//!
//! Job: from the work done and the reading, say how far the reading still has to climb if the power went off now.
//!
//! - *Work*: the integral of applied duty, in microseconds at full power.
//! - *Climb* `k`: K/s at full power before any loss. *Lag* `L`: total delay from element to thermometer.
//! - *Candidate*: one guess of `L` and of the shape (stages that share it). Its lag chain turns the work `w` into what such a thermometer
//!   would have heard of it, `q`. Candidates of one shape are a [`family`]; the families' fits are blended by how well each agrees.
//! - *Step*: a second; chains move and readings are taken once per step.
//! - *Fit*: the least-squares line `reading + loss so far = start + k q`. The candidate whose line leaves the least squared error agrees best;
//!   the best is blended with its better neighbour (see [`sums`]), as the true lag lies between them.
//! - *Window*: the stretch of readings a fit uses. Only the bend after a change of power tells `L`, so the window is closed a few
//!   lags after it; what comes later (loss, lid, mains) would only be mistaken for lag.
//! - *Gap*: `k (w - q)`, what is on its way to the thermometer.
//! - *Turn*: a step's work is shared among the ticks that follow it, so that no tick is long. What a candidate has heard is worked out only
//!   when it is asked for; the families take in the reading, then fit; the verdict comes last, and nothing shows before it. Turns may be taken
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
use family::{Chains, Family, SETTLED, SHAPES, place_above};
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
/// The same trust in each shape, Q16.
const ALIKE: Shares = [ONE / 4; SHAPES.len()];
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
    Observe { reading: i64 },
    FitSofter { reading: i64, terms: Terms },
    FitSharper { reading: i64, terms: Terms },
    Conclude { reading: i64, verdict: Verdict },
}

/// What the families have come to.
#[derive(Debug, Clone, Copy)]
struct Verdict {
    share: Shares,
    raw: i64,
    best: i64,
    gap: i64,
    miss: i64,
    lag_us: i32,
}

/// Trust in each shape, Q16.
type Shares = [i64; SHAPES.len()];

/// All candidates, and what they say.
#[derive(Debug, Clone)]
#[repr(C)]
pub struct Bank {
    work: i64,
    lag_us: i32,
    raw: i64,
    /// Trust in each shape, Q16.
    share: Shares,
    best: i64,
    /// How far the two middle shapes lie apart, held for a while: in mid-bend they cross. 1024 us.
    apart: i64,
    /// How much a step tells at present.
    weight: i64,
    shared: Shared,
    turn: Turn,
    /// The families' sums are still those of the window before.
    stale: bool,
    prior: Prior,
    steepest: i64,
    reference: Option<(i64, i64)>,
    noise: Noise,
    families: [Family; SHAPES.len()],
    chains: Chains,
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
        let mut bank = Bank {
            families: SHAPES.each_ref().map(Family::new),
            chains: SETTLED,
            shared: Shared::default(),
            turn: Turn::Done,
            stale: false,
            prior,
            steepest,
            reference: None,
            work: 0,
            lag_us: prior.lag_us,
            raw: prior.raw.at_least(LEAST_RAW),
            share: ALIKE,
            best: 0,
            apart: 0,
            weight: FULL_WEIGHT,
            noise: Noise { before: None, variance: FLOOR },
        };
        bank.open(prior);
        bank
    }

    /// Starts a new window: forgets the sums, leans on `prior`. The chains keep what is on its way.
    pub fn open(&mut self, prior: Prior) {
        self.prior = prior;
        self.reference = None;
        self.shared = Shared::default();
        self.turn = Turn::Done;
        for family in &mut self.families {
            family.stand_at(&prior, &mut self.chains);
        }
        self.stale = true;
        (self.lag_us, self.raw) = (prior.lag_us, prior.raw.at_least(LEAST_RAW));
        self.weigh();
        (self.best, self.share) = (0, ALIKE);
    }

    /// Moves every chain on by a step to the work `work_us`, and takes the reading of this step (with the loss so far added back, Q32 K) into
    /// the window, if there is one; the turns that follow fit anew. `false` once the window is full.
    pub fn advance(&mut self, work_us: i64, reading: Option<i64>) -> bool {
        let by_us = i32::try_from(work_us - self.work).unwrap_or(0);
        self.work = work_us;
        let near = place_above(self.lag_us);
        for family in &mut self.families {
            family.advance(by_us, near, &mut self.chains);
        }
        let fade = ratio_of(self.apart.product(4), i64::from(STEP_US), i64::from(self.lag_us.max(4 * STEP_US)));
        let [_, soft, sharp, _] = &self.families;
        let heard = |family: &Family| (work_us - family.trailing(near, &self.chains)) >> 10;
        let (soft, sharp) = (heard(soft), heard(sharp));
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
        self.turn = Turn::Observe { reading };
    }

    /// Takes one turn at what is left of a step, all but the verdict. Nothing shows of it.
    pub fn take_turn(&mut self) {
        if core::mem::take(&mut self.stale) {
            for family in &mut self.families {
                family.clear();
            }
        }
        let worked_us = self.worked_us();
        self.turn = match self.turn {
            Turn::Done => {
                for family in &mut self.families {
                    family.catch_up(CATCH_UP, &mut self.chains);
                }
                Turn::Done
            }
            Turn::Observe { reading } => {
                self.shared.take();
                for family in &mut self.families {
                    family.observe(worked_us, &self.shared, &mut self.chains);
                }
                Turn::FitSofter { reading, terms: Terms::of(&self.prior, self.steepest, self.noise.variance) }
            }
            Turn::FitSofter { reading, terms } => {
                let [softest, soft, _, _] = &mut self.families;
                softest.fit(&self.shared, &terms);
                soft.fit(&self.shared, &terms);
                Turn::FitSharper { reading, terms }
            }
            Turn::FitSharper { reading, terms } => {
                let [_, _, sharp, sharpest] = &mut self.families;
                sharp.fit(&self.shared, &terms);
                sharpest.fit(&self.shared, &terms);
                Turn::Conclude { reading, verdict: self.judge(reading) }
            }
            Turn::Conclude { reading, verdict } => Turn::Conclude { reading, verdict },
        };
    }

    /// Shows the verdict, once all families have fitted: the reading it was about (with the loss added back, Q32 K), what is on its way by it
    /// (Q32 K), and how far that reading lies off the fit's line (Q12 K).
    pub fn conclude(&mut self) -> Option<(i64, i64, i64)> {
        let Turn::Conclude { reading, verdict } = self.turn else { return None };
        let Verdict { share, raw, best, gap, miss, lag_us } = verdict;
        (self.share, self.raw, self.best, self.lag_us) = (share, raw, best, lag_us);
        self.weigh();
        self.turn = Turn::Done;
        Some((reading, gap, miss))
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

    /// While the two middle shapes disagree on what is heard, either may be wrong by as much.
    fn weigh(&mut self) {
        let doubt = self.doubt();
        let variance = self.noise.variance;
        self.weight = ratio_of(FULL_WEIGHT, variance, variance.plus(doubt.product(doubt))).max(1);
    }

    /// What is on its way to the thermometer, Q32 K.
    pub fn gap(&self) -> i64 {
        self.blend(&self.share, |family| family.gap(&self.chains))
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
        self.spread_of(self.best)
    }

    fn spread_of(&self, error: i64) -> i64 {
        ratio_of(error, 1, self.shared.total).at_least(self.noise.variance)
    }

    /// A quantity of the families, by trust.
    fn blend(&self, share: &Shares, of: impl Fn(&Family) -> i64) -> i64 {
        let mut sum = 0;
        let mut first = None;
        for (family, &share) in self.families.iter().zip(share) {
            // A shape that is out of the question is not asked.
            if share >= ONE / 256 {
                let value = of(family);
                // The product of a Q32 kelvin difference and a Q16 share fits while two shapes differ by less than 2^15 K.
                sum += (value - *first.get_or_insert(value)).product(share);
            }
        }
        first.unwrap_or(0) + (sum >> 16)
    }

    /// Whether the better shape lies further off the record than it can be off.
    fn breaks_with_prior(&self) -> bool {
        let Some(pick) = self.families.iter().map(Family::pick).min_by_key(|pick| pick.score) else { return false };
        let off = |now: i64, then: i64| sums::log_ratio(now, then).size() > BREAK_PARTS * ONE / KNOWN_PART;
        off(i64::from(pick.lag_us), i64::from(self.prior.lag_us)) || off(pick.raw, self.prior.raw)
    }

    /// Weighs the shapes against each other.
    fn judge(&mut self, reading: i64) -> Verdict {
        if self.prior.known && self.breaks_with_prior() {
            // Another volume, another place of the thermometer: the record says nothing about this kettle. The next step fits without it.
            self.prior = Prior { raw: self.steepest, known: false, ..self.prior };
        }
        let scores = self.families.each_ref().map(|family| family.pick().score);
        let best = scores.into_iter().fold(i64::MAX, i64::min);
        // Errors of neighbouring seconds are alike, so a fit has fewer independent errors than steps: about one per quarter lag.
        let independent = i64::from((self.lag_us / 4_000_000).max(1));
        let scale = self.spread_of(best).product(independent).product(2 * FULL_WEIGHT);
        let trust = |score: i64| {
            let excess = ratio_of(score.minus(best), 256, scale).within(0, 1 << 20);
            // 1 / (1 + x)^2 instead of exp(-x): the same order, no table.
            let whole = 256 + excess;
            ratio_of(1, 1 << 40, whole * whole)
        };
        let trusts = scores.map(trust);
        let all = trusts.iter().sum();
        let share = trusts.map(|trust| ratio_of(trust, ONE, all));
        let lag_us = self.blend(&share, |family| i64::from(family.pick().lag_us));
        let start = self.reference.map_or(reading, |(start, _)| start);
        let worked_us = self.worked_us();
        let line = self.blend(&share, |family| family.heard(worked_us, &self.shared, &self.chains));
        Verdict {
            share,
            raw: self.blend(&share, |family| family.pick().raw),
            best,
            gap: self.blend(&share, |family| family.gap(&self.chains)),
            miss: ((reading - start) >> 20) - self.shared.mean(self.shared.y) - line,
            lag_us: i32::try_from(lag_us).unwrap_or(UNKNOWN_LAG_US),
        }
    }
}
