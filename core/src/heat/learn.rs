//! Learning a kettle from its own ramp.
//!
//! Job: from the work done and the reading, say how far the reading still has to climb if the power went off now.
//!
//! - *Work*: the integral of applied duty, in microseconds at full power.
//! - *Climb* `k`: K/s at full power before any loss. *Lag* `L`: total delay from element to thermometer.
//! - *Candidate*: one guess of `L` and of the shape (stages that share it). Its lag chain turns the work `w` into what such a thermometer
//!   would have heard of it, `q`.
//! - *Fit*: the least-squares line `reading + loss so far = start + k q`. The candidate whose line leaves the least squared error agrees best.
//! - *Window*: the stretch of readings a fit uses. Only the bend after a change of power tells `L`, so the window is closed a few
//!   lags after it; what comes later (loss, lid, mains) would only be mistaken for lag.
//! - *Gap*: `k (w - q)`, what is on its way to the thermometer.
//!
//! Between grid points `L`, `k` and the gap follow the parabola through three neighbours. All sums are exact 64-bit integers.
//!
//! | quantity | format |
//! | --- | --- |
//! | work | us at full power; in sums 1024 us |
//! | reading in sums | 2^-12 K |
//! | climb in fits | Q30 of 2^-12 K per 1024 us, "raw" |
//! | squared error | 2^-24 K^2 |

use super::lag::LagChain;

/// Lags on the grid, ms: 9 s to 139 s, each 1.2 times the one before.
const GRID_MS: [i64; 16] = [
    9_000, 10_800, 12_960, 15_552, 18_662, 22_395, 26_874, 32_249, 38_698, 46_438, 55_726, 66_871, 80_245, 96_294, 115_553, 138_663,
];
/// Stages of the two shapes: a soft bend and a sharp one.
const SOFT: usize = 3;
const SHARP: usize = 6;
/// Squared error that is never believed to mean more than noise: (0.03 K)^2.
const FLOOR: i64 = 15_099;
/// Least climb that is believed, raw: 0.0005 K/s.
const LEAST_RAW: i64 = 2_251_800;
/// The most steps a window may hold, so that no sum can overflow: 64-bit sums bear four times this.
const LONGEST_WINDOW: i64 = 2_048;
/// One, Q16.
const ONE: i64 = 1 << 16;

/// Q24 K/s from a raw climb.
pub fn slope_of_raw(raw: i64) -> i64 {
    raw.saturating_mul(1_000_000) >> 28
}

/// Raw climb from Q24 K/s.
pub fn raw_of_slope(slope: i64) -> i64 {
    slope.saturating_mul(1 << 28) / 1_000_000
}

/// What earlier windows or an earlier day taught.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Prior {
    /// Climb, raw.
    pub raw: i64,
    /// Lag, us.
    pub lag_us: i64,
    /// Whether it was learned on a vessel, or is only the rig's bound.
    pub known: bool,
}

#[derive(Debug, Clone, Copy)]
struct Candidate<const N: usize> {
    lag_us: i64,
    chain: LagChain<N>,
    sum_q: i64,
    sum_qq: i64,
    sum_qy: i64,
    raw: i64,
    score: i64,
}

/// Sums that all candidates share.
#[derive(Debug, Clone, Copy, Default)]
struct Shared {
    n: i64,
    y: i64,
    yy: i64,
}

/// How the fit leans on one shape: middle grid point, offset from it and share of trust.
#[derive(Debug, Clone, Copy)]
struct Pick {
    middle: usize,
    offset: i64,
    least: i64,
    share: i64,
}

/// The candidates that share a shape.
#[derive(Debug, Clone)]
struct Family<const N: usize> {
    members: [Candidate<N>; GRID_MS.len()],
    pick: Pick,
}

/// All candidates, and what they say.
#[derive(Debug, Clone)]
pub struct Bank {
    soft: Family<SOFT>,
    sharp: Family<SHARP>,
    shared: Shared,
    prior: Prior,
    steepest: i64,
    reference: Option<(i64, i64)>,
    work: i64,
    lag_us: i64,
    raw: i64,
    best: i64,
}

impl Bank {
    /// A bank at rest that knows `prior` and believes no climb above `steepest` (raw).
    pub fn new(prior: Prior, steepest: i64) -> Bank {
        let mut bank = Bank {
            soft: Family::new(),
            sharp: Family::new(),
            shared: Shared::default(),
            prior,
            steepest,
            reference: None,
            work: 0,
            lag_us: prior.lag_us,
            raw: prior.raw,
            best: 0,
        };
        bank.fit();
        bank
    }

    /// Starts a new window: forgets the sums, leans on `prior`. The chains keep what is on its way.
    pub fn open(&mut self, prior: Prior) {
        self.prior = prior;
        self.reference = None;
        self.shared = Shared::default();
        self.soft.clear();
        self.sharp.clear();
        self.fit();
    }

    /// Moves every chain on by `dt_us` to the work `work_us`.
    pub fn advance(&mut self, dt_us: i64, work_us: i64) {
        self.work = work_us;
        self.soft.advance(dt_us, work_us);
        self.sharp.advance(dt_us, work_us);
    }

