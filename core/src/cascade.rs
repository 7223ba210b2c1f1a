//! The mash cascade: the mash is held by its own thermometer, by moving the tank's target.
//!
//! The tank can only be heated, never cooled, and what it holds above the mash target ends up in the mash. So its target is
//!
//! ```text
//!   mash target + offset + push,    push = share x ratio x lack,    within [mash target, mash target + limit]
//! ```
//!
//! - *Lack*: how far the mash is below its target.
//! - *Offset*: what the coil needs in a steady hold, loss of the tun over conductance of the coil. It grows with the rise over the room.
//! - *Ratio*: heat capacity of the mash over that of the tank. With a push of `ratio x lack` the tank holds exactly the heat that the mash
//!   still lacks: it may coast, both arrive together, and nothing is left over. The *share* keeps a margin.
//! - *Time constant*: in which the mash follows the tank.
//!
//! All three are learned from the two thermometers and the element's work (`Follow` and `Balance`), over windows of two minutes:
//!
//! ```text
//!   rise of the mash    = (mean gap - offset) x window / time constant          (gap: tank less mash)
//!   heat into the tank  = rise of the tank + ratio x (rise of the mash + its loss)
//! ```
//!
//! Neither leans on the control error, so nothing winds up while the tank is on its way, at its ceiling, or short of power.
//!
//! Flow that stops shows as a gap that the mash does not answer: then nothing is pushed and nothing learned. A tank colder than the mash,
//! after a refill, would cool it: recirculation waits.

mod learn;
mod stall;
#[cfg(test)]
mod tests;

use crate::units::{Celsius, Duty, Kelvin, Slope, Span, narrow};
use crate::wide::{Product, Sum};
use fixed::types::I16F16;
use heapless::Deque;
use learn::{Balance, Follow, TELLING_RISE};
use stall::{STOPPED_RISE, Stall};

/// Offset at [`OFFSET_AT`] before anything was learned: a fairly insulated tun's. Too little costs minutes, too much would overshoot.
pub const FIRST_OFFSET: Kelvin = Kelvin::from_milli(700);
/// The learned offset is kept as what it would be at this mash temperature ...
pub const OFFSET_AT: Celsius = Celsius::from_milli(66_000);
/// Share of the ratio that is pushed: less until a rest has been reached once, because the ratio is a guess then.
const SHARE: (i64, i64) = (ONE * 92 / 100, ONE * 95 / 100);
/// Spacing of the samples, us, and their number in a window.
const EVERY_US: i32 = 10_000_000;
const COUNT: usize = 13;
const WINDOW_S: i64 = 120;
/// Recirculation waits while the tank is colder than the mash by more than this, until it is as warm.
const COLDER: Kelvin = Kelvin::from_milli(1_000);
/// One, Q16.
const ONE: i64 = 1 << 16;

/// What the cascade needs to know of the tank.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tank {
    /// Its thermometer.
    pub reading: Celsius,
    /// Where it would settle if its power went off now.
    pub settled: Celsius,
    /// What full power does to it, as far as is known.
    pub slope: Option<Slope>,
    /// Share of full power it had since the last tick.
    pub applied: Duty,
}

/// What the cascade wants.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Goal {
    /// The tank's target.
    pub tank: Celsius,
    /// The mash may recirculate: the coil would not cool it.
    pub recirculate: bool,
    /// Recirculation should run, but the mash does not answer the tank.
    pub flow_stopped: bool,
}

/// The outer loop.
#[derive(Debug, Clone)]
pub struct Cascade {
    limit: Kelvin,
    follow: Follow,
    balance: Balance,
    stall: Stall,
    recirculate: bool,
    /// A rest has been reached since the controller started.
    reached: bool,
    mean: Mean,
    window: Deque<Sample, COUNT>,
    /// A spacing has ended at this target, and has yet to be learned from.
    ended: Option<Celsius>,
}

/// Means over one spacing. Temperatures Q16, integrals in Q16 K us.
#[derive(Debug, Clone, Copy, Default)]
struct Mean {
    for_us: i32,
    mash: i64,
    gap: i64,
    settled: i64,
    heat: i64,
}

/// One sample: mash, gap and settled tank in Q16, and by how much the element's work would have warmed the tank. Saturating.
#[derive(Debug, Clone, Copy, Default)]
struct Sample {
    mash: i32,
    gap: i32,
    settled: i32,
    heat: i32,
}

impl Cascade {
    /// `limit`: how far the tank may be above the mash target. `learned`: the offset of an earlier day, at [`OFFSET_AT`].
    pub fn new(limit: Kelvin, learned: Option<Kelvin>) -> Cascade {
        let offset = learned.unwrap_or(FIRST_OFFSET).min(limit).max(Kelvin::ZERO);
        Cascade {
            limit,
            follow: Follow::new(bits(offset), if learned.is_some() { 30 * ONE } else { 6 * ONE }),
            balance: Balance::new(),
            stall: Stall::default(),
            recirculate: true,
            reached: false,
            mean: Mean::default(),
            window: Deque::new(),
            ended: None,
        }
    }

    /// The offset learned so far, at [`OFFSET_AT`].
    pub fn offset(&self) -> Kelvin {
        kelvin(self.follow.offset >> 16)
    }

