//! The candidates of one shape: their chains, their sums, and which of them agrees best.

use super::super::lag::{Trail, ratio};
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

/// The most stages a shape has.
const MOST_STAGES: usize = 6;

/// What tells two families apart: in how many stages their candidates share the lag.
#[derive(Debug)]
pub(super) struct Shape {
    stages: usize,
    /// The step ratio of each lag on the grid.
    ratios: [i32; GRID_US.len()],
}

impl Shape {
    const fn of(stages: usize) -> Shape {
        let mut ratios = [0; GRID_US.len()];
        let mut index = 0;
        while index < GRID_US.len() {
            ratios[index] = ratio(STEP_US as i64, GRID_US[index] as i64, stages as i64);
            index += 1;
        }
        Shape { stages, ratios }
    }
}

/// A soft bend and a sharp one.
pub(super) static SOFT: Shape = Shape::of(3);
pub(super) static SHARP: Shape = Shape::of(MOST_STAGES);

#[derive(Debug, Clone, Copy)]
struct Candidate {
    trail: Trail<MOST_STAGES>,
    member: Member,
}

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
    candidates: [Candidate; GRID_US.len()],
}

impl Family {
    pub fn new(shape: &'static Shape, prior: &Prior) -> Self {
        let candidates = GRID_US.map(|us| Candidate { trail: Trail::settled(), member: Member::new(us) });
        let pick = Pick { left: 0, theta: 0, lag_us: 0, raw: LEAST_RAW, score: 0 };
        let mut family = Family { shape, candidates, pick, best: 0, roamer: 0, by_us: 0, behind: 0 };
        family.stand_at(prior);
        family.lean_on(prior);
        family
    }

    /// Stands at the prior.
    #[inline(never)]
    pub fn stand_at(&mut self, prior: &Prior) {
        let above = place_above(prior.lag_us).max(1);
        let (low, high) = (lag_at(above - 1), lag_at(above));
        let theta = (i64::from(prior.lag_us - low) << 16).checked_div(i64::from(high - low)).unwrap_or(0).clamp(0, ONE);
        self.best = above;
        self.pick = Pick { left: above - 1, theta, lag_us: prior.lag_us, raw: prior.raw.max(LEAST_RAW), score: 0 };
        self.move_on(above - 1);
        self.move_on(above);
    }

    /// Forgets the sums.
    pub fn clear(&mut self) {
        for candidate in &mut self.candidates {
            candidate.member.clear();
        }
    }

    /// Sets what each lag is charged for lying off the prior's.
    pub fn lean_on(&mut self, prior: &Prior) {
        for candidate in &mut self.candidates {
            candidate.member.lean_on(prior.lag_us);
        }
    }

    /// Moves on by `by_us` of work: at once only the candidates that are asked for before the next turn, which are the pick's and the one
    /// near `lag_us`.
    #[inline(never)]
    pub fn advance(&mut self, by_us: i32, lag_us: i32) {
        self.catch_up(GRID_US.len());
        (self.by_us, self.behind) = (by_us, u16::MAX);
        for index in [self.pick.left, self.pick.left + 1, place_above(lag_us)] {
            self.move_on(index);
        }
    }

    /// Moves on up to `most` of the candidates that have still to.
    #[inline(never)]
    pub fn catch_up(&mut self, most: usize) {
        for _ in 0..most {
            if self.behind == 0 {
                break;
            }
            self.move_on(self.behind.trailing_zeros() as usize);
        }
    }

    #[inline(never)]
    fn move_on(&mut self, index: usize) {
        let bit = 1_u16.checked_shl(index as u32).unwrap_or(0);
        if let (Some(candidate), Some(&ratio)) = (self.candidates.get_mut(index), self.shape.ratios.get(index))
            && self.behind & bit != 0
        {
            candidate.trail.step(self.shape.stages, ratio, self.by_us);
        }
        self.behind &= !bit;
    }

    pub fn pick(&self) -> &Pick {
        &self.pick
    }

    /// How far the candidate at a lag, or the next above, trails the work, us.
    pub fn trailing_near(&self, lag_us: i32) -> i64 {
        self.trailing(place_above(lag_us))
    }

    /// Looks at the best, its neighbours and one more; then blends the best with its better neighbour.
    #[inline(never)]
    pub fn fit(&mut self, shared: &Shared, terms: &Terms) {
        self.roamer = (self.roamer + 1) % GRID_US.len();
        let score = |index: usize| self.member(index).map_or(i64::MAX, |m| m.score(shared, terms));
        let roaming = (score(self.roamer), self.roamer);
        let (below, here, above) = (self.best.checked_sub(1).map_or(i64::MAX, score), score(self.best), score(self.best + 1));
        let left = if below < above { self.best.saturating_sub(1) } else { self.best.min(GRID_US.len() - 2) };
        if let (Some(a), Some(b)) = (self.member(left), self.member(left + 1)) {
            let fit = blend(a, b, shared, terms);
            let beyond = (i64::from(b.lag_us() - a.lag_us()) * fit.theta) >> 16;
            let lag_us = a.lag_us() + beyond as i32;
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
    pub fn gap(&self) -> i64 {
        self.pick.raw.product(-self.mix(|i| -self.trailing(i))) >> 20
    }

    /// Climb heard since the mean of the window, Q12 K, with so much work done since its beginning.
    #[inline(never)]
    pub fn heard(&self, work_us: i64, shared: &Shared) -> i64 {
        let beyond = |i: usize| ((work_us - self.trailing(i)) >> 10) - self.member(i).map_or(0, |m| shared.mean(m.sum_q));
        self.pick.raw.product(self.mix(beyond)) >> 30
    }

    /// Takes the step into the sums, with so much work done since the window's beginning.
    #[inline(never)]
    pub fn observe(&mut self, work_us: i64, shared: &Shared) {
        self.catch_up(GRID_US.len());
        // From the largest lag down, so that each meets its next.
        let mut next = 0;
        for Candidate { trail, member } in self.candidates.iter_mut().rev() {
            let heard = (work_us - i64::from(trail.behind(self.shape.stages))) >> 10;
            next = member.take(heard.within(-(1 << 21), 1 << 21), next, shared);
        }
    }

    fn member(&self, index: usize) -> Option<&Member> {
        self.candidates.get(index).map(|candidate| &candidate.member)
    }

    #[inline(never)]
    fn trailing(&self, index: usize) -> i64 {
        self.candidates.get(index).map_or(0, |candidate| i64::from(candidate.trail.behind(self.shape.stages)))
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
fn place_above(lag_us: i32) -> usize {
    GRID_US.iter().position(|&us| us >= lag_us).unwrap_or(GRID_US.len() - 1)
}
