//! When to learn: feeds the estimator, and opens, pauses and closes its window.
//!
//! A window is open while a ramp and its bend tell something of climb and lag. A fit that breaks in it (somebody stirred, or poured, or opened a
//! valve) begins a new one that leans on the fit as it was.

use super::lag::LagChain;
use super::learn::{Estimator, Found, Prior, STEP_US, slope_of_raw};
use super::settle::per_second;
use crate::units::Duty;
use crate::wide::{Bound, Product, square_root};

/// A window stays open this many lags, and 20 s ...
const WINDOW_LAGS: i32 = 4;
const WINDOW_EXTRA_US: i32 = 20_000_000;
/// ... or while what is on its way differs from a steady climb's by more than this: 1 K in Q32.
const BEND: i64 = 1 << 32;
/// ... but no longer than this many lags after the power was cut.
const COAST_LAGS: i32 = 3;
/// A window begins once heat is applied, or this much is on its way (a sixty-fourth of a kelvin in Q32): a vessel that waits its turn tells nothing.
const STIRS: i64 = 1 << 26;
/// A paused window may open again for this many lags.
const PAUSE_LAGS: i32 = 3;
/// A rise smaller than this opens no window: too little to learn from. 1.5 K in Q32.
pub const WORTH_LEARNING: i64 = 3 << 31;
/// With nothing but the rig's bound to go by, a poor fit to less than that is better than none. 0.3 K in Q32.
pub const WORTH_TRYING: i64 = 1_288_490_189;
/// A fit of fewer steps is not written down.
const WORTH_KEEPING: i64 = 40;
/// A fit that misses by this, and four times the reading's noise, is broken. A quarter kelvin in Q12.
const MISS: i64 = 1024;

/// Whether the fit takes in readings.
#[derive(Debug, Clone, Copy)]
enum Window {
    Closed,
    /// Takes in readings once it has begun, except while `blind_us` runs. `from` is the reading it was opened at, Q32 C.
    Open {
        for_us: i32,
        blind_us: i32,
        from: i64,
    },
    /// Has seen enough until the power changes; after a while, for good, as the loss would have added up.
    Paused {
        for_us: i32,
    },
}

/// Readings and work summed up for the next step of the estimator.
#[derive(Debug, Clone, Copy)]
struct Batch {
    /// Until the step ends.
    left_us: i32,
    for_us: i32,
    reading_us: i64,
}

/// A loss added up since the start, Q32 K, and what the thermometer has heard of it, Q16 K.
#[derive(Debug, Clone)]
struct Missed {
    so_far: i64,
    heard: LagChain<3>,
}

impl Missed {
    const NOTHING: Missed = Missed { so_far: 0, heard: LagChain::settled(0) };

    /// A step at this rate, Q32 K/s.
    fn add(&mut self, rate: i64, lag_us: i32) {
        self.so_far += rate;
        self.heard.tick(i64::from(STEP_US), i64::from(lag_us), self.so_far >> 16);
    }
}

/// What the heat control is about, as far as learning is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Heating up, or a fixed share.
    Heating,
    /// Power is cut back since so long, us.
    Coasting(i32),
    /// Off, or holding.
    AtRest,
}

/// What a tick taught.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lesson {
    /// Nothing new.
    None,
    /// A better fit: what is on its way and the lag have moved by this (Q32 K, us).
    Refined { gap: i64, lag_us: i32 },
    /// The window is over, and its fit worth writing down.
    Complete,
    /// The window is over, and its fit best forgotten.
    Dismissed,
}

/// The estimator, its window, and what they need to know of the past.
#[derive(Debug, Clone)]
#[repr(C)]
pub struct Learner {
    /// The estimator has had its turn since the last tick.
    ahead: bool,
    window: Window,
    batch: Batch,
    work_us: i64,
    /// The usual loss, and the unit by which the fit finds what is lost beyond it.
    lost: Missed,
    units: Missed,
    /// Smoothed miss of the fit, Q12 K.
    miss: i64,
    /// The fit when it last agreed.
    sound: Prior,
    sound_variance: i64,
    estimator: Estimator,
}