    /// The time constant learned so far.
    pub fn time_constant(&self) -> Span {
        Span::from_secs(u64::try_from(self.follow.time_s()).unwrap_or(0))
    }

    /// The ratio learned so far.
    pub fn ratio(&self) -> I16F16 {
        I16F16::from_bits(narrow(self.balance.ratio()))
    }

    /// The mash is not held just now: what was learned stays, what was being watched is forgotten.
    pub fn rest(&mut self) {
        self.study();
        self.window.clear();
        self.mean = Mean::default();
        self.stall = Stall::default();
    }

    /// What the cascade wants until the next control tick.
    pub fn tick(&mut self, elapsed: Span, target: Celsius, mash: Celsius, tank: &Tank) -> Goal {
        self.study();
        let gap = tank.reading.above(mash);
        self.recirculate = gap >= if self.recirculate { Kelvin::ZERO.less(COLDER) } else { Kelvin::ZERO };
        let offset = self.follow.offset_at(target);
        let lack = target.above(mash);
        if self.recirculate {
            self.stall.tick(elapsed, bits(gap), mash, lack, offset);
            self.observe(elapsed, mash, gap, tank, target);
        } else {
            self.rest();
        }
        if let (true, Some(seen)) = (self.stall.stopped, self.stall.seen) {
            // What seemed to be offset was a pump at rest.
            self.follow.forget_above(seen.offset, target);
        }
        let offset = self.follow.offset_at(target);
        self.reached |= self.recirculate && lack < STOPPED_RISE;
        let share = if self.reached { SHARE.1 } else { SHARE.0 };
        let push = if self.stall.stopped { 0 } else { product(product(share, self.balance.ratio()), bits(lack)) };
        let above = kelvin(offset.plus(push)).min(self.limit).max(Kelvin::ZERO);
        Goal { tank: target.plus(above), recirculate: self.recirculate, flow_stopped: self.stall.stopped }
    }

    /// Takes the means of one spacing; the window that ends with it teaches.
    fn observe(&mut self, elapsed: Span, mash: Celsius, gap: Kelvin, tank: &Tank, target: Celsius) {
        let dt_us = i32::try_from(elapsed.as_micros()).unwrap_or(EVERY_US).min(EVERY_US);
        let slope = tank.slope.map_or(0, |slope| i64::from(slope.fixed().to_bits()));
        let mean = &mut self.mean;
        mean.for_us = mean.for_us.saturating_add(dt_us);
        let add = |sum: &mut i64, value: i64| *sum = sum.plus(value.product(dt_us));
        add(&mut mean.mash, i64::from(mash.fixed().to_bits()));
        add(&mut mean.gap, bits(gap));
        add(&mut mean.settled, i64::from(tank.settled.fixed().to_bits()));
        // Slope is Q24 K/s: the product with a Q16 share, in Q24.
        add(&mut mean.heat, slope.product(i64::from(tank.applied.bits())) >> 16);
        if mean.for_us >= EVERY_US {
            self.ended = Some(target);
        }
    }

    /// Learns from a spacing that has ended, ahead of the next tick, which does so otherwise: for the time between two ticks.
    pub fn study(&mut self) {
        let Some(target) = self.ended.take() else { return };
        let mean = core::mem::take(&mut self.mean);
        let over = |sum: i64, us: i32| narrow(sum.checked_div(i64::from(us)).unwrap_or(0));
        let sample = Sample {
            mash: over(mean.mash, mean.for_us),
            gap: over(mean.gap, mean.for_us),
            settled: over(mean.settled, mean.for_us),
            heat: over(mean.heat >> 8, 1_000_000),
        };
        if self.window.is_full() {
            self.window.pop_front();
        }
        // The ring was full or had room: it has room now.
        let _ = self.window.push_back(sample);
        if self.window.is_full() && !self.stall.suspect() {
            self.learn(target);
        }
    }

    fn learn(&mut self, target: Celsius) {
        let (Some(first), Some(last)) = (self.window.front(), self.window.back()) else { return };
        // Between the middles of the first and the last sample: the ends count half.
        let sum = |part: fn(&Sample) -> i32| {
            let wide = |sample| i64::from(part(sample));
            self.window.iter().map(wide).sum::<i64>() - (wide(first) + wide(last)) / 2
        };
        let rise = i64::from(last.mash) - i64::from(first.mash);
        let gap = sum(|sample| sample.gap) / (WINDOW_S * 1_000_000 / i64::from(EVERY_US));
        let stored = i64::from(last.settled) - i64::from(first.settled);
        let given = sum(|sample| sample.heat);
        let lost = self.follow.learn(target, gap, rise);
        if rise > TELLING_RISE {
            self.balance.learn(given, rise.plus(lost), stored);
        }
    }
}

/// Q16 product.
fn product(a: i64, b: i64) -> i64 {
    a.product(b) >> 16
}

fn bits(kelvin: Kelvin) -> i64 {
    i64::from(kelvin.fixed().to_bits())
}

fn kelvin(bits: i64) -> Kelvin {
    Kelvin::from_fixed(I16F16::from_bits(narrow(bits)))
}
