//! The fit of a response to what a window has gathered.
//!
//! Least squares alone would make nonsense of a bend that has only begun. What the readings do not tell is filled in from what responses are
//! [`usual`] about the lag that the fit before found: ridge regression with a prior covariance (Pillonetto and De Nicolao, Automatica 46, 2010,
//! identify linear systems so; from memory). The normal equations are solved by Cholesky's factors ([`super::solve`]).
//!
//! - *Unknowns*: the parts of the response at the places of the lag, in units of the prior's climb; the loss beyond the usual, in units of
//!   [`crate::heat::loss::UNKNOWN`]; the start, K.
//! - *Tied*: the fit leans on a record. It breaks with it when what it finds is far off.
//! - *Sound*: its climb, lag and loss may be a kettle's. The lag of one that is not is the lag before.

use super::past::{DELAYS_US, NODES};
use super::places::Places;
use super::prior::Prior;
use super::scale::{Scale, times};
use super::solve::{row_at, solve};
use super::usual;
use super::window::{COLUMNS, LOSS, READING, Window};
use crate::heat::learned::LAG_MS;
use crate::heat::settle::ratio_of;
use crate::wide::{Bound, Product, square_root};

/// Least climb that is believed, raw: 0.0005 K/s.
const LEAST_RAW: i64 = 2_251_800;
/// Bounds of the lag, those of a record, us.
const LEAST_LAG_US: i64 = LAG_MS[0] as i64 * 1_000;
const MOST_LAG_US: i64 = LAG_MS[1] as i64 * 1_000;
/// A vessel that loses by this less than the usual is heated by something else: one unit, Q30.
const LEAST_LOSS: i64 = -(1 << 30);
/// However wrong a record, its lag is right to this factor.
const LAG_TIMES: i64 = 3;
/// A fit further off a record than this part breaks with it, once it has seen so many steps and such a rise (half a kelvin, Q12).
const BREAK_PART: i64 = 10;
const BREAK_AFTER: i64 = 20;
const BREAK_RISE: i64 = 1 << 11;
/// While the reading has risen by less than this (half a kelvin, Q12), its noise counts for as many times more: a bend that has only begun tells
/// little. Less than this rise (0.05 K) counts as this.
const RISE: i64 = 1 << 11;
const LEAST_RISE: i64 = 205;

/// Unknowns of a fit.
const UNKNOWNS: usize = usual::COUNT + COLUMNS - 1 - NODES;
const LOSS_FOUND: usize = usual::COUNT;
const START_FOUND: usize = usual::COUNT + 1;
/// Bits below one in the normal equations.
const FRACTION: u32 = 18;

/// How firmly things are known, inverse variances: a start, to 0.1 K; the loss in units of the usual unknown one, to a half, or with a record to
/// 0.15; of a record the climb to a sixtieth and climb times lag to a hundredth, or to a third each once something has happened to the vessel;
/// without a record the lag, to seven tenths.
const FIRM_START: i64 = 100;
const FIRM_LOSS: i64 = 4;
const FIRM_LOSS_OF_RECORD: i64 = 44;
const FIRM_RECORD: (i64, i64) = (3_600, 10_000);
const FIRM_SHAKEN: (i64, i64) = (10, 10);
const FIRM_LAG: i64 = 2;

/// What a fit says of the kettle.
#[derive(Debug, Clone, Copy)]
pub struct Fit {
    /// Parts of the response, raw.
    response: [i64; NODES],
    /// Their sum, raw.
    raw: i64,
    lag_us: i32,
    /// Loss beyond the usual, Q30.
    loss: i64,
    /// Q32 K.
    gap: i64,
    tied: bool,
    sound: bool,
}

impl Fit {
    /// What there is before a reading.
    pub fn of(prior: &Prior, trails: &[i32; NODES]) -> Fit {
        let raw = prior.raw.at_least(LEAST_RAW);
        let mut fit =
            Fit { response: [0; NODES], raw, lag_us: prior.lag_us, loss: 0, gap: 0, tied: prior.known, sound: prior.known };
        fit.add_usual(&Places::of(prior.lag_us), raw);
        fit.listen(trails);
        fit
    }

    /// The climb, raw.
    pub fn raw(&self) -> i64 {
        self.raw
    }

