//! The candidates of one shape: their chains, their sums, and which of them agrees best.

use super::super::lag::{ratio, trail};
use super::sums::{Member, Shared, Terms, blend};
use super::{LEAST_RAW, ONE, Prior, STEP_US};
use crate::wide::{Bound, Product, Sum};

/// Lags on the grid, us: 9 s to 139 s, each 1.2 times the one before.
const GRID_US: [i32; 16] = [
    9_000_000,
    10_800_000,
    12_960_000,
    15_552_000,
    18_662_000,
    22_395_000,
    26_874_000,
    32_249_000,
    38_698_000,
    46_438_000,
    55_726_000,
    66_871_000,
    80_245_000,
    96_294_000,
    115_553_000,
    138_663_000,
];

/// What tells families apart: in how many stages their candidates share the lag.
#[derive(Debug)]
pub(super) struct Shape {
    stages: usize,
    /// Where the chains of its candidates begin among all [`Chains`].
    from: usize,
    /// The step ratio of each lag on the grid.
    ratios: [i32; GRID_US.len()],
}

/// Stages of each shape: from a soft bend to nearly a pure delay.
const STAGES: [usize; 4] = [2, 3, 6, 10];

/// Places that the chains of the first so many shapes take among all [`Chains`].
const fn places(shapes: usize) -> usize {
    let (mut stages, mut shape) = (0, 0);
    while shape < shapes {
        stages += STAGES[shape];
        shape += 1;
    }
    stages * GRID_US.len()
}

impl Shape {
    const fn of(shape: usize) -> Shape {
        let stages = STAGES[shape];
        let mut ratios = [0; GRID_US.len()];
        let mut index = 0;
        while index < GRID_US.len() {
            ratios[index] = ratio(STEP_US as i64, GRID_US[index] as i64, stages as i64);
            index += 1;
        }
        Shape { stages, from: places(shape), ratios }
    }
}

pub(super) static SHAPES: [Shape; STAGES.len()] = [Shape::of(0), Shape::of(1), Shape::of(2), Shape::of(3)];

/// How far each stage of each candidate's chain trails the work, us.
pub(super) type Chains = [i32; places(STAGES.len())];

/// Chains that have heard everything.
pub(super) const SETTLED: Chains = [0; places(STAGES.len())];

/// The best fit of one shape: a blend of two neighbours, which lies between them as the true lag does.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pick {
    left: usize,
    /// Share of the right neighbour, Q16.
    theta: i64,
    /// Lag, us.
    pub lag_us: i32,
    /// Climb, raw.
    pub raw: i64,
    /// Squared error with the prior's price, 2^-24 K^2.
    pub score: i64,
}

/// The candidates that share a shape.
#[derive(Debug, Clone)]
#[repr(C)]
pub(super) struct Family {
    shape: &'static Shape,
    pick: Pick,
    best: usize,
    /// The candidate that is looked at besides the best and its neighbours; all take turns.
    roamer: usize,
    /// By how much the work has grown in this step, and the candidates that have still to move on by it, one bit each.
    by_us: i32,
    behind: u16,
    members: [Member; GRID_US.len()],
}

impl Family {
    pub fn new(shape: &'static Shape) -> Self {
        let pick = Pick { left: 0, theta: 0, lag_us: 0, raw: LEAST_RAW, score: 0 };
        Family { shape, members: [Member::default(); GRID_US.len()], pick, best: 0, roamer: 0, by_us: 0, behind: 0 }
    }

    /// Stands at the prior.
    #[inline(never)]
    pub fn stand_at(&mut self, prior: &Prior, chains: &mut Chains) {
        let above = place_above(prior.lag_us).max(1);
        let (low, high) = (lag_at(above - 1), lag_at(above));
        let theta = (i64::from(prior.lag_us - low) << 16).checked_div(i64::from(high - low)).unwrap_or(0).clamp(0, ONE);
        self.best = above;
        self.pick = Pick { left: above - 1, theta, lag_us: prior.lag_us, raw: prior.raw.max(LEAST_RAW), score: 0 };
        self.move_on(above - 1, chains);
        self.move_on(above, chains);
    }

    /// Forgets the sums.
    pub fn clear(&mut self) {
        self.members = [Member::default(); GRID_US.len()];
    }

    /// Moves on by `by_us` of work: at once only the candidates that are asked for before the next turn, which are the pick's and the one
    /// at `near`.
    #[inline(never)]
    pub fn advance(&mut self, by_us: i32, near: usize, chains: &mut Chains) {
        self.catch_up(GRID_US.len(), chains);
        (self.by_us, self.behind) = (by_us, u16::MAX);
        for index in [self.pick.left, self.pick.left + 1, near] {
            self.move_on(index, chains);
        }
    }

