//! The sums behind a fit, and what follows from them.
//!
//! Sums are taken about the mean, `S_ab - S_a S_b / W`. With `m = S_a / W` rounded and `r = S_a - m W`, that is `S_ab - m S_b - r S_b / W`: exact
//! whatever the rounding of `m`, so one reciprocal of `W` serves every candidate and nothing else is divided.

use super::super::settle::ratio_of;
use super::{FULL_WEIGHT, KNOWN_PART, LEAST_RAW, ONE, Prior};
use crate::wide::{Bound, Product, Sum};

/// Sums that all candidates share: steps, weights, weighted readings and squares.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Shared {
    pub n: i64,
    pub y: i64,
    pub total: i64,
    /// The highest reading.
    pub highest: i64,
    yy: i64,
    /// Weight of the step being taken, and its reading.
    step: (i64, i64),
    /// `2^40 / total`, and the mean reading.
    inverse: i64,
    mean_y: i64,
}

impl Shared {
    /// A step begins with its reading and weight; [`Shared::take`] puts it into the sums.
    pub fn see(&mut self, y: i64, weight: i64) {
        self.n += 1;
        self.highest = self.highest.at_least(y);
        self.step = (weight, y);
    }

    /// The step that was seen goes into the sums.
    #[inline(never)]
    pub fn take(&mut self) {
        let (weight, y) = self.step;
        self.total += weight;
        self.y += weight * y;
        self.yy += weight * y * y;
        self.inverse = ratio_of(1, 1 << 40, self.total);
        self.mean_y = self.mean(self.y);
    }

    /// `sum / total` to within one, for `|sum|` up to `2^21` times the total.
    pub fn mean(&self, sum: i64) -> i64 {
        sum.product(self.inverse) >> 40
    }

    /// `sum / total` and what the rounded mean leaves.
    fn split(&self, sum: i64) -> (i64, i64) {
        let mean = self.mean(sum);
        (mean, sum - mean * self.total)
    }
}

/// The sums of one candidate.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Member {
    pub sum_q: i64,
    sum_qq: i64,
    sum_qy: i64,
    /// With the next candidate of the family.
    sum_cross: i64,
}

impl Member {
    /// Takes a step in which it has heard `q` and the next candidate `next`; hands `q` back.
    pub fn take(&mut self, q: i64, next: i64, shared: &Shared) -> i64 {
        let (weight, y) = shared.step;
        let weighted = weight * q;
        self.sum_q += weighted;
        self.sum_qq += weighted * q;
        self.sum_qy += weighted * y;
        self.sum_cross += weighted * next;
        q
    }

    /// Squared error of its best line, and what the prior charges.
    pub fn score(&self, lag_us: i32, shared: &Shared, terms: &Terms) -> i64 {
        Sums::of(self, shared, terms).line(terms).1.plus(terms.lag_price(lag_us))
    }
}

/// The prior, as terms of the sums.
#[derive(Debug, Clone, Copy)]
pub(super) struct Terms {
    qq: i64,
    qy: i64,
    yy: i64,
    least: i64,
    steepest: i64,
    lag_us: i32,
    lag_weight: i64,
}

impl Terms {
    pub fn of(prior: &Prior, steepest: i64, variance: i64) -> Terms {
        // A bound is known to a factor; a learned climb to a few parts in a hundred. (variance / sd^2, in units of 1024 us squared.)
        let sd = if prior.known { prior.raw / KNOWN_PART } else { prior.raw };
        let root = (sd >> 12).max(1);
        let one = variance.product(FULL_WEIGHT);
        let qq = (one << 36).checked_div(root.product(root)).unwrap_or(0).within(1, 1 << 48);
        let lag_weight = if prior.known { one.product(KNOWN_PART * KNOWN_PART) } else { one / 4 };
        let qy = times(prior.raw, qq);
        Terms {
            qq,
            qy,
            yy: times(prior.raw, qy),
            least: prior.least.at_least(LEAST_RAW),
            steepest,
            lag_us: prior.lag_us,
            lag_weight,
        }
    }

    /// Squared error that a lag is charged for lying off the prior's.
    pub fn lag_price(&self, lag_us: i32) -> i64 {
        squared_octave(lag_us, self.lag_us).product(self.lag_weight) >> 16
    }
}

/// Sums about the mean, with the prior: `qq`, `qy`, `yy`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sums {
    qq: i64,
    qy: i64,
    yy: i64,
}