    /// The lag, us.
    pub fn lag_us(&self) -> i32 {
        self.lag_us
    }

    /// Loss beyond the usual, Q16.
    pub fn loss(&self) -> i64 {
        self.loss >> 14
    }

    /// What is on its way to the thermometer, Q32 K.
    pub fn gap(&self) -> i64 {
        self.gap
    }

    /// Whether the next fit leans on the record.
    pub fn is_tied(&self) -> bool {
        self.tied
    }

    /// Whether it may be a kettle's.
    pub fn is_sound(&self) -> bool {
        self.sound
    }

    /// What is on its way, of work that the nodes trail behind by this. A fit to water that something else heats or cools may have parts below
    /// zero; what is on its way never is.
    pub fn listen(&mut self, trails: &[i32; NODES]) {
        let gap: i64 = self.response.iter().zip(trails).map(|(&part, &trail)| part.product(trail) >> 10).sum();
        self.gap = gap.at_least(0);
    }

    /// So much more of the usual response.
    fn add_usual(&mut self, places: &Places, raw: i64) {
        for (place, &mean) in usual::MEAN.iter().enumerate() {
            places.add(place, times(i64::from(mean), raw), &mut self.response);
        }
    }

    /// The fit to what the window has gathered by now, this one being that of a step before, and how far the last reading lies off its line, Q12 K.
    #[inline(never)]
    pub fn better(&self, window: &Window, prior: &Prior, variance: i64, steepest: i64, trails: &[i32; NODES]) -> (Fit, i64) {
        let about_us = if self.tied { prior.lag_us } else { self.lag_us };
        let places = Places::of(about_us);
        let unit = prior.raw.at_least(LEAST_RAW);
        let known = Known::of(prior, self.tied, about_us);
        let x = solve::<UNKNOWNS>(&mut normal(window, &known, &places, unit, variance));
        let [.., loss, start] = x;
        let mut fit = Fit { response: [0; NODES], raw: 0, loss, ..*self };
        for (place, &x) in x.iter().take(usual::COUNT).enumerate() {
            let part = times(x, unit);
            fit.raw += part;
            places.add(place, part, &mut fit.response);
        }
        let row = window.last();
        let heard: i64 = fit.response.iter().zip(row).map(|(&part, &heard)| part.product(heard) >> 30).sum();
        let line = heard + (loss.product(row[LOSS]) >> 30) + (start >> 18);
        // Steeper than the rig can be, or losing less than nothing: no kettle's.
        let is_a_kettle = fit.raw <= steepest && loss >= LEAST_LOSS;
        // A climb beyond what is believed is made up for by the usual response.
        let raw = fit.raw.at_most(steepest).at_least(prior.least.at_least(LEAST_RAW));
        if raw != fit.raw {
            fit.add_usual(&places, raw - fit.raw);
            fit.raw = raw;
        }
        let moment = fit.response.iter().zip(DELAYS_US).fold(0, |sum, (&part, delay_us)| sum + (part >> 8).product(delay_us));
        // A response that is none, such as that of a tank whose heat a cold mash takes up, has no lag: then the one before is kept.
        let lag_us = moment.checked_div(raw >> 8).unwrap_or(0);
        fit.sound = is_a_kettle && lags(prior).contains(&lag_us);
        if fit.sound {
            fit.lag_us = lag_us as i32;
        }
        let has_seen_enough = window.steps() > BREAK_AFTER && window.highest() > BREAK_RISE;
        fit.tied = fit.tied && !(has_seen_enough && fit.is_off(prior));
        fit.listen(trails);
        (fit, i64::from(row[READING]) - line)
    }

    /// Another volume, another place of the thermometer: then the record says nothing about this kettle, and the next step fits without it.
    fn is_off(&self, record: &Prior) -> bool {
        let off = |now: i64, then: i64| (now - then).size().product(BREAK_PART) > then;
        off(self.raw, record.raw) || off(i64::from(self.lag_us), i64::from(record.lag_us))
    }
}

/// Lags that are believed, us.
fn lags(prior: &Prior) -> core::ops::RangeInclusive<i64> {
    let lag_us = i64::from(prior.lag_us);
    if prior.known {
        (lag_us / LAG_TIMES).at_least(LEAST_LAG_US)..=(lag_us * LAG_TIMES).at_most(MOST_LAG_US)
    } else {
        LEAST_LAG_US..=MOST_LAG_US
    }
}

