//! Heat control of one vessel: from a demand and a reading to a duty.
//!
//! Job, each tick:
//! 1. `learn` turns the work done and the reading into the kettle's climb `k`, lag `L`, and the heat on its way to the thermometer;
//! 2. [`settle`] says where the reading would settle if the power went off now;
//! 3. one [`law`] steers that settled temperature to the target: `duty = standing + (target - settled) / (k Tc)`.
//!
//! Full power until the heat under way suffices, the coast and the hold are the same law; the phases only choose how brisk it is (`Tc`) and
//! when learning starts and ends.
//!
//! - *Climb*, *lag*, *work*, *window*, *gap*: see `learn`. *Standing loss*, *settled temperature*: see [`settle`].
//! - *Standing duty*: the duty that makes good the standing loss.
//! - *Band*: `k Tc`, the error that full power answers.
//!
//! Not its job: which vessel may have the element ([`crate`]'s arbiter), over-temperature and sensor loss (the guard).
//!
//! ```text
//!            demand Off            demand Fixed
//!   any ----------------> Off   any ------------> Fixed
//!   Off, Fixed -- Hold --> Ramp -- duty below half --> Coast -- arrived, window closed --> Hold
//!                           ^------ full power and far below ------+-----------------------+
//! ```

pub mod config;
pub mod demand;
pub mod lag;
pub mod law;
mod learn;
pub mod learned;
mod learner;
pub mod loss;
pub mod pid;
pub mod relay;
pub mod rules;
pub mod settle;

use crate::wide::{Bound, Product};
use fixed::types::{I8F24, I16F16};

pub use config::{HeatConfig, HeatConfigError};
pub use demand::Demand;
pub use learned::Learned;

use crate::units::{Celsius, Duty, Kelvin, Slope, Span, narrow};
use law::Law;
use learn::{Prior, slope_of_raw};
use learner::{Learner, Lesson, Stage, WORTH_LEARNING, WORTH_TRYING};
use settle::{Evidence, Loss, Settled, per_second};

/// The longest tick that is believed.
const LONGEST_TICK_US: i32 = 1_000_000;
/// The reading has arrived within this: 0.3 K in Q32.
const ARRIVED: i64 = 1_288_490_189;
/// The loss is learned over two and a half lags; over twice that while more than this is on its way in a coast (0.3 K in Q32), as a response whose
/// tail is not quite the vessel's looks like loss there.
const LOSS_HALF_LAGS: i32 = 5;
const LOSS_HALF_LAGS_BENT: i32 = 10;
const MUCH: i64 = 1_288_490_189;
/// Far below the target: 2 K in Q32.
const FAR: i64 = 2 << 32;
/// With this much heat on its way, Q32 K, the ramp aims above the target: by a twentieth of what is more, up to 0.2 K.
const ALLOWANCE_FROM: i64 = 1 << 32;
const ALLOWANCE_PART: i64 = 20;
const ALLOWANCE_MOST: i64 = 858_993_459;
/// `Tc` of ramp, coast and hold, as parts of the lag.
const SHARP: i32 = 40;
const BRISK: i32 = 5;
const GENTLE: i32 = 2;
/// One, Q16.
const ONE: i64 = 1 << 16;

/// What the control is doing, for the display and the logbook.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// No heat is asked for.
    Off,
    /// A fixed share is passed through.
    Fixed,
    /// Heating up; the settled temperature is still below the target.
    Ramp,
    /// Power is cut back; the heat under way is still arriving.
    Coast,
    /// At the target.
    Hold,
}

#[derive(Debug, Clone, Copy)]
enum State {
    Off,
    Fixed(Duty),
    Toward(Leg),
}

/// On the way to a target.
#[derive(Debug, Clone, Copy)]
enum Leg {
    Ramp,
    Coast { for_us: i32 },
    Hold { for_us: i32 },
}

/// Heat control of one vessel.
#[derive(Debug, Clone)]
#[repr(C)]
pub struct HeatControl {
    state: State,
    /// At work on the way to a target; set up anew whenever one is set out for.
    law: Law,
    settled: Option<Settled>,
    /// Fall at 76 C, Q32 K/s, and what it makes of the last reading.
    loss_at_76: i64,
    usual: i64,
    /// What the loss of a vessel nobody knows makes of it.
    unit: i64,
    /// Whether a hold has told it.
    loss_known: bool,
    config: HeatConfig,
    learned: Option<Learned>,
    learner: Learner,
}

