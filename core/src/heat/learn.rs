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
/// A learned climb and lag are known to this part: a twenty-fifth.
const KNOWN_PART: i64 = 40;
/// A fit this many such parts off the record breaks with it.
const BREAK_PARTS: i64 = 4;
/// Least climb that is believed, raw: 0.0005 K/s.
const LEAST_RAW: i64 = 2_251_800;
/// Weight of a step that every shape agrees on; one that they disagree on counts for less.
const FULL_WEIGHT: i64 = 64;
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
    /// With the next member of the family.
    sum_cross: i64,
    score: i64,
}

/// Sums that all candidates share: weights, weighted readings and squares.
#[derive(Debug, Clone, Copy, Default)]
struct Shared {
    n: i64,
    weight: i64,
    y: i64,
    yy: i64,
}

/// The best fit of one shape: a blend of two neighbours, which lies between them as the true lag does.
#[derive(Debug, Clone, Copy)]
struct Pick {
    left: usize,
    /// Share of the right neighbour, Q16.
    theta: i64,
    raw: i64,
    score: i64,
    /// Trust against the other shape, Q16.
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
    /// How far the shapes lie apart, held for a while: in mid-bend they cross. 1024 us.
    apart: i64,
    noise: Noise,
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
            let second = y.saturating_sub(last.saturating_mul(2)).saturating_add(last_but_one).clamp(-(1 << 16), 1 << 16);
            // A jump is not noise: one step moves the variance no more than to half as much again.
            let square = (second * second / 6).min(self.variance.saturating_mul(16));
            self.variance = (self.variance + (square - self.variance) / 32).max(FLOOR);
        }
        self.before = Some((y, self.before.map_or(y, |(last, _)| last)));
    }
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
            apart: 0,
            noise: Noise { before: None, variance: FLOOR },
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
        self.compare(dt_us);
    }

    /// Takes one reading (with the loss so far added back, Q32 K) into the window and fits anew. `false` once the window is full.
    pub fn observe(&mut self, reading: i64) -> bool {
        if self.shared.n >= LONGEST_WINDOW {
            return false;
        }
        let (start, work) = *self.reference.get_or_insert((reading, self.work));
        let y = (reading.saturating_sub(start) >> 20).clamp(-(1 << 20), 1 << 20);
        self.noise.see(y);
        let weight = self.weight();
        self.shared.n += 1;
        self.shared.weight += weight;
        self.shared.y += weight * y;
        self.shared.yy += weight * y * y;
        self.soft.observe(work, y, weight);
        self.sharp.observe(work, y, weight);
        self.fit();
        true
    }

    /// How far the shapes disagree at present on what is heard, Q12 K.
    pub fn doubt(&self) -> i64 {
        self.raw.saturating_mul(self.apart.min(1 << 18)) >> 30
    }

    /// How much a step tells, 1 to 64: while the two shapes disagree on what is heard, either may be wrong by as much.
    pub fn weight(&self) -> i64 {
        let doubt = self.doubt();
        let variance = self.noise.variance;
        let whole = variance.saturating_add(doubt.saturating_mul(doubt));
        (FULL_WEIGHT * variance).checked_div(whole).unwrap_or(1).max(1)
    }

    /// Follows how far the shapes lie apart.
    fn compare(&mut self, dt_us: i64) {
        let place = GRID_MS.iter().position(|ms| ms * 1000 >= self.lag_us).unwrap_or(GRID_MS.len() - 1);
        let heard = |output: Option<i64>| output.unwrap_or(0) >> 10;
        let soft = heard(self.soft.members.get(place).map(|m| m.chain.output()));
        let sharp = heard(self.sharp.members.get(place).map(|m| m.chain.output()));
        let fade = self.apart.saturating_mul(4 * dt_us).checked_div(self.lag_us.max(4 * dt_us)).unwrap_or(0);
        self.apart = soft.saturating_sub(sharp).saturating_abs().max(self.apart.saturating_sub(fade));
    }

    /// What is on its way to the thermometer, Q32 K.
    pub fn gap(&self) -> i64 {
        self.blend(self.soft.gap(self.work), self.sharp.gap(self.work))
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
        self.best.checked_div(self.shared.weight).unwrap_or(0).max(self.noise.variance)
    }

    /// How far the last reading of the window lies off the best fit's line, Q12 K, given that reading (with the loss added back, Q32 K).
    pub fn miss(&self, reading: i64) -> i64 {
        let Some((start, work)) = self.reference else { return 0 };
        let n = self.shared.weight.max(1);
        let y = reading.saturating_sub(start) >> 20;
        let (soft, sharp) = (self.soft.heard(work, n), self.sharp.heard(work, n));
        y - self.shared.y / n - self.blend(soft, sharp)
    }

    fn blend(&self, soft: i64, sharp: i64) -> i64 {
        let step = sharp.saturating_sub(soft);
        // The product of a Q32 kelvin difference and a Q16 share fits while the two shapes differ by less than 2^15 K.
        soft.saturating_add(step.saturating_mul(self.sharp.pick.share) >> 16)
    }

    /// Whether the better shape lies further off the record than it can be off.
    fn breaks_with_prior(&self) -> bool {
        let (lag_us, raw) = if self.soft.pick.score < self.sharp.pick.score {
            (self.soft.mix(|c| c.lag_us), self.soft.pick.raw)
        } else {
            (self.sharp.mix(|c| c.lag_us), self.sharp.pick.raw)
        };
        let off = |now: i64, then: i64| log_ratio(now, then).saturating_abs() > BREAK_PARTS * ONE / KNOWN_PART;
        off(lag_us, self.prior.lag_us) || off(raw, self.prior.raw)
    }

    fn fit(&mut self) {
        let mut terms = Terms::of(&self.prior, self.steepest, self.noise.variance);
        self.soft.fit(&self.shared, &terms);
        self.sharp.fit(&self.shared, &terms);
        if self.prior.known && self.breaks_with_prior() {
            // Another volume, another place of the thermometer: the record says nothing about this kettle.
            self.prior = Prior { raw: self.steepest, known: false, ..self.prior };
            terms = Terms::of(&self.prior, self.steepest, self.noise.variance);
            self.soft.fit(&self.shared, &terms);
            self.sharp.fit(&self.shared, &terms);
        }
        let best = self.soft.pick.score.min(self.sharp.pick.score);
        self.best = best;
        // Errors of neighbouring seconds are alike, so a fit has fewer independent errors than steps: about one per quarter lag.
        let independent = (self.lag_us / 4_000_000).max(1);
        let scale = self.spread().saturating_mul(independent).saturating_mul(2 * FULL_WEIGHT);
        let trust = |least: i64| {
            let excess = least.saturating_sub(best).saturating_mul(256).checked_div(scale).unwrap_or(0).clamp(0, 1 << 20);
            // 1 / (1 + x)^2 instead of exp(-x): the same order, no table.
            let whole = 256 + excess;
            (1_i64 << 40).checked_div(whole * whole).unwrap_or(0)
        };
        let (soft, sharp) = (trust(self.soft.pick.score), trust(self.sharp.pick.score));
        self.sharp.pick.share = (sharp << 16).checked_div(soft + sharp).unwrap_or(ONE / 2);
        self.lag_us = self.blend(self.soft.mix(|c| c.lag_us), self.sharp.mix(|c| c.lag_us));
        self.raw = self.blend(self.soft.pick.raw, self.sharp.pick.raw);
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
    fn of(prior: &Prior, steepest: i64, variance: i64) -> Terms {
        // A bound is known to a factor; a learned climb to a few parts in a hundred. (variance / sd^2, in units of 1024 us squared.)
        let sd = if prior.known { prior.raw / KNOWN_PART } else { prior.raw };
        let root = (sd >> 12).max(1);
        let one = variance.saturating_mul(FULL_WEIGHT);
        let qq = (one << 36).checked_div(root.saturating_mul(root)).unwrap_or(0).clamp(1, 1 << 48);
        let lag_weight = if prior.known { one.saturating_mul(KNOWN_PART * KNOWN_PART) } else { one / 4 };
        Terms { qq, raw: prior.raw, steepest, lag_us: prior.lag_us, lag_weight }
    }

    /// Squared error that a lag is charged for lying off the prior's.
    fn lag_price(&self, lag_us: i64) -> i64 {
        let octave = log_ratio(lag_us, self.lag_us);
        ((octave * octave) >> 16).saturating_mul(self.lag_weight) >> 16
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
            sum_cross: 0,
            score: 0,
        });
        Family { members, pick: Pick { left: 0, theta: 0, raw: LEAST_RAW, score: 0, share: ONE / 2 } }
    }

    fn clear(&mut self) {
        for member in &mut self.members {
            member.sum_q = 0;
            member.sum_qq = 0;
            member.sum_qy = 0;
            member.sum_cross = 0;
        }
    }

    fn advance(&mut self, dt_us: i64, work_us: i64) {
        for member in &mut self.members {
            member.chain.tick(dt_us, member.lag_us, work_us);
        }
    }

    fn observe(&mut self, work: i64, y: i64, weight: i64) {
        let heard = |output: i64| (output.saturating_sub(work) >> 10).clamp(-(1 << 21), 1 << 21);
        // From the largest lag down, so that each meets its next.
        let mut next = 0;
        for member in self.members.iter_mut().rev() {
            let q = heard(member.chain.output());
            let weighted = weight * q;
            member.sum_q += weighted;
            member.sum_qq += weighted * q;
            member.sum_qy += weighted * y;
            member.sum_cross += weighted * next;
            next = q;
        }
    }

    /// Scores every member, then blends the best with its better neighbour.
    fn fit(&mut self, shared: &Shared, terms: &Terms) {
        let mut best = 0;
        let mut least = i64::MAX;
        for (index, member) in self.members.iter_mut().enumerate() {
            member.score = Sums::of(member, shared, terms).best(terms).1.saturating_add(terms.lag_price(member.lag_us));
            if member.score < least {
                least = member.score;
                best = index;
            }
        }
        let share = self.pick.share;
        let pair = |left: usize| -> Option<Pick> {
            let (a, b) = (self.members.get(left)?, self.members.get(left + 1)?);
            let (theta, (raw, error)) = blend(a, b, shared, terms);
            let lag_us = a.lag_us + (((b.lag_us - a.lag_us) * theta) >> 16);
            Some(Pick { left, theta, raw, score: error.saturating_add(terms.lag_price(lag_us)), share })
        };
        let below = best.checked_sub(1).and_then(pair);
        if let Some(pick) = [below, pair(best)].into_iter().flatten().min_by_key(|pick| pick.score) {
            self.pick = pick;
        }
    }

    /// A quantity of the blend.
    fn mix(&self, of: impl Fn(&Candidate<N>) -> i64) -> i64 {
        let value = |index: usize| self.members.get(index).map_or(0, &of);
        let (left, right) = (value(self.pick.left), value(self.pick.left + 1));
        left.saturating_add(right.saturating_sub(left).saturating_mul(self.pick.theta) >> 16)
    }

    /// What is on its way, Q32 K.
    fn gap(&self, work: i64) -> i64 {
        let waiting = work.saturating_sub(self.mix(|c| c.chain.output()));
        self.pick.raw.saturating_mul(waiting) >> 20
    }

    /// Climb heard since the mean of the window, Q12 K.
    fn heard(&self, work: i64, weight: i64) -> i64 {
        let mean = |sum: i64| sum.checked_div(weight).unwrap_or(0);
        self.pick.raw.saturating_mul(self.mix(|c| (c.chain.output().saturating_sub(work) >> 10) - mean(c.sum_q))) >> 30
    }
}