/// The places, as parts of the lag, Q10.
const AT: [i64; usual::COUNT] = {
    let mut at = [0; usual::COUNT];
    let mut place = 0;
    while place < usual::COUNT {
        at[place] = (usual::PLACES[place] as i64 * 1_024 + 500) / 1_000;
        place += 1;
    }
    at
};

/// What is known before a reading, as inverse variances: of the climb and of climb times lag, of the lag alone, of the loss.
struct Known {
    climb: i64,
    moment: i64,
    loss: i64,
    /// How far each place lies off the prior's lag, as a part of that, Q10; nothing if a record says more.
    off: [i64; usual::COUNT],
}

impl Known {
    fn of(prior: &Prior, tied: bool, about_us: i32) -> Known {
        let (climb, moment) = match (tied, prior.shaken) {
            (false, _) => (0, 0),
            (true, false) => FIRM_RECORD,
            (true, true) => FIRM_SHAKEN,
        };
        let loss = if prior.known { FIRM_LOSS_OF_RECORD } else { FIRM_LOSS };
        let part = i64::from(about_us).product(1 << 16).checked_div(i64::from(prior.lag_us)).unwrap_or(1 << 16);
        let off = AT.map(|at| if tied { 0 } else { (part.product(at) >> 16) - (1 << 10) });
        Known { climb, moment, loss, off }
    }

    /// What it adds to the normal equations beside the usual response's firmness: the usual response's pull, by one; the loss; the start; of a record,
    /// that the parts add up to its climb and their moment to its climb times lag; without one, that their moment is their sum times the lag.
    fn firmness(&self, i: usize, j: usize) -> i64 {
        let at = |unknown: usize| AT.get(unknown).copied().unwrap_or(1 << 10);
        let off = |unknown: usize| self.off.get(unknown).copied().unwrap_or(0);
        let pull = || (self.climb << FRACTION) + ((self.moment * at(i) * at(j)) >> (20 - FRACTION));
        match (i, j) {
            (LOSS_FOUND, LOSS_FOUND) => self.loss << FRACTION,
            (START_FOUND, START_FOUND) => FIRM_START << FRACTION,
            (UNKNOWNS, LOSS_FOUND | START_FOUND) | (LOSS_FOUND | START_FOUND, _) => 0,
            (UNKNOWNS, _) => (1 << FRACTION) + pull(),
            (_, _) => pull() + ((FIRM_LAG * off(i) * off(j)) >> (20 - FRACTION)),
        }
    }
}

/// The normal equations, with the right-hand side as the last row: the window's sums over the variance of a reading, and what is known.
fn normal(window: &Window, known: &Known, places: &Places, unit: i64, variance: i64) -> [i64; row_at(UNKNOWNS + 1)] {
    // As many times more of the reading's spread, Q8.
    let times_more = ratio_of(RISE, 1 << 8, window.highest().at_least(LEAST_RISE));
    let doubted = variance + (variance.product(times_more * times_more) >> 16);
    let sigma = i64::from(square_root(doubted.unsigned_abs())).max(1);
    let (of_response, of_rest) = (Scale::of((unit << 9) / sigma), Scale::of((1 << 39) / sigma));
    let scales = [of_response.and(of_response), of_response.and(of_rest), of_rest.and(of_rest)];
    let mut equations = [0; row_at(UNKNOWNS + 1)];
    let mut entries = equations.iter_mut();
    let mut firmness = usual::FIRMNESS.iter();
    for i in 0..UNKNOWNS + 1 {
        for (j, entry) in (0..i + 1).zip(&mut entries) {
            let sum = places.between(i, |column| places.between(j, |other| window.sum(column, other)));
            let is_rest = |unknown: usize| usize::from(unknown >= usual::COUNT);
            let scale = scales.get(is_rest(i) + is_rest(j)).copied().unwrap_or(of_rest);
            *entry = scale.times(sum) + known.firmness(i, j);
            if i < usual::COUNT {
                *entry += firmness.next().map_or(0, |&firm| i64::from(firm) << (FRACTION - 4));
            }
        }
    }
    equations
}