impl HeatControl {
    /// A control at rest. `learned`: what an earlier heat-up taught, used at once and learned anew.
    #[inline(never)]
    pub fn new(config: HeatConfig, learned: Option<Learned>) -> HeatControl {
        HeatControl {
            config,
            learned,
            learner: Learner::new(Prior::of(learned, &config), Prior::steepest(&config)),
            state: State::Off,
            law: Law::new(I16F16::ONE),
            settled: None,
            loss_at_76: learned.map_or(loss::UNKNOWN, |l| i64::from(l.loss().fixed().to_bits()) << 8),
            usual: 0,
            unit: 0,
            loss_known: learned.is_some(),
        }
    }

    /// The same with its learning half a step later: no control tick then ends a step of both vessels.
    #[must_use]
    pub fn half_a_step_later(mut self) -> HeatControl {
        self.learner.shift();
        self
    }

    /// One control tick of `dt` (nominal 0.25 s; 0.01 to 1 s, longer counts as 1 s). `reading` is the vessel's thermometer; `applied` is the
    /// mean share of full power that really conducted since the last tick. Returns the duty to ask for.
    #[inline(never)]
    pub fn tick(&mut self, dt: Span, reading: Celsius, applied: Duty, demand: Demand) -> Duty {
        let dt_us = i32::try_from(dt.as_micros()).unwrap_or(i32::MAX).min(LONGEST_TICK_US);
        let level = i64::from(reading.fixed().to_bits()) << 16;
        self.learn(dt_us, level, applied);

        let climb = self.learner.climb();
        // The water loses by its own temperature, which in a ramp is nearer to the settled one than to the reading.
        let water = self.settled.map_or(level, |s| s.level);
        let usual = per_second_of(self.loss_at_76, loss::shape(water >> 16));
        self.unit = per_second_of(loss::UNKNOWN, loss::shape(level >> 16));
        let settled = self.settled.get_or_insert(Settled { level, loss: usual });
        settled.tick(&Evidence {
            dt_us,
            reading: level,
            gap: self.learner.gap(),
            climb,
            heat: climb.product(applied.signed_bits()) >> 16,
            lag_us: self.learner.lag_us(),
            loss: match self.state {
                // While a fit is being made, what is lost beyond the usual is the fit's to find.
                State::Off | State::Fixed(_) | State::Toward(_) if self.learner.is_open() => {
                    Loss::Known(usual + per_second_of(self.unit, self.learner.loss()))
                }
                State::Toward(Leg::Ramp) => Loss::Sought { drift: usual - self.usual, half_lags: LOSS_HALF_LAGS },
                State::Toward(Leg::Coast { .. }) if self.learner.gap() > MUCH => {
                    Loss::Sought { drift: 0, half_lags: LOSS_HALF_LAGS_BENT }
                }
                State::Off | State::Fixed(_) | State::Toward(Leg::Coast { .. } | Leg::Hold { .. }) => {
                    Loss::Sought { drift: 0, half_lags: LOSS_HALF_LAGS }
                }
            },
        });
        self.usual = usual;
        let settled = *settled;
        self.obey(dt_us, level, settled, demand)
    }

    /// Lets the learner see the tick, and takes up what it has found.
    fn learn(&mut self, dt_us: i32, level: i64, applied: Duty) {
        let stage = match self.state {
            State::Off | State::Toward(Leg::Hold { .. }) => Stage::AtRest,
            State::Fixed(_) | State::Toward(Leg::Ramp) => Stage::Heating,
            State::Toward(Leg::Coast { for_us }) => Stage::Coasting(for_us),
        };
        self.learner.study();
        if !self.learner.is_open() && matches!(self.state, State::Toward(Leg::Ramp)) && self.implausible() {
            let slower = self.settled.is_some_and(|s| s.loss > self.usual);
            self.learner.open(Prior::doubted(self.learned, &self.config, slower), level, 0);
        } else {
            match self.learner.watch(dt_us, level, applied, stage) {
                Lesson::Complete => self.note(),
                Lesson::Dismissed if self.learned.is_some() => self.learner.restore(Prior::of(self.learned, &self.config)),
                Lesson::Dismissed | Lesson::None | Lesson::Refined { .. } => {}
            }
        }
        // A better fit is no surprise: the settled temperature moves with it.
        if let Lesson::Refined { gap, lag_us } = self.learner.tick(dt_us, level, applied, self.usual, self.unit)
            && let Some(settled) = &mut self.settled
        {
            settled.level += gap - per_second(settled.loss, lag_us);
        }
    }