/// Sums about the mean, with the prior: `qq`, `qy`, `yy`.
#[derive(Debug, Clone, Copy)]
struct Sums {
    qq: i64,
    qy: i64,
    yy: i64,
}

impl Sums {
    fn of<const N: usize>(member: &Candidate<N>, shared: &Shared, terms: &Terms) -> Sums {
        let n = shared.weight.max(1);
        let prior_qy = ratio_mul(terms.raw, terms.qq);
        Sums {
            qq: member.sum_qq - product_over(member.sum_q, member.sum_q, n) + terms.qq,
            qy: member.sum_qy - product_over(member.sum_q, shared.y, n) + prior_qy,
            yy: shared.yy - product_over(shared.y, shared.y, n) + ratio_mul(terms.raw, prior_qy),
        }
    }

    /// The least-squares climb within the bounds, and the squared error it leaves.
    fn best(self, terms: &Terms) -> (i64, i64) {
        let shrink = 34_u32.saturating_sub(self.qq.leading_zeros());
        let raw = ((self.qy >> shrink).clamp(-(1 << 32), 1 << 32) << 30).checked_div((self.qq >> shrink).max(1)).unwrap_or(0);
        let raw = raw.min(terms.steepest).max(LEAST_RAW);
        let error = self.yy - 2 * ratio_mul(raw, self.qy) + ratio_mul(raw, ratio_mul(raw, self.qq));
        (raw, error.max(0))
    }
}