impl Sums {
    pub fn of(member: &Member, shared: &Shared, terms: &Terms) -> Sums {
        let (mean, rest) = shared.split(member.sum_q);
        let (mean_y, rest_y) = (shared.mean_y, shared.y - shared.mean_y * shared.total);
        Sums {
            qq: member.sum_qq - mean * (member.sum_q + rest) + terms.qq,
            qy: member.sum_qy - mean * shared.y - rest * mean_y + terms.qy,
            yy: shared.yy - mean_y * (shared.y + rest_y) + terms.yy,
        }
    }

    /// The least-squares climb within the bounds, and the squared error it leaves.
    fn line(self, terms: &Terms) -> (i64, i64) {
        let raw = fraction(self.qy, self.qq).at_most(terms.steepest).at_least(terms.least);
        let error = self.yy - times(raw, 2 * self.qy - times(raw, self.qq));
        (raw, error.max(0))
    }
}

/// A fit between two neighbours.
pub(super) struct Blend {
    /// Share of the second, Q16.
    pub theta: i64,
    /// Climb.
    pub raw: i64,
    /// Squared error.
    pub error: i64,
}

/// The share of `b` that agrees best, with its climb and squared error.
///
/// With `q = qa + theta (qb - qa)`, `qy` is linear and `qq` quadratic in theta, so `qy^2 / qq` is greatest at the ratio below; the lag that
/// the prior expects pulls on it by its weight.
pub(super) fn blend((a, low_us): (&Member, i32), (b, high_us): (&Member, i32), shared: &Shared, terms: &Terms) -> Blend {
    let (sa, sb) = (Sums::of(a, shared, terms), Sums::of(b, shared, terms));
    let (mean, rest) = shared.split(a.sum_q);
    let cross = a.sum_cross - mean * b.sum_q - rest * shared.mean(b.sum_q) + terms.qq;
    let (yd, qd) = (sb.qy - sa.qy, cross - sa.qq);
    let dd = sb.qq - cross - qd;
    let (less_q, less_y) = (excess(sa.qq.at_least(sb.qq)), excess(sa.qy.size().at_least(sb.qy.size())));
    let (qy, yd, qd_30) = (sa.qy >> less_y, yd >> less_y, qd >> less_q);
    let above = yd * (sa.qq >> less_q) - qy * qd_30;
    let below = qy * (dd >> less_q) - yd * qd_30;
    let free = if below > 0 { fraction(above, below) >> 14 } else { ONE / 2 };
    // Curvature of the squared error and of the prior's price in theta, both 2^-24 K^2.
    let (raw, _) = sa.line(terms);
    let stiff = times(raw, times(raw, dd - times(fraction(qd, sa.qq), qd))).max(1);
    let step = i64::from((high_us - low_us).max(1));
    let width = ratio_of(step, ONE, i64::from(terms.lag_us.max(1)));
    let pull = (((width * width) >> 16).product(terms.lag_weight) >> 16).max(0);
    let expected = ratio_of(i64::from(terms.lag_us - low_us), ONE, step);
    let share = fraction(pull, stiff.plus(pull));
    let theta = free.plus(times(share, expected.minus(free))).within(0, ONE);
    let at = |da: i64, db: i64| da + times(theta << 14, db - da);
    let sums = Sums { qq: at(at(sa.qq, cross), at(cross, sb.qq)), qy: at(sa.qy, sb.qy), yy: sa.yy };
    let (raw, error) = sums.line(terms);
    Blend { theta, raw, error }
}

/// The bits that a sum has beyond 30: without them a product of two differences of sums fits, and so does a difference of two such products.
fn excess(sum: i64) -> u32 {
    34_u32.saturating_sub(sum.leading_zeros())
}

/// `a / b` in Q30 for positive `b`, bounded to 4, to thirty bits.
fn fraction(a: i64, b: i64) -> i64 {
    let shrink = 34_u32.saturating_sub(b.leading_zeros());
    ratio_of((a >> shrink).within(-(1 << 32), 1 << 32), 1 << 30, (b >> shrink).max(1))
}

/// Product with a Q30 ratio below 2^33.
#[inline(never)]
fn times(ratio: i64, value: i64) -> i64 {
    ratio * (value >> 30) + ((ratio * (value & ((1 << 30) - 1))) >> 30)
}

fn squared_octave(a: i32, b: i32) -> i64 {
    let octave = log_ratio(i64::from(a), i64::from(b));
    (octave * octave) >> 16
}

/// Close to `ln(a / b)` in Q16 for ratios up to 3, bounded beyond: `2 (a - b) / (a + b)` (first term of the series).
pub(super) fn log_ratio(a: i64, b: i64) -> i64 {
    ratio_of(a.minus(b), 1 << 17, a.plus(b))
}