    /// Does a share of the learning ahead of the next tick, which then is the shorter: for the time between two ticks. What is learned is the
    /// same with and without.
    pub fn study(&mut self) {
        self.learner.study();
    }

    /// What the vessel has taught; `None` before the first heat-up.
    pub fn learned(&self) -> Option<Learned> {
        self.learned
    }

    /// Where the reading would settle if the power went off now.
    pub fn settled(&self) -> Celsius {
        celsius(self.settled.map_or(0, |s| s.level))
    }

    /// What the control is doing.
    pub fn phase(&self) -> Phase {
        match self.state {
            State::Off => Phase::Off,
            State::Fixed(_) => Phase::Fixed,
            State::Toward(Leg::Ramp) => Phase::Ramp,
            State::Toward(Leg::Coast { .. }) => Phase::Coast,
            State::Toward(Leg::Hold { .. }) => Phase::Hold,
        }
    }

    /// After a trip or a long rest: forgets the present run, keeps what was learned.
    pub fn reset(&mut self) {
        *self = HeatControl::new(self.config, self.learned);
    }

    /// Whether a steady ramp contradicts the fit by more than any loss could explain.
    fn implausible(&self) -> bool {
        let climb = self.learner.climb();
        let seen = self.settled.map_or(0, |s| s.loss);
        (seen - self.usual).size() > climb / 16 + loss::UNKNOWN
    }

    /// The law.
    fn obey(&mut self, dt_us: i32, level: i64, settled: Settled, demand: Demand) -> Duty {
        let target = match demand {
            Demand::Off => {
                self.state = State::Off;
                return Duty::ZERO;
            }
            Demand::Percent(duty) => {
                if matches!(self.state, State::Off) {
                    self.learner.open(Prior::of(self.learned, &self.config), level, 0);
                }
                self.state = State::Fixed(duty);
                return duty;
            }
            Demand::Hold(target) => target,
        };
        let aim = i64::from(target.fixed().to_bits()) << 16;
        let error = aim - settled.level;
        let climb = self.learner.climb();
        let loss = match self.state {
            State::Toward(Leg::Ramp) => {
                let doubt = if self.loss_known { loss::UNKNOWN / 8 } else { loss::UNKNOWN / 2 };
                loss::standing(settled.loss, self.usual, doubt, climb)
            }
            State::Off | State::Fixed(_) | State::Toward(Leg::Coast { .. } | Leg::Hold { .. }) => settled.loss,
        };
        let standing = share(loss, climb);
        let water = celsius(settled.level);

        let leg = match self.state {
            State::Fixed(duty) if error.size() < per_second(climb, self.learner.lag_us() / 2) => {
                self.law = Law::new(self.gain(GENTLE));
                self.law.tick(target, water);
                self.law.track(duty);
                Leg::Hold { for_us: 0 }
            }
            State::Off | State::Fixed(_) => {
                self.set_off(standing, level, error);
                Leg::Ramp
            }
            State::Toward(leg) => leg,
        };
        let (part, goal) = match leg {
            Leg::Ramp => (SHARP, target.plus(self.allowance())),
            Leg::Coast { .. } => (BRISK, target),
            Leg::Hold { .. } => (GENTLE, target),
        };
        self.law.refine_gain(self.gain(part));
        self.law.relax(dt_us, self.learner.lag_us() / 8 + 3_000_000, standing);
        let asked = self.law.tick(goal, water);
        let (leg, duty) = match leg {
            Leg::Ramp if i64::from(asked.bits()) < ONE / 2 => {
                if let Some(settled) = &mut self.settled {
                    settled.loss = loss;
                }
                (Leg::Coast { for_us: 0 }, asked)
            }
            Leg::Ramp => (leg, asked),
            Leg::Coast { for_us } => {
                let arrived = (aim - level).size() < ARRIVED && self.learner.is_closed();
                if asked == Duty::FULL && error > FAR {
                    (Leg::Ramp, asked)
                } else if arrived {
                    // Gentler, its output unmoved.
                    self.law.set_gain(self.gain(GENTLE));
                    (Leg::Hold { for_us: 0 }, asked)
                } else {
                    (Leg::Coast { for_us: for_us.saturating_add(dt_us) }, asked)
                }
            }
            Leg::Hold { .. } if asked == Duty::FULL && error > FAR => (Leg::Ramp, asked),
            Leg::Hold { for_us } => {
                let for_us = for_us.saturating_add(dt_us);
                if for_us > self.learner.lag_us() * 8 {
                    self.learn_loss(dt_us, level, settled.loss);
                }
                (Leg::Hold { for_us }, asked)
            }
        };
        self.state = State::Toward(leg);
        duty
    }