impl Learner {
    /// At rest; see [`Estimator::new`].
    pub fn new(prior: Prior, steepest: i64) -> Learner {
        Learner {
            estimator: Estimator::new(prior, steepest),
            ahead: false,
            window: Window::Closed,
            batch: Batch { left_us: STEP_US, for_us: 0, reading_us: 0 },
            work_us: 0,
            lost: Missed::NOTHING,
            units: Missed::NOTHING,
            miss: 0,
            sound: prior,
            sound_variance: 0,
        }
    }

    /// Steps end half a step later than those of one that was made at the same time.
    pub fn shift(&mut self) {
        self.batch.left_us += STEP_US / 2;
    }

    /// Climb at full power without loss, Q32 K/s.
    pub fn climb(&self) -> i64 {
        slope_of_raw(self.estimator.raw()) << 8
    }

    /// Climb, raw.
    pub fn raw(&self) -> i64 {
        self.estimator.raw()
    }

    /// Total lag, us.
    pub fn lag_us(&self) -> i32 {
        self.estimator.lag_us()
    }

    /// What is on its way to the thermometer, Q32 K.
    pub fn gap(&self) -> i64 {
        self.estimator.gap()
    }

    /// Loss beyond the usual that the fit has found, in units, Q16.
    pub fn loss(&self) -> i64 {
        self.estimator.loss()
    }

    /// Whether readings are taken in.
    pub fn is_open(&self) -> bool {
        matches!(self.window, Window::Open { .. })
    }

    /// Whether the window is closed for good.
    pub fn is_closed(&self) -> bool {
        matches!(self.window, Window::Closed)
    }

    /// Opens a window that leans on `prior`, at the reading `from` (Q32 C); takes nothing in for the next `blind_us`.
    pub fn open(&mut self, prior: Prior, from: i64, blind_us: i32) {
        self.estimator.open(prior);
        self.sound = prior;
        self.sound_variance = self.estimator.variance();
        self.miss = 0;
        self.window = Window::Open { for_us: 0, blind_us, from };
    }

    /// Back to what is known.
    pub fn restore(&mut self, prior: Prior) {
        self.estimator.restore(prior);
    }

    /// Opens, pauses and closes the window. `applied` is the share that conducted over the last `dt_us`.
    pub fn watch(&mut self, dt_us: i32, level: i64, applied: Duty, stage: Stage) -> Lesson {
        let lag_us = self.estimator.lag_us();
        let steady = per_second(self.climb().product(applied.signed_bits()) >> 16, lag_us);
        let bent = (self.estimator.gap() - steady).size() > BEND;
        let late = match stage {
            Stage::AtRest => true,
            Stage::Heating => false,
            Stage::Coasting(for_us) => for_us > lag_us * COAST_LAGS,
        };
        let (window, complete) = match self.window {
            Window::Closed => (Window::Closed, false),
            Window::Open { .. } | Window::Paused { .. } if late => (Window::Closed, true),
            Window::Open { for_us: 0, .. } if applied == Duty::ZERO && self.estimator.gap() < STIRS => (self.window, false),
            Window::Open { for_us, blind_us, from } => {
                let risen = level - from > WORTH_LEARNING;
                let long = for_us > lag_us * WINDOW_LAGS + WINDOW_EXTRA_US;
                if risen && long && !bent {
                    (Window::Paused { for_us: 0 }, true)
                } else {
                    let blind_us = (blind_us - dt_us).max(0);
                    (Window::Open { for_us: for_us.saturating_add(dt_us), blind_us, from }, false)
                }
            }
            Window::Paused { for_us } if for_us > lag_us * PAUSE_LAGS => (Window::Closed, false),
            Window::Paused { .. } if bent => (Window::Open { for_us: i32::MAX / 2, blind_us: 0, from: i64::MIN / 2 }, false),
            Window::Paused { for_us } => (Window::Paused { for_us: for_us.saturating_add(dt_us) }, false),
        };
        self.window = window;
        match complete {
            false => Lesson::None,
            true if self.estimator.steps() >= WORTH_KEEPING && self.estimator.is_lesson() => Lesson::Complete,
            true => Lesson::Dismissed,
        }
    }

