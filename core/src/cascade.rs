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

#[cfg(test)]
mod tests;

use crate::units::{Celsius, Duty, Kelvin, Slope, Span};
use crate::wide::Product;
use fixed::types::I16F16;
use heapless::Deque;

/// Offset at [`OFFSET_AT`] before anything was learned: a fairly insulated tun's. Too little costs minutes, too much would overshoot.
pub const FIRST_OFFSET: Kelvin = Kelvin::from_milli(700);
/// The learned offset is kept as what it would be at this mash temperature ...
pub const OFFSET_AT: Celsius = Celsius::from_milli(66_000);
/// ... in a room of this temperature.
const ROOM: Celsius = Celsius::from_milli(20_000);
/// Ratio and time constant before anything was learned.
const FIRST_RATIO: i64 = ONE / 2;
const FIRST_TIME_S: i64 = 600;
/// Bounds of what can be learned: 3 kg of grain in 45 L of tank to 12 kg in 15 L; the strongest to the weakest coil.
const RATIO: (i64, i64) = (ONE / 8, ONE * 4);
const TIME_S: (i64, i64) = (50, 2_400);
/// Share of the ratio that is pushed: less until a rest has been reached once, because the ratio is a guess then.
const SHARE: (i64, i64) = (ONE * 92 / 100, ONE * 95 / 100);
/// The offset is learned over half the time constant, but not faster than this, s.
const LEARN_S: i64 = 150;
/// ... and fully only while the mash moves by less than this gap's worth.
const STILL: i64 = ONE / 2;
/// ... and up by no more than this per sample: 0.15 K a minute.
const FASTEST_UP: i64 = ONE / 40;
/// Spacing of the samples, us, and their number in a window.
const EVERY_US: i64 = 10_000_000;
const COUNT: usize = 13;
const WINDOW_S: i64 = 120;
/// Rise of the mash in a window that tells of time constant and ratio: in a hold, loss would be taken for them.
const TELLING_RISE: i64 = ONE / 10;
/// A gap above the offset by more than this ought to move the mash.
const TELLING: i64 = ONE * 3 / 2;
/// Flow has stopped when so much of it (K s) ...
const STOPPED_K_S: i64 = 2_000;
/// ... has moved the mash by less than this. The weakest coil would move the
/// biggest mash by 1.3 K.
const STOPPED_RISE: Kelvin = Kelvin::from_milli(200);
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
}

/// Means over one spacing. Temperatures Q16, integrals in Q16 K us.
#[derive(Debug, Clone, Copy, Default)]
struct Mean {
    for_us: i64,
    mash: i64,
    gap: i64,
    settled: i64,
    heat: i64,
}

/// One sample: mash, gap and settled tank in Q16, and by how much the element's work would have warmed the tank.
#[derive(Debug, Clone, Copy, Default)]
struct Sample {
    mash: i64,
    gap: i64,
    settled: i64,
    heat: i64,
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
        I16F16::from_bits(i32::try_from(self.balance.ratio()).unwrap_or(i32::MAX))
    }

    /// The mash is not held just now: what was learned stays, what was being watched is forgotten.
    pub fn rest(&mut self) {
        self.window.clear();
        self.mean = Mean::default();
        self.stall = Stall::default();
    }

    /// What the cascade wants until the next control tick.
    pub fn tick(&mut self, elapsed: Span, target: Celsius, mash: Celsius, tank: &Tank) -> Goal {
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
        let above = kelvin(offset.saturating_add(push)).min(self.limit).max(Kelvin::ZERO);
        Goal { tank: target.plus(above), recirculate: self.recirculate, flow_stopped: self.stall.stopped }
    }

    /// Takes the means of one spacing, then learns from the window that ends with it.
    fn observe(&mut self, elapsed: Span, mash: Celsius, gap: Kelvin, tank: &Tank, target: Celsius) {
        let dt_us = i64::try_from(elapsed.as_micros()).unwrap_or(EVERY_US).min(EVERY_US);
        let slope = tank.slope.map_or(0, |slope| i64::from(slope.fixed().to_bits()));
        let mean = &mut self.mean;
        mean.for_us = mean.for_us.saturating_add(dt_us);
        let add = |sum: &mut i64, value: i64| *sum = sum.saturating_add(value.product(dt_us));
        add(&mut mean.mash, i64::from(mash.fixed().to_bits()));
        add(&mut mean.gap, bits(gap));
        add(&mut mean.settled, i64::from(tank.settled.fixed().to_bits()));
        // Slope is Q24 K/s: the product with a Q16 share, in Q24.
        add(&mut mean.heat, slope.product(i64::from(tank.applied.bits())) >> 16);
        if mean.for_us < EVERY_US {
            return;
        }
        let sample = Sample {
            mash: mean.mash / mean.for_us,
            gap: mean.gap / mean.for_us,
            settled: mean.settled / mean.for_us,
            heat: (mean.heat >> 8) / 1_000_000,
        };
        self.mean = Mean::default();
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
        let sum = |part: fn(&Sample) -> i64| {
            let all = self.window.iter().fold(0_i64, |sum, sample| sum.saturating_add(part(sample)));
            all.saturating_sub(part(first).saturating_add(part(last)) / 2)
        };
        let rise = last.mash.saturating_sub(first.mash);
        let gap = sum(|sample| sample.gap) / (WINDOW_S * 1_000_000 / EVERY_US);
        let stored = last.settled.saturating_sub(first.settled);
        let given = sum(|sample| sample.heat);
        let lost = self.follow.learn(target, gap, rise);
        if rise > TELLING_RISE {
            self.balance.learn(given, rise.saturating_add(lost), stored);
        }
    }
}