    /// Sets off for a target, learning if there is far to go, or nothing better than the rig's bound to go by.
    fn set_off(&mut self, standing: Duty, level: i64, error: i64) {
        self.law = Law::new(self.gain(BRISK));
        self.law.preload(standing);
        let worth = if self.learned.is_some() { WORTH_LEARNING } else { WORTH_TRYING };
        if error > worth {
            self.learner.open(Prior::of(self.learned, &self.config), level, 0);
        }
    }

    /// Writes down what the window taught.
    fn note(&mut self) {
        let slope = narrow(slope_of_raw(self.learner.raw()));
        let loss = narrow(self.loss_at_76 >> 8);
        self.learned = Some(Learned::new(
            Slope::from_fixed(I8F24::from_bits(slope)),
            Span::from_micros(u64::try_from(self.learner.lag_us()).unwrap_or(0)),
            Slope::from_fixed(I8F24::from_bits(loss)),
        ));
    }

    /// In a settled hold well above the room, the standing loss tells the fall at 76 C.
    fn learn_loss(&mut self, dt_us: i32, level: i64, loss_now: i64) {
        let shape = loss::shape(level >> 16);
        let Some(at_76) = loss_now.product(1 << 16).checked_div(shape) else { return };
        if shape < ONE / 4 {
            return;
        }
        self.loss_known = true;
        let over_us = i64::from((self.learner.lag_us() * 8).max(1));
        let step = (at_76 - self.loss_at_76).product(dt_us) / over_us;
        self.loss_at_76 = (self.loss_at_76 + step).within(0, loss::UNKNOWN.product(10));
        if let Some(learned) = self.learned {
            let loss = narrow(self.loss_at_76 >> 8);
            self.learned = Some(learned.with_loss(Slope::from_fixed(I8F24::from_bits(loss))));
        }
    }

    /// How far above the target the ramp aims: a kettle with much heat on its way creeps up the last tenths.
    fn allowance(&self) -> Kelvin {
        let under_way = per_second(self.learner.climb(), self.learner.lag_us());
        let above = ((under_way - ALLOWANCE_FROM) / ALLOWANCE_PART).within(0, ALLOWANCE_MOST) >> 16;
        Kelvin::from_fixed(I16F16::from_bits(narrow(above)))
    }

    /// Proportional gain `1 / (k Tc)`; `Tc` is this part of the lag, at least 1 s.
    fn gain(&self, part: i32) -> I16F16 {
        let tc_us = self.learner.lag_us() / part;
        let band = per_second(self.learner.climb(), tc_us.max(1_000_000)) >> 16;
        // 2^32 over the band, by a quotient of 32 bits.
        let band = u32::try_from(band).unwrap_or(u32::MAX).max(1);
        let kc = (band.wrapping_neg() / band).saturating_add(1);
        I16F16::from_bits(i32::try_from(kc).unwrap_or(i32::MAX))
    }
}

/// Product of a rate and a Q16 factor.
fn per_second_of(rate: i64, factor: i64) -> i64 {
    rate.product(factor) >> 16
}

/// `part / whole` as a duty, within 0 to 1.
fn share(part: i64, whole: i64) -> Duty {
    let bits = part.product(1 << 16).checked_div(whole).unwrap_or(0);
    Duty::from_fixed(I16F16::from_bits(narrow(bits)))
}

/// Q32 C as a temperature.
fn celsius(level: i64) -> Celsius {
    Celsius::from_fixed(I16F16::from_bits(narrow(level >> 16)))
}