    /// Takes one reading (with the loss so far added back, Q32 K) into the window and fits anew. `false` once the window is full.
    pub fn observe(&mut self, reading: i64) -> bool {
        if self.shared.n >= LONGEST_WINDOW {
            return false;
        }
        let (start, work) = *self.reference.get_or_insert((reading, self.work));
        let y = (reading.saturating_sub(start) >> 20).clamp(-(1 << 20), 1 << 20);
        self.shared.n += 1;
        self.shared.y += y;
        self.shared.yy += y * y;
        self.soft.observe(work, y);
        self.sharp.observe(work, y);
        self.fit();
        true
    }

    /// What is on its way to the thermometer, Q32 K.
    pub fn gap(&self) -> i64 {
        let soft = self.soft.mix(|c| c.gap(self.work));
        let sharp = self.sharp.mix(|c| c.gap(self.work));
        self.blend(soft, sharp)
    }

    /// The lag that agrees best, us.
    pub fn lag_us(&self) -> i64 {
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

    /// Mean squared error of the best fit, 2^-24 K^2, never below the floor.
    pub fn spread(&self) -> i64 {
        self.best.checked_div(self.shared.n).unwrap_or(0).max(FLOOR)
    }

    /// How far the last reading of the window lies off the best fit's line, Q12 K, given that reading (with the loss added back, Q32 K).
    pub fn miss(&self, reading: i64) -> i64 {
        let Some((start, work)) = self.reference else { return 0 };
        let n = self.shared.n.max(1);
        let y = reading.saturating_sub(start) >> 20;
        let heard = |sum_q: i64, out: i64, raw: i64| (raw.saturating_mul((out.saturating_sub(work) >> 10) - sum_q / n)) >> 30;
        let soft = self.soft.mix(|c| heard(c.sum_q, c.chain.output(), c.raw));
        let sharp = self.sharp.mix(|c| heard(c.sum_q, c.chain.output(), c.raw));
        y - self.shared.y / n - self.blend(soft, sharp)
    }

    fn blend(&self, soft: i64, sharp: i64) -> i64 {
        let step = sharp.saturating_sub(soft);
        // The product of a Q32 kelvin difference and a Q16 share fits while the two shapes differ by less than 2^15 K.
        soft.saturating_add(step.saturating_mul(self.sharp.pick.share) >> 16)
    }

    fn fit(&mut self) {
        let terms = Terms::of(&self.prior, self.steepest);
        self.soft.fit(&self.shared, &terms);
        self.sharp.fit(&self.shared, &terms);
        let best = self.soft.pick.least.min(self.sharp.pick.least);
        self.best = best;
        // Errors of neighbouring seconds are alike, so a fit has fewer independent errors than steps: about one per quarter lag.
        let independent = (self.lag_us / 4_000_000).max(1);
        let scale = self.spread().saturating_mul(independent).saturating_mul(2);
        let trust = |least: i64| {
            let excess = least.saturating_sub(best).saturating_mul(256).checked_div(scale).unwrap_or(0).clamp(0, 1 << 20);
            // 1 / (1 + x)^2 instead of exp(-x): the same order, no table.
            let whole = 256 + excess;
            (1_i64 << 40).checked_div(whole * whole).unwrap_or(0)
        };
        let (soft, sharp) = (trust(self.soft.pick.least), trust(self.sharp.pick.least));
        self.sharp.pick.share = (sharp << 16).checked_div(soft + sharp).unwrap_or(ONE / 2);
        self.lag_us = self.blend(self.soft.mix(|c| c.lag_us), self.sharp.mix(|c| c.lag_us));
        self.raw = self.blend(self.soft.mix(|c| c.raw), self.sharp.mix(|c| c.raw)).clamp(LEAST_RAW, self.steepest);
    }
}

/// The prior, as terms of the sums.
struct Terms {
    qq: i64,
    raw: i64,
    steepest: i64,
    lag_us: i64,
    lag_weight: i64,
}

impl Terms {
    fn of(prior: &Prior, steepest: i64) -> Terms {
        // A bound is known to a factor; a learned climb to about a tenth. (FLOOR / sd^2, in units of 1024 us squared.)
        let sd = if prior.known { prior.raw / 8 } else { prior.raw };
        let root = (sd >> 12).max(1);
        let qq = (FLOOR << 36).checked_div(root.saturating_mul(root)).unwrap_or(0).clamp(1, 1 << 44);
        Terms { qq, raw: prior.raw, steepest, lag_us: prior.lag_us, lag_weight: if prior.known { 100 * FLOOR } else { FLOOR / 4 } }
    }
}

impl<const N: usize> Family<N> {
    fn new() -> Self {
        let members = GRID_MS.map(|ms| Candidate {
            lag_us: ms * 1000,
            chain: LagChain::settled(0),
            sum_q: 0,
            sum_qq: 0,
            sum_qy: 0,
            raw: LEAST_RAW,
            score: 0,
        });
        Family { members, pick: Pick { middle: 1, offset: 0, least: 0, share: ONE / 2 } }
    }