/// How the mash follows the tank: time constant by least squares, offset by what a still mash needs.
#[derive(Debug, Clone, Copy)]
struct Follow {
    /// Q32 K, at [`OFFSET_AT`].
    offset: i64,
    /// Sum of (gap - offset)^2, Q24 K2, and of (gap - offset) x rise, Q24 K2.
    squares: i64,
    products: i64,
    /// How much still evidence the offset rests on, Q16 windows.
    still: i64,
}

impl Follow {
    /// What the first time constant weighs: 6 windows with a gap of 1 K; and when the sums are halved.
    const PRIOR: i64 = 6 << 24;
    const ENOUGH: i64 = 60 << 24;

    fn new(offset: i64, still: i64) -> Follow {
        Follow { offset: offset << 16, squares: Self::PRIOR, products: Self::PRIOR * WINDOW_S / FIRST_TIME_S, still }
    }

    fn time_s(&self) -> i64 {
        self.squares.product(WINDOW_S).checked_div(self.products.max(1)).unwrap_or(TIME_S.1).clamp(TIME_S.0, TIME_S.1)
    }

    /// The offset at a mash temperature, Q16.
    fn offset_at(&self, mash: Celsius) -> i64 {
        scaled(self.offset >> 16, mash.above(ROOM), OFFSET_AT.above(ROOM))
    }

    /// Takes back what was learned above an offset at a mash temperature.
    fn forget_above(&mut self, offset: i64, mash: Celsius) {
        self.offset = self.offset.min(scaled(offset, OFFSET_AT.above(ROOM), mash.above(ROOM)) << 16);
    }

    /// Learns from one window; returns what the mash lost in it, as a fall in Q16 K.
    fn learn(&mut self, target: Celsius, gap: i64, rise: i64) -> i64 {
        let offset = self.offset_at(target);
        let drive = gap.saturating_sub(offset);
        if rise > TELLING_RISE {
            (self.squares, self.products) = add_pair((self.squares, self.products), drive, drive, rise, Self::ENOUGH);
        }
        let time_s = self.time_s();
        // The part of the gap that moves the mash.
        let moving = rise.product(time_s) / WINDOW_S;
        let surprise = drive.saturating_sub(moving);
        let weight = STILL.product(STILL).product(ONE) / STILL.product(STILL).saturating_add(moving.product(moving)).max(1);
        // The mean of all still windows, then the mean of late ones.
        let most = (time_s / 2).max(LEARN_S).product(ONE * 1_000_000 / EVERY_US);
        self.still = self.still.saturating_add(weight).min(most);
        // A still mash below a hot tank may also mean that nothing flows: up is slow.
        let step = ((product(weight, surprise) << 32) / self.still.max(ONE)).min(FASTEST_UP << 16);
        let at_reference = scaled(step, OFFSET_AT.above(ROOM), target.above(ROOM));
        self.offset = self.offset.saturating_add(at_reference).clamp(0, 20 << 32);
        offset.product(WINDOW_S) / time_s
    }
}

/// The balance of heat between tank and mash, `rise of the tank = climb x work - ratio x warmed`, by least squares in both unknowns: the
/// climb at full power is there for the ratio's sake, and leans on what heat control knows of it.
#[derive(Debug, Clone, Copy)]
struct Balance {
    /// Sums of squares and products, Q24 K2: work (at the first climb seen), what the mash took up, rise of the tank.
    work_work: i64,
    work_warm: i64,
    work_rise: i64,
    warm_warm: i64,
    warm_rise: i64,
}

impl Balance {
    /// What the first ratio weighs: 2 windows with a rise of half a kelvin.
    const PRIOR: i64 = 1 << 23;
    /// What heat control's climb weighs: 9 windows with a rise of 1 K.
    const PRIOR_CLIMB: i64 = 9 << 24;
    /// When the sums are halved.
    const ENOUGH: i64 = 20 << 24;

    const fn new() -> Balance {
        Balance { work_work: 0, work_warm: 0, work_rise: 0, warm_warm: 0, warm_rise: 0 }
    }