    /// Moves on up to `most` of the candidates that have still to.
    #[inline(never)]
    pub fn catch_up(&mut self, most: usize, chains: &mut Chains) {
        for _ in 0..most {
            if self.behind == 0 {
                break;
            }
            self.move_on(self.behind.trailing_zeros() as usize, chains);
        }
    }

    #[inline(never)]
    fn move_on(&mut self, index: usize, chains: &mut Chains) {
        let bit = 1_u16.checked_shl(index as u32).unwrap_or(0);
        let from = self.shape.from + index * self.shape.stages;
        if let (Some(chain), Some(&ratio)) = (chains.get_mut(from..from + self.shape.stages), self.shape.ratios.get(index))
            && self.behind & bit != 0
        {
            trail(chain, ratio, self.by_us);
        }
        self.behind &= !bit;
    }

    pub fn pick(&self) -> &Pick {
        &self.pick
    }

    /// Looks at the best, its neighbours and one more; then blends the best with its better neighbour.
    #[inline(never)]
    pub fn fit(&mut self, shared: &Shared, terms: &Terms) {
        self.roamer = (self.roamer + 1) % GRID_US.len();
        let score = |index: usize| self.member(index).map_or(i64::MAX, |m| m.score(lag_at(index), shared, terms));
        let roaming = (score(self.roamer), self.roamer);
        let (below, here, above) = (self.best.checked_sub(1).map_or(i64::MAX, score), score(self.best), score(self.best + 1));
        let left = if below < above { self.best.saturating_sub(1) } else { self.best.min(GRID_US.len() - 2) };
        if let (Some(a), Some(b)) = (self.member(left), self.member(left + 1)) {
            let (low, high) = (lag_at(left), lag_at(left + 1));
            let fit = blend((a, low), (b, high), shared, terms);
            let beyond = (i64::from(high - low) * fit.theta) >> 16;
            let lag_us = low + beyond as i32;
            let score = fit.error.plus(terms.lag_price(lag_us));
            self.pick = Pick { left, theta: fit.theta, lag_us, raw: fit.raw, score };
        }
        let mut best = (here, self.best);
        for other in [(below, self.best.saturating_sub(1)), (above, self.best + 1), roaming] {
            best = best.min(other);
        }
        self.best = best.1;
    }

    /// What is on its way, Q32 K.
    #[inline(never)]
    pub fn gap(&self, chains: &Chains) -> i64 {
        self.pick.raw.product(-self.mix(|i| -self.trailing(i, chains))) >> 20
    }

    /// Climb heard since the mean of the window, Q12 K, with so much work done since its beginning.
    #[inline(never)]
    pub fn heard(&self, work_us: i64, shared: &Shared, chains: &Chains) -> i64 {
        let beyond = |i: usize| ((work_us - self.trailing(i, chains)) >> 10) - self.member(i).map_or(0, |m| shared.mean(m.sum_q));
        self.pick.raw.product(self.mix(beyond)) >> 30
    }

    /// Takes the step into the sums, with so much work done since the window's beginning.
    #[inline(never)]
    pub fn observe(&mut self, work_us: i64, shared: &Shared, chains: &mut Chains) {
        self.catch_up(GRID_US.len(), chains);
        // From the largest lag down, so that each meets its next.
        let mut next = 0;
        for index in (0..GRID_US.len()).rev() {
            let heard = (work_us - self.trailing(index, chains)) >> 10;
            if let Some(member) = self.members.get_mut(index) {
                next = member.take(heard.within(-(1 << 21), 1 << 21), next, shared);
            }
        }
    }

    fn member(&self, index: usize) -> Option<&Member> {
        self.members.get(index)
    }

    /// How far a candidate trails the work, us.
    #[inline(never)]
    pub fn trailing(&self, index: usize, chains: &Chains) -> i64 {
        let last = self.shape.from + (index + 1) * self.shape.stages - 1;
        i64::from(chains.get(last).copied().unwrap_or(0))
    }

    /// A quantity of the blend.
    fn mix(&self, of: impl Fn(usize) -> i64) -> i64 {
        let (left, right) = (of(self.pick.left), of(self.pick.left + 1));
        left + ((right - left).product(self.pick.theta) >> 16)
    }
}

/// The lag at a place on the grid, us.
fn lag_at(index: usize) -> i32 {
    GRID_US.get(index).copied().unwrap_or(0)
}

/// The first place on the grid with at least this lag, or the last.
pub(super) fn place_above(lag_us: i32) -> usize {
    GRID_US.iter().position(|&us| us >= lag_us).unwrap_or(GRID_US.len() - 1)
}
