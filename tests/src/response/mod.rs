//! A learner on trial, not in the controller: what the readings of a ramp tell if the response is fitted freely.
//!
//! Job: the same as that of the core's `heat::learn`, by other means, to see how much better the settled temperature can be known. The example
//! `response_fit` compares the two; DEVELOPERS.md says what it takes to put this one into the controller. Its sums and solutions are
//! integers, so that it could go there.
//!
//! - *Response*: what a second of work does to the reading, spread over the delays after which it is heard. Its sum is the *climb* `k`, K/s at full
//!   power before any loss; its mean delay is the *lag* `L`. It is linear between the nodes of [`past`].
//! - *Fit*: the least-squares response, start, and loss beyond the usual, for `reading + loss so far = start + climb so far`. What a reading cannot
//!   tell yet is filled in from what responses are [`usual`] about the lag that the fit before found: ridge regression with a prior covariance
//!   (Pillonetto and De Nicolao, Automatica 46, 2010, identify linear systems so; from memory).
//! - *Gap*: the work that each node has not heard yet, times its part of the response: what is on its way to the thermometer.
//!
//! | quantity | format |
//! | --- | --- |
//! | work | us at full power; in sums 1024 us |
//! | reading in sums | 2^-12 K |
//! | climb and parts of the response | Q30 of 2^-12 K per 1024 us, "raw" |

pub mod past;
pub mod solve;
pub mod trial;
pub mod usual;

use copperhold_core::heat::lag::LagChain;
use copperhold_core::heat::loss;
use copperhold_core::wide::{Bound, Product, square_root};
use past::{DELAYS_US, NODES, Past};
use solve::{row_at, solve};

/// Lag assumed before anything is known, us.
const UNKNOWN_LAG_US: i32 = 60_000_000;
/// Variance of the reading that is never believed to be less, 2^-24 K^2: (0.03 K)^2.
const FLOOR: i64 = 15_099;
/// While the reading has risen by less than this, its noise counts for as many times more: a bend that has only begun tells little. Half a kelvin, Q12.
const RISE: i64 = 1 << 11;
/// Least climb that is believed, raw: 0.0005 K/s.
const LEAST_RAW: i64 = 2_251_800;
/// Bounds of the lag, us.
const LEAST_LAG_US: i64 = 5_000_000;
const MOST_LAG_US: i64 = 180_000_000;
/// The most steps that are taken in, so that no sum can overflow.
const MOST_STEPS: i64 = 2_048;
/// One, Q32.
const ONE_Q32: f64 = 4_294_967_296.0;
/// One kelvin, Q12: the column of the start.
const KELVIN: i32 = 1 << 12;

/// Columns of the sums: what each node has heard, the loss beyond the usual, the start, the reading.
const LOSS: usize = NODES;
const START: usize = NODES + 1;
const READING: usize = NODES + 2;
const COLUMNS: usize = READING + 1;
/// Unknowns of a fit: parts of the response by place, loss, start.
const UNKNOWNS: usize = usual::COUNT + COLUMNS - 1 - NODES;
const LOSS_FOUND: usize = usual::COUNT;
const START_FOUND: usize = usual::COUNT + 1;

/// How firmly things are known, inverse variances: the start to 0.1 K, the loss to half of [`loss::UNKNOWN`].
const FIRM_START: i64 = 100;
const FIRM_LOSS: i64 = 4;

/// One row of the sums.
type Row = [i32; COLUMNS];
/// Products of every two columns, summed: the lower triangle, row by row.
type Products = [i64; row_at(COLUMNS)];

/// What a fit says of the kettle.
#[derive(Debug, Clone, Copy)]
struct Fit {
    /// Parts of the response, raw.
    response: [i64; NODES],
    /// Their sum, raw.
    raw: i64,
    lag_us: i32,
    /// Loss beyond the usual, in units of [`loss::UNKNOWN`], Q30.
    loss: i64,
}

impl Fit {
    /// So much more of the usual response.
    fn add_usual(&mut self, places: &Places, raw: i64) {
        for (place, &mean) in usual::MEAN.iter().enumerate() {
            places.add(place, times(i64::from(mean), raw), &mut self.response);
        }
    }
}

/// Work and readings of a first heat-up, and the response that agrees best.
#[derive(Debug, Clone)]
pub struct Response {
    /// The climb to begin with, raw, and those that are not believed.
    first: i64,
    steepest: i64,
    fit: Fit,
    past: Past,
    trails: [i32; NODES],
    work_us: i64,
    /// Loss so far if it is [`loss::UNKNOWN`], Q32 K, and what the thermometer has heard of it.
    lost: i64,
    missed: LagChain<3>,
    /// The first row, and its reading (Q32 K) and work (us): rows are counted from it.
    begin: Option<(i64, i64, Row)>,
    steps: i64,
    highest: i64,
    before: Option<(i64, i64)>,
    variance: i64,
    sums: Products,
}