    /// Takes the estimator's turn ahead of the next tick, which then is the shorter; what comes of it is the same, and shows with that tick.
    pub fn study(&mut self) {
        if !self.ahead {
            self.estimator.take_turn();
            self.ahead = true;
        }
    }

    /// Takes in a tick, once [`Learner::study`] was called: the reading (Q32 C), the work of `applied`, the usual loss and its unit (Q32 K/s).
    pub fn tick(&mut self, dt_us: i32, level: i64, applied: Duty, usual: i64, unit: i64) -> Lesson {
        self.ahead = false;
        let worked_us = |span_us: i32| (i64::from(applied.signed_bits()) * i64::from(span_us)) >> 16;
        self.work_us += worked_us(dt_us);
        let lesson = self.conclude();
        self.batch.left_us -= dt_us;
        self.batch.for_us += dt_us;
        self.batch.reading_us += (level >> 16).product(dt_us);
        let Batch { left_us, for_us, reading_us } = self.batch;
        if left_us > 0 {
            return lesson;
        }
        // What is over belongs to the next step.
        let rest_us = -left_us;
        self.batch = Batch { left_us: STEP_US - rest_us, for_us: rest_us, reading_us: (level >> 16).product(rest_us) };
        let lesson = if self.estimator.is_busy() { self.hurry() } else { lesson };
        // The mean reading is half a step old; what is lost by that is one part in the lag.
        let mean = reading_us.product(1 << 8).checked_div(i64::from(for_us)).unwrap_or(0) << 8;
        let lag_us = self.estimator.lag_us();
        self.lost.add(usual, lag_us);
        self.units.add(unit, lag_us);
        let reading = match self.window {
            Window::Open { for_us: 1.., blind_us: 0, .. } => Some(mean + (self.lost.heard.output() << 16)),
            Window::Open { .. } | Window::Paused { .. } | Window::Closed => None,
        };
        if !self.estimator.advance(self.work_us - worked_us(rest_us), reading, self.units.heard.output()) {
            self.window = Window::Closed;
        }
        lesson
    }

    /// Ticks so long that turns are left take them all.
    fn hurry(&mut self) -> Lesson {
        for _ in 0..2 {
            self.estimator.take_turn();
        }
        self.conclude()
    }

    /// What the estimator has found, if it is through.
    fn conclude(&mut self) -> Lesson {
        let Some(Found { reading, gap, lag_us, miss }) = self.estimator.conclude() else { return Lesson::None };
        if self.is_open() {
            self.check_fit(reading, miss);
        }
        Lesson::Refined { gap, lag_us }
    }

    /// Begins a new window if the fit broke: somebody stirred, or poured, or opened a valve.
    fn check_fit(&mut self, whole: i64, miss: i64) {
        if self.estimator.steps() < WORTH_KEEPING {
            return;
        }
        self.miss += (miss - self.miss) / 4;
        let allowed = MISS + 4 * i64::from(square_root(self.sound_variance.unsigned_abs()));
        if self.miss.size() > allowed {
            let prior = Prior { shaken: true, ..self.sound };
            self.open(prior, whole - (self.lost.heard.output() << 16), prior.lag_us);
        } else if self.miss.size() < allowed / 4 && self.estimator.is_sound() && (self.sound.known || self.estimator.has_risen()) {
            self.sound_variance = self.estimator.variance();
            self.sound = Prior { raw: self.estimator.raw(), least: 0, lag_us: self.estimator.lag_us(), known: true, shaken: false };
        }
    }
}
