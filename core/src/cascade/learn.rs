//! What a mash teaches: how it follows the tank, and what heat it takes from it.

use super::{EVERY_US, OFFSET_AT, ONE, WINDOW_S, bits, product};
use crate::units::{Celsius, Kelvin};
use crate::wide::{Bound, Product, Sum};

/// The learned offset is kept as what it would be in a room of this temperature.
const ROOM: Celsius = Celsius::from_milli(20_000);
/// Ratio and time constant before anything was learned.
const FIRST_RATIO: i64 = ONE / 2;
const FIRST_TIME_S: i64 = 600;
/// Bounds of what can be learned: 3 kg of grain in 45 L of tank to 12 kg in 15 L; the strongest to the weakest coil.
const RATIO: (i64, i64) = (ONE / 8, ONE * 4);
const TIME_S: (i64, i64) = (50, 2_400);
/// The offset is learned over half the time constant, but not faster than this, s.
const LEARN_S: i64 = 150;
/// ... and fully only while the mash moves by less than this gap's worth.
const STILL: i64 = ONE / 2;
/// ... and up by no more than this per sample: 0.15 K a minute.
const FASTEST_UP: i64 = ONE / 40;
/// Rise of the mash in a window that tells of time constant and ratio: in a hold, loss would be taken for them.
pub(super) const TELLING_RISE: i64 = ONE / 10;
/// How the mash follows the tank: time constant by least squares, offset by what a still mash needs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Follow {
    /// Q32 K, at [`OFFSET_AT`].
    pub offset: i64,
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

    pub fn new(offset: i64, still: i64) -> Follow {
        Follow { offset: offset << 16, squares: Self::PRIOR, products: Self::PRIOR * WINDOW_S / FIRST_TIME_S, still }
    }

    pub fn time_s(&self) -> i64 {
        self.squares.product(WINDOW_S).checked_div(self.products.max(1)).unwrap_or(TIME_S.1).clamp(TIME_S.0, TIME_S.1)
    }

    /// The offset at a mash temperature, Q16.
    pub fn offset_at(&self, mash: Celsius) -> i64 {
        scaled(self.offset >> 16, mash.above(ROOM), OFFSET_AT.above(ROOM))
    }

    /// Takes back what was learned above an offset at a mash temperature.
    pub fn forget_above(&mut self, offset: i64, mash: Celsius) {
        self.offset = self.offset.at_most(scaled(offset, OFFSET_AT.above(ROOM), mash.above(ROOM)) << 16);
    }

    /// Learns from one window; returns what the mash lost in it, as a fall in Q16 K.
    pub fn learn(&mut self, target: Celsius, gap: i64, rise: i64) -> i64 {
        let offset = self.offset_at(target);
        let drive = gap.minus(offset);
        if rise > TELLING_RISE {
            (self.squares, self.products) = add_pair((self.squares, self.products), drive, drive, rise, Self::ENOUGH);
        }
        let time_s = self.time_s();
        // The part of the gap that moves the mash.
        let moving = rise.product(time_s) / WINDOW_S;
        let surprise = drive.minus(moving);
        let weight = STILL.product(STILL).product(ONE) / STILL.product(STILL).plus(moving.product(moving)).max(1);
        // The mean of all still windows, then the mean of late ones.
        let most = (time_s / 2).at_least(LEARN_S).product(ONE * 1_000_000 / i64::from(EVERY_US));
        self.still = self.still.plus(weight).at_most(most);
        // A still mash below a hot tank may also mean that nothing flows: up is slow.
        let step = ((product(weight, surprise) << 32) / self.still.max(ONE)).at_most(FASTEST_UP << 16);
        let at_reference = scaled(step, OFFSET_AT.above(ROOM), target.above(ROOM));
        self.offset = self.offset.plus(at_reference).within(0, 20 << 32);
        offset.product(WINDOW_S) / time_s
    }
}

/// The balance of heat between tank and mash, `rise of the tank = climb x work - ratio x warmed`, by least squares in both unknowns: the
/// climb at full power is there for the ratio's sake, and leans on what heat control knows of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Balance {
    /// Sums of squares and products, Q24 K2: work (at the first climb seen), what the mash took up, rise of the tank.
    work_work: i64,
    work_warm: i64,
    work_rise: i64,
    warm_warm: i64,
    warm_rise: i64,
    /// What follows from them, Q16.
    ratio: i64,
}

impl Balance {
    /// What the first ratio weighs: 2 windows with a rise of half a kelvin.
    const PRIOR: i64 = 1 << 23;
    /// What heat control's climb weighs: 9 windows with a rise of 1 K.
    const PRIOR_CLIMB: i64 = 9 << 24;
    /// When the sums are halved.
    const ENOUGH: i64 = 20 << 24;

    pub const fn new() -> Balance {
        Balance { work_work: 0, work_warm: 0, work_rise: 0, warm_warm: 0, warm_rise: 0, ratio: FIRST_RATIO }
    }

    /// Q16.
    pub const fn ratio(&self) -> i64 {
        self.ratio
    }

    /// Solves the two normal equations with the priors added: climb 1 (in units of what heat control knows), ratio as first assumed. Sums stay
    /// far below 2^34, so that each product fits; of their differences, at least 2^42 by the priors, 26 bits are kept.
    fn solve(&self) -> i64 {
        let narrow = |sum: i64| (sum >> 4).within(-(1 << 30), 1 << 30);
        let work_work = narrow(self.work_work.plus(Self::PRIOR_CLIMB));
        let work_rise = narrow(self.work_rise.plus(Self::PRIOR_CLIMB));
        let warm_warm = narrow(self.warm_warm.plus(Self::PRIOR));
        let warm_rise = narrow(self.warm_rise.minus(product(Self::PRIOR, FIRST_RATIO)));
        let work_warm = narrow(self.work_warm);
        let below = (work_work * warm_warm - work_warm * work_warm) >> 16;
        let above = (work_warm * work_rise - work_work * warm_rise) >> 16;
        (above * ONE / below.max(1)).within(RATIO.0, RATIO.1)
    }

    pub fn learn(&mut self, work: i64, warmed: i64, rise: i64) {
        let add = |sum: &mut i64, x: i64, y: i64| *sum = sum.plus((x >> 4).product(y >> 4));
        add(&mut self.work_work, work, work);
        add(&mut self.work_warm, work, warmed);
        add(&mut self.work_rise, work, rise);
        add(&mut self.warm_warm, warmed, warmed);
        add(&mut self.warm_rise, warmed, rise);
        if self.work_work.at_least(self.warm_warm) > Self::ENOUGH {
            for sum in [&mut self.work_work, &mut self.work_warm, &mut self.work_rise, &mut self.warm_warm, &mut self.warm_rise] {
                *sum /= 2;
            }
        }
        self.ratio = self.solve();
    }
}

/// Adds `x y` and `x z` (Q16 each) to a pair of sums in Q24, and halves both once the first is `enough`: what is old counts less, but
/// only as new evidence comes.
fn add_pair((first, second): (i64, i64), x: i64, y: i64, z: i64, enough: i64) -> (i64, i64) {
    let part = |other: i64| (x >> 4).product(other >> 4);
    let (first, second) = (first.plus(part(y)), second.plus(part(z)));
    if first > enough { (first / 2, second / 2) } else { (first, second) }
}

/// `value x over / under`; `value` where `under` is not above zero.
fn scaled(value: i64, over: Kelvin, under: Kelvin) -> i64 {
    if under <= Kelvin::ZERO { value } else { value.product(bits(over).max(0) >> 8) / (bits(under) >> 8).max(1) }
}