impl Response {
    /// Knows nothing but the climb to begin with and the steepest that is believed, K/s.
    pub fn new(usual_k_per_s: f64, steepest_k_per_s: f64) -> Response {
        let raw = |k_per_s: f64| (k_per_s * 1.024e-3 * 4_096.0 * f64::from(1 << 30)) as i64;
        let first = raw(usual_k_per_s).max(LEAST_RAW);
        let mut fit = Fit { response: [0; NODES], raw: first, lag_us: UNKNOWN_LAG_US, loss: 0 };
        fit.add_usual(&Places::of(UNKNOWN_LAG_US), first);
        Response {
            first,
            steepest: raw(steepest_k_per_s),
            fit,
            past: Past::idle(),
            trails: [0; NODES],
            work_us: 0,
            lost: 0,
            missed: LagChain::settled(0),
            begin: None,
            steps: 0,
            highest: 0,
            before: None,
            variance: FLOOR,
            sums: [0; row_at(COLUMNS)],
        }
    }

    /// A second is over: the work in it, us at full power, and its mean reading, degrees Celsius.
    pub fn step(&mut self, by_us: i32, reading_c: f64) {
        self.past.push(by_us);
        self.work_us += i64::from(by_us);
        self.trails = self.past.trails();
        self.lost += loss::UNKNOWN.product(loss::shape((reading_c * 65_536.0) as i64)) >> 16;
        self.missed.tick(1_000_000, i64::from(self.fit.lag_us), self.lost >> 16);
        if self.steps < MOST_STEPS {
            self.see((reading_c * ONE_Q32) as i64 + (self.missed.output() << 16));
            self.fit = self.find();
        }
    }

    /// Where a reading would settle if the power went off now, what is lost meanwhile included (degrees Celsius), and what is lost (K/s).
    pub fn settles(&self, reading_c: f64) -> (f64, f64) {
        let gap: i64 = self.fit.response.iter().zip(&self.trails).map(|(&part, &trail)| part.product(trail) >> 10).sum();
        let warm_c = reading_c + gap as f64 / ONE_Q32;
        let shape = loss::shape((warm_c * 65_536.0) as i64) as f64 / 65_536.0;
        let lost_k_per_s = loss::UNKNOWN as f64 / ONE_Q32 * shape * (1.0 + self.loss());
        (warm_c - lost_k_per_s * self.lag_s(), lost_k_per_s)
    }

    /// Climb, K/s.
    pub fn climb_k_per_s(&self) -> f64 {
        self.fit.raw as f64 / f64::from(1 << 30) / 4_096.0 / 1.024e-3
    }

    /// Lag, s.
    pub fn lag_s(&self) -> f64 {
        f64::from(self.fit.lag_us) * 1e-6
    }

    /// Loss beyond the usual, in units of [`loss::UNKNOWN`].
    pub fn loss(&self) -> f64 {
        self.fit.loss as f64 / f64::from(1 << 30)
    }

    /// Makes the step's row, counted from the first, and takes it into the sums. The reading is with the usual loss added back, Q32 K.
    fn see(&mut self, reading: i64) {
        let mut row = [0; COLUMNS];
        for (column, &trail) in row.iter_mut().zip(&self.trails) {
            *column = trail;
        }
        row[LOSS] = (self.missed.output() >> 4) as i32;
        let (start, work_us, first) = *self.begin.get_or_insert((reading, self.work_us, row));
        let worked = ((self.work_us - work_us) >> 10).clamp(0, 1 << 21) as i32;
        for (i, (column, first)) in row.iter_mut().zip(first).enumerate() {
            let since = first.wrapping_sub(*column);
            *column = if i < NODES { worked.wrapping_add(since) } else { since };
        }
        let y = ((reading - start) >> 20).within(-(1 << 20), 1 << 20);
        (row[START], row[READING]) = (KELVIN, y as i32);
        self.hear_noise(y);
        self.highest = self.highest.at_least(y);
        self.steps += 1;
        let mut sums = self.sums.iter_mut();
        for (i, &a) in row.iter().enumerate() {
            for (&b, sum) in row.iter().take(i + 1).zip(&mut sums) {
                *sum += i64::from(a) * i64::from(b);
            }
        }
    }

    /// Variance of the reading about its course, from second differences.
    fn hear_noise(&mut self, y: i64) {
        if let Some((last, last_but_one)) = self.before {
            let second = (y - 2 * last + last_but_one).within(-(1 << 16), 1 << 16);
            // A jump is not noise: one step moves the variance no more than to half as much again.
            let square = (second * second / 6).at_most(self.variance.product(16));
            self.variance = (self.variance + (square - self.variance) / 32).at_least(FLOOR);
        }
        self.before = Some((y, self.before.map_or(y, |(last, _)| last)));
    }