/// The share of `b`, Q16, that agrees best, with its climb and squared error.
///
/// With `q = qa + theta (qb - qa)`, `qy` is linear and `qq` quadratic in theta, so `qy^2 / qq` is greatest at the ratio below; the lag that
/// the prior expects pulls on it by its weight.
fn blend<const N: usize>(a: &Candidate<N>, b: &Candidate<N>, shared: &Shared, terms: &Terms) -> (i64, (i64, i64)) {
    let n = shared.weight.max(1);
    let (sa, sb) = (Sums::of(a, shared, terms), Sums::of(b, shared, terms));
    let cross = a.sum_cross - product_over(a.sum_q, b.sum_q, n) + terms.qq;
    let (ya, yd) = (i128::from(sa.qy), i128::from(sb.qy - sa.qy));
    let (qa, qd) = (i128::from(sa.qq), i128::from(cross - sa.qq));
    let dd = i128::from(sb.qq - cross) - qd;
    let above = yd * qa - ya * qd;
    let below = ya * dd - yd * qd;
    let free = if below > 0 { quotient(above, below) } else { ONE / 2 };
    // Curvature of the squared error and of the prior's price in theta, both 2^-24 K^2.
    let (raw, _) = sa.best(terms);
    let stiff = ratio_mul(raw, ratio_mul(raw, i64::try_from(dd - quotient_wide(qd * qd, qa)).unwrap_or(0))).max(1);
    let step = (b.lag_us - a.lag_us).max(1);
    let width = (step << 16) / terms.lag_us.max(1);
    let pull = (((width * width) >> 16).saturating_mul(terms.lag_weight) >> 16).max(0);
    let expected = (terms.lag_us.saturating_sub(a.lag_us) << 16) / step;
    let all = stiff.saturating_add(pull);
    let shift = quotient_wide(i128::from(expected.saturating_sub(free)) * i128::from(pull), i128::from(all));
    let theta = free.saturating_add(i64::try_from(shift).unwrap_or(0)).clamp(0, ONE);
    let at = |da: i64, db: i64| da.saturating_add(ratio_mul(theta << 14, db.saturating_sub(da)));
    let qy = at(sa.qy, sb.qy);
    let qq = at(at(sa.qq, cross), at(cross, sb.qq));
    (theta, Sums { qq, qy, yy: sa.yy }.best(terms))
}

/// `a / b` in Q16, bounded to 16.
fn quotient(a: i128, b: i128) -> i64 {
    let wide = quotient_wide(a << 8, b >> 8);
    i64::try_from(wide.clamp(-(16 << 16), 16 << 16)).unwrap_or(0)
}

fn quotient_wide(a: i128, b: i128) -> i128 {
    a.checked_div(b).unwrap_or(0)
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