    fn clear(&mut self) {
        for member in &mut self.members {
            member.sum_q = 0;
            member.sum_qq = 0;
            member.sum_qy = 0;
        }
    }

    fn advance(&mut self, dt_us: i64, work_us: i64) {
        for member in &mut self.members {
            member.chain.tick(dt_us, member.lag_us, work_us);
        }
    }

    fn observe(&mut self, work: i64, y: i64) {
        for member in &mut self.members {
            let q = (member.chain.output().saturating_sub(work) >> 10).clamp(-(1 << 21), 1 << 21);
            member.sum_q += q;
            member.sum_qq += q * q;
            member.sum_qy += q * y;
        }
    }

    /// Fits every member and finds the parabola through the best and its neighbours.
    fn fit(&mut self, shared: &Shared, terms: &Terms) {
        let mut middle = 1;
        let mut least = i64::MAX;
        for (index, member) in self.members.iter_mut().enumerate() {
            member.fit(shared, terms);
            if member.score < least {
                least = member.score;
                middle = index;
            }
        }
        let middle = middle.clamp(1, GRID_MS.len() - 2);
        let score = |index: usize| self.members.get(index).map_or(0, |m| m.score >> 4);
        let (before, at, after) = (score(middle - 1), score(middle), score(middle + 1));
        let bend = before.saturating_sub(at).saturating_add(after.saturating_sub(at));
        let lean = before.saturating_sub(after);
        let offset = if bend > 0 {
            // offset = lean / (2 bend), Q16; both shrink together so that the shift fits.
            let shrink = (64_u32 - 46).saturating_sub(lean.unsigned_abs().leading_zeros());
            ((lean >> shrink) << 15).checked_div((bend >> shrink).max(1)).unwrap_or(0).clamp(-ONE, ONE)
        } else if before < at {
            -ONE
        } else {
            0
        };
        let dip = (lean >> 2).saturating_mul(offset >> 4) >> 12;
        self.pick.middle = middle;
        self.pick.offset = offset;
        self.pick.least = at.saturating_sub(dip).max(0).saturating_mul(16);
    }

    /// A member's quantity at the parabola's lowest point (Lagrange's three-point formula).
    fn mix(&self, of: impl Fn(&Candidate<N>) -> i64) -> i64 {
        let value = |index: usize| self.members.get(index).map_or(0, &of);
        let (before, at, after) = (value(self.pick.middle - 1), value(self.pick.middle), value(self.pick.middle + 1));
        let t = self.pick.offset;
        let half_step = after.saturating_sub(before) / 2;
        let half_bend = (after.saturating_sub(at)).saturating_sub(at.saturating_sub(before)) / 2;
        let square = (t * t) >> 16;
        at.saturating_add(half_step.saturating_mul(t) >> 16).saturating_add(half_bend.saturating_mul(square) >> 16)
    }
}

impl<const N: usize> Candidate<N> {
    fn gap(&self, work: i64) -> i64 {
        let waiting = work.saturating_sub(self.chain.output());
        self.raw.saturating_mul(waiting) >> 20
    }

    /// The least-squares climb within the prior and the bounds, and the squared error it leaves.
    fn fit(&mut self, shared: &Shared, terms: &Terms) {
        let n = shared.n.max(1);
        let qq = self.sum_qq - product_over(self.sum_q, self.sum_q, n) + terms.qq;
        let prior_qy = ratio_mul(terms.raw, terms.qq);
        let qy = self.sum_qy - product_over(self.sum_q, shared.y, n) + prior_qy;
        let yy = shared.yy - product_over(shared.y, shared.y, n) + ratio_mul(terms.raw, prior_qy);
        let shrink = 34_u32.saturating_sub(qq.leading_zeros());
        let raw = ((qy >> shrink).clamp(-(1 << 32), 1 << 32) << 30).checked_div((qq >> shrink).max(1)).unwrap_or(0);
        self.raw = raw.clamp(LEAST_RAW, terms.steepest);
        let error = yy - 2 * ratio_mul(self.raw, qy) + ratio_mul(self.raw, ratio_mul(self.raw, qq));
        let octave = log_ratio(self.lag_us, terms.lag_us);
        let prior = ((octave * octave) >> 16).saturating_mul(terms.lag_weight) >> 16;
        self.score = error.max(0).saturating_add(prior);
    }
}

/// `a b / n` to within 2, where the product itself need not fit: `|a|, |b| < 2^33`, `n < 2^12`.
fn product_over(a: i64, b: i64, n: i64) -> i64 {
    let (whole, rest) = (a / n, a % n);
    whole * b + rest * (b / n) + rest * (b % n) / n
}

/// Product with a Q30 ratio.
fn ratio_mul(ratio: i64, value: i64) -> i64 {
    i64::try_from((i128::from(ratio) * i128::from(value)) >> 30).unwrap_or(0)
}

/// Close to `ln(a / b)` in Q16 for ratios up to 3, bounded beyond: `2 (a - b) / (a + b)` (first term of the series).
fn log_ratio(a: i64, b: i64) -> i64 {
    (a.saturating_sub(b) << 17).checked_div(a.saturating_add(b)).unwrap_or(0)
}