    /// The fit to what was gathered.
    fn find(&self) -> Fit {
        let places = Places::of(self.fit.lag_us);
        let x = solve::<UNKNOWNS>(&mut self.normal(&places));
        let mut fit = Fit { response: [0; NODES], raw: 0, lag_us: self.fit.lag_us, loss: x[LOSS_FOUND] };
        for (place, &x) in x.iter().take(usual::COUNT).enumerate() {
            let part = times(x, self.first);
            fit.raw += part;
            places.add(place, part, &mut fit.response);
        }
        // A climb beyond what is believed is made up for by the usual response.
        let raw = fit.raw.at_most(self.steepest).at_least(LEAST_RAW);
        if raw != fit.raw {
            fit.add_usual(&places, raw - fit.raw);
            fit.raw = raw;
        }
        let moment = fit.response.iter().zip(DELAYS_US).fold(0, |sum, (&part, delay_us)| sum + (part >> 8).product(delay_us));
        let lag_us = moment.checked_div(raw >> 8).unwrap_or(0);
        if (LEAST_LAG_US..=MOST_LAG_US).contains(&lag_us) {
            fit.lag_us = lag_us as i32;
        }
        fit
    }

    fn sum(&self, i: usize, j: usize) -> i64 {
        let (i, j) = if i < j { (j, i) } else { (i, j) };
        self.sums.get(row_at(i) + j).copied().unwrap_or(0)
    }

    /// The normal equations, with the right-hand side as the last row, Q18: the sums over the variance, and what is known.
    fn normal(&self, places: &Places) -> [i64; row_at(UNKNOWNS + 1)] {
        let times_more = RISE / self.highest.max(RISE / 10);
        let sigma = i64::from(square_root(self.variance.product(1 + times_more * times_more).unsigned_abs())).max(1);
        let (of_response, of_rest) = (Scale::of((self.first << 9) / sigma), Scale::of((1 << 39) / sigma));
        let mut equations = [0; row_at(UNKNOWNS + 1)];
        let mut entries = equations.iter_mut();
        let mut firmness = usual::FIRMNESS.iter();
        for i in 0..=UNKNOWNS {
            for (j, entry) in (0..=i).zip(&mut entries) {
                let sum = places.between(i, |column| places.between(j, |other| self.sum(column, other)));
                let scale = |of: usize| if of < usual::COUNT { of_response } else { of_rest };
                *entry = scale(i).times(scale(j).times(sum)) + (known(i, j) << 18);
                if i < usual::COUNT {
                    *entry += firmness.next().map_or(0, |&firm| i64::from(firm) << 14);
                }
            }
        }
        equations
    }
}

/// What is known beforehand: the usual response's pull, the loss, the start.
const fn known(i: usize, j: usize) -> i64 {
    match (i, j) {
        (LOSS_FOUND, LOSS_FOUND) => FIRM_LOSS,
        (START_FOUND, START_FOUND) => FIRM_START,
        (UNKNOWNS, LOSS_FOUND | START_FOUND) => 0,
        (UNKNOWNS, _) => 1,
        (_, _) => 0,
    }
}

/// Where the places of a lag lie between the nodes: the node before each, and the share of the next, Q30.
struct Places([(usize, i64); usual::COUNT]);

impl Places {
    #[inline(never)]
    fn of(lag_us: i32) -> Places {
        Places(usual::PLACES.map(|place| {
            let delay_us = i64::from(lag_us) * i64::from(place) / 1_000;
            let above = DELAYS_US.iter().position(|&node_us| i64::from(node_us) >= delay_us).unwrap_or(NODES);
            let delay = |node: usize| DELAYS_US.get(node).map_or(0, |&us| i64::from(us));
            let before = above.saturating_sub(1).min(NODES - 2);
            let share =
                ((delay_us - delay(before)) << 30).checked_div(delay(before + 1) - delay(before)).unwrap_or(0).within(0, 1 << 30);
            (before, share)
        }))
    }

    /// A part of the response at a place, shared between its nodes.
    fn add(&self, place: usize, part: i64, response: &mut [i64; NODES]) {
        let Some(&(before, share)) = self.0.get(place) else { return };
        let next = times(share, part);
        if let Some([near, far]) = response.get_mut(before..before + 2) {
            *near += part - next;
            *far += next;
        }
    }

    /// A quantity of the columns at an unknown, which lies between two of them if it is a place.
    fn between(&self, unknown: usize, of: impl Fn(usize) -> i64) -> i64 {
        match self.0.get(unknown) {
            Some(&(before, share)) => {
                let near = of(before);
                near + times(share, of(before + 1) - near)
            }
            None => of(unknown + NODES - usual::COUNT),
        }
    }
}

/// A factor: a Q30 from a half to one, times two to a power.
#[derive(Debug, Clone, Copy)]
struct Scale {
    part: i64,
    up: i32,
}

impl Scale {
    /// From a positive Q30.
    fn of(factor: i64) -> Scale {
        let up = 34 - factor.leading_zeros() as i32;
        Scale { part: if up > 0 { factor >> up } else { factor << -up }, up }
    }

    fn times(self, value: i64) -> i64 {
        let value = times(self.part, value);
        if self.up > 0 { value.within(-(1 << 58) >> self.up, (1 << 58) >> self.up) << self.up } else { value >> -self.up }
    }
}

/// Product with a Q30 ratio up to 2^33.
#[inline(never)]
fn times(ratio: i64, value: i64) -> i64 {
    ratio * (value >> 30) + ((ratio * (value & ((1 << 30) - 1))) >> 30)
}