    /// Q16. Solves the two normal equations with the priors added: climb 1 (in units of what heat control knows), ratio as first assumed.
    fn ratio(&self) -> i64 {
        let wide = |sum: i64| i128::from(sum);
        let work_work = wide(self.work_work.saturating_add(Self::PRIOR_CLIMB));
        let work_rise = wide(self.work_rise.saturating_add(Self::PRIOR_CLIMB));
        let warm_warm = wide(self.warm_warm.saturating_add(Self::PRIOR));
        let warm_rise = wide(self.warm_rise.saturating_sub(product(Self::PRIOR, FIRST_RATIO)));
        let work_warm = wide(self.work_warm);
        let below = work_work.saturating_mul(warm_warm).saturating_sub(work_warm.saturating_mul(work_warm));
        let above = work_warm.saturating_mul(work_rise).saturating_sub(work_work.saturating_mul(warm_rise));
        let ratio = above.saturating_mul(i128::from(ONE)).checked_div(below.max(1)).unwrap_or(0);
        i64::try_from(ratio).unwrap_or(RATIO.1).clamp(RATIO.0, RATIO.1)
    }

    fn learn(&mut self, work: i64, warmed: i64, rise: i64) {
        let add = |sum: &mut i64, x: i64, y: i64| *sum = sum.saturating_add((x >> 4).product(y >> 4));
        add(&mut self.work_work, work, work);
        add(&mut self.work_warm, work, warmed);
        add(&mut self.work_rise, work, rise);
        add(&mut self.warm_warm, warmed, warmed);
        add(&mut self.warm_rise, warmed, rise);
        if self.work_work.max(self.warm_warm) > Self::ENOUGH {
            for sum in [&mut self.work_work, &mut self.work_warm, &mut self.work_rise, &mut self.warm_warm, &mut self.warm_rise] {
                *sum /= 2;
            }
        }
    }
}

/// Watches for a gap that the mash does not answer.
#[derive(Debug, Clone, Copy, Default)]
struct Stall {
    /// Gap that ought to have moved the mash, Q16 K us.
    unanswered: i64,
    /// When flow was last seen, or since then.
    seen: Option<Seen>,
    stopped: bool,
}

/// The lowest mash temperature since flow was last seen, and the offset then (Q16, at the present rest).
#[derive(Debug, Clone, Copy)]
struct Seen {
    mash: Celsius,
    offset: i64,
}

impl Stall {
    const LIMIT: i64 = STOPPED_K_S * ONE * 1_000_000;

    fn suspect(&self) -> bool {
        self.unanswered > Self::LIMIT / 2
    }

    /// `offset` is the one believed now; what is judged is the gap above the one that was last seen to work.
    fn tick(&mut self, elapsed: Span, gap: i64, mash: Celsius, lack: Kelvin, offset: i64) {
        let seen = *self.seen.get_or_insert(Seen { mash, offset });
        let drive = gap.saturating_sub(seen.offset);
        let answered = mash.above(seen.mash) >= STOPPED_RISE;
        let arrived = lack < STOPPED_RISE && drive < TELLING;
        if answered || arrived {
            *self = Stall { seen: Some(Seen { mash, offset }), ..Stall::default() };
            return;
        }
        self.seen = Some(Seen { mash: seen.mash.min(mash), ..seen });
        let dt_us = i64::try_from(elapsed.as_micros()).unwrap_or(i64::MAX);
        if drive > TELLING {
            self.unanswered = self.unanswered.saturating_add(drive.product(dt_us)).min(Self::LIMIT);
        }
        self.stopped |= self.unanswered >= Self::LIMIT;
    }
}

/// Adds `x y` and `x z` (Q16 each) to a pair of sums in Q24, and halves both once the first is `enough`: what is old counts less, but
/// only as new evidence comes.
fn add_pair((first, second): (i64, i64), x: i64, y: i64, z: i64, enough: i64) -> (i64, i64) {
    let part = |other: i64| (x >> 4).product(other >> 4);
    let (first, second) = (first.saturating_add(part(y)), second.saturating_add(part(z)));
    if first > enough { (first / 2, second / 2) } else { (first, second) }
}

/// Q16 product.
fn product(a: i64, b: i64) -> i64 {
    a.product(b) >> 16
}

/// `value x over / under`; `value` where `under` is not above zero.
fn scaled(value: i64, over: Kelvin, under: Kelvin) -> i64 {
    if under <= Kelvin::ZERO { value } else { value.product(bits(over).max(0) >> 8) / (bits(under) >> 8).max(1) }
}

fn bits(kelvin: Kelvin) -> i64 {
    i64::from(kelvin.fixed().to_bits())
}

fn kelvin(bits: i64) -> Kelvin {
    let narrow = i32::try_from(bits).unwrap_or(if bits < 0 { i32::MIN } else { i32::MAX });
    Kelvin::from_fixed(I16F16::from_bits(narrow))
}
