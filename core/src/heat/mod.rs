//! Heat control of one vessel: from a demand and a reading to a duty.
//!
//! Job, each tick:
//! 1. [`learn`] turns the work done and the reading into the kettle's climb `k`, lag `L`, and the heat on its way to the thermometer;
//! 2. [`settle`] says where the reading would settle if the power went off now;
//! 3. one law, in a [`pid`] block, steers that settled temperature to the target: `duty = standing + (target - settled) / (k Tc)`.
//!
//! Full power until the heat under way suffices, the coast and the hold are the same law; the phases only choose how brisk it is (`Tc`) and
//! when learning starts and ends.
//!
//! - *Climb*, *lag*, *work*, *window*, *gap*: see [`learn`]. *Standing loss*, *settled temperature*: see [`settle`].
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

pub mod demand;
pub mod lag;
pub mod learn;
pub mod learned;
pub mod loss;
pub mod pid;
pub mod relay;
pub mod rules;
pub mod settle;

use fixed::types::{I8F24, I16F16};

pub use demand::Demand;
pub use learned::Learned;

use crate::units::{Celsius, Duty, Kelvin, Slope, Span};
use lag::LagChain;
use learn::{Bank, Prior, raw_of_slope, slope_of_raw};
use pid::{Pid, PidGains};
use settle::{Evidence, Loss, Settled, per_second};

/// Lag assumed before anything is known.
const UNKNOWN_LAG_US: i64 = 60_000_000;
/// The bank works on means over this time.
const BANK_STEP_US: i64 = 990_000;
/// The longest tick that is believed.
const LONGEST_TICK_US: i64 = 1_000_000;
/// A window stays open this many lags, and 20 s ...
const WINDOW_LAGS: i64 = 4;
const WINDOW_EXTRA_US: i64 = 20_000_000;
/// ... or while what is on its way differs from a steady climb's by more than this: 1 K in Q32.
const BEND: i64 = 1 << 32;
/// ... but no longer than this many lags after the power was cut.
const COAST_LAGS: i64 = 3;
/// A paused window may open again for this many lags.
const PAUSE_LAGS: i64 = 3;
/// A rise smaller than this opens no window: too little to learn from. 1.5 K in Q32.
const WORTH_LEARNING: i64 = 3 << 31;
/// A fit of fewer steps is not written down.
const WORTH_KEEPING: i64 = 40;
/// A fit that misses by this, and four times its spread, is broken. A quarter kelvin in Q12.
const MISS: i64 = 1024;
/// The reading has arrived within this: 0.3 K in Q32.
const ARRIVED: i64 = 1_288_490_189;
/// Far below the target: 2 K in Q32.
const FAR: i64 = 2 << 32;
/// Steps that weigh this much show the loss rather than the shape.
const AGREED: i64 = 32;
/// With this much heat on its way, Q32 K, the ramp aims above the target: by a fiftieth of what is more, up to 0.08 K.
const ALLOWANCE_FROM: i64 = 3 << 32;
const ALLOWANCE_PART: i64 = 35;
const ALLOWANCE_MOST: i64 = 601_295_421;
/// One, Q16.
const ONE: i64 = 1 << 16;

/// What is known of a rig before any heat-up, checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HeatConfig {
    max_slope: Slope,
}

/// Why a configuration was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum HeatConfigError {
    /// The steepest climb must be 0.001 to 1 K/s.
    MaxSlope(Slope),
}

impl HeatConfig {
    /// `max_slope`: the steepest climb the element could give the smallest fill, 0.001 to 1 K/s. A generous figure costs
    /// a little caution early in a heat-up; a figure below the truth may cost overshoot.
    pub fn new(max_slope: Slope) -> Result<HeatConfig, HeatConfigError> {
        if !(Slope::from_micro(1_000)..=Slope::from_micro(1_000_000)).contains(&max_slope) {
            return Err(HeatConfigError::MaxSlope(max_slope));
        }
        Ok(HeatConfig { max_slope })
    }

    /// The steepest climb.
    pub fn max_slope(&self) -> Slope {
        self.max_slope
    }
}

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
    Ramp(Pid),
    Coast { pid: Pid, for_us: i64 },
    Hold { pid: Pid, for_us: i64 },
}

/// Whether the fit takes in readings.
#[derive(Debug, Clone, Copy)]
enum Window {
    Closed,
    /// Takes in readings, except while `blind_us` runs. `from` is the reading it began with, Q32 C.
    Open {
        for_us: i64,
        blind_us: i64,
        from: i64,
    },
    /// Has seen enough until the power changes; after a while, for good, as the loss would have added up.
    Paused {
        for_us: i64,
    },
}

/// Readings and work summed up for the next step of the bank.
#[derive(Debug, Clone, Copy, Default)]
struct Batch {
    for_us: i64,
    reading_us: i64,
}

/// Heat control of one vessel.
#[derive(Debug, Clone)]
pub struct HeatControl {
    config: HeatConfig,
    learned: Option<Learned>,
    bank: Bank,
    window: Window,
    state: State,
    settled: Option<Settled>,
    batch: Batch,
    work_us: i64,
    /// Loss added up since the start, Q32 K, and what the thermometer has heard of it.
    lost: i64,
    missed: LagChain<3>,
    /// Fall at 76 C, Q32 K/s, and what it makes of the last reading.
    loss_at_76: i64,
    usual: i64,
    /// Whether a hold has told it.
    loss_known: bool,
    gap: i64,
    /// Smoothed miss of the fit, Q12 K.
    miss: i64,
    /// The fit when it last agreed.
    sound: Prior,
    sound_spread: i64,
}

impl HeatControl {
    /// A control at rest. `learned`: what an earlier heat-up taught, used at once and learned anew.
    pub fn new(config: HeatConfig, learned: Option<Learned>) -> HeatControl {
        let steepest = raw_of_slope(i64::from(config.max_slope.fixed().to_bits()));
        HeatControl {
            config,
            learned,
            bank: Bank::new(prior_of(learned, steepest), steepest),
            window: Window::Closed,
            state: State::Off,
            settled: None,
            batch: Batch::default(),
            work_us: 0,
            lost: 0,
            missed: LagChain::settled(0),
            loss_at_76: learned.map_or(loss::UNKNOWN, |l| i64::from(l.loss().fixed().to_bits()) << 8),
            usual: 0,
            loss_known: learned.is_some(),
            gap: 0,
            miss: 0,
            sound: prior_of(learned, steepest),
            sound_spread: 0,
        }
    }

    /// One control tick of `dt` (nominal 0.25 s; 0.01 to 1 s, longer counts as 1 s). `reading` is the vessel's thermometer; `applied` is the
    /// mean share of full power that really conducted since the last tick. Returns the duty to ask for.
    pub fn tick(&mut self, dt: Span, reading: Celsius, applied: Duty, demand: Demand) -> Duty {
        let dt_us = i64::try_from(dt.as_micros()).unwrap_or(i64::MAX).min(LONGEST_TICK_US);
        let level = i64::from(reading.fixed().to_bits()) << 16;
        self.work_us = self.work_us.saturating_add((i64::from(applied.bits()).saturating_mul(dt_us)) >> 16);
        self.run_window(dt_us, level, applied);
        self.fill_batch(dt_us, level);

        let climb = slope_of_raw(self.bank.raw()) << 8;
        // The water loses by its own temperature, which in a ramp is nearer to the settled one than to the reading.
        let water = self.settled.map_or(level, |s| s.level);
        let usual = per_second_of(self.loss_at_76, loss::shape(water >> 16));
        let settled = self.settled.get_or_insert(Settled { level, loss: usual });
        settled.tick(&Evidence {
            dt_us,
            reading: level,
            gap: self.gap,
            climb,
            heat: (climb.saturating_mul(i64::from(applied.bits()))) >> 16,
            lag_us: self.bank.lag_us(),
            weight: self.bank.weight(),
            loss: match (self.window, self.state) {
                (Window::Open { .. }, State::Coast { .. }) => Loss::Kept,
                (_, State::Coast { .. }) if self.bank.weight() < AGREED => Loss::Kept,
                (Window::Open { .. }, _) => Loss::Known(usual),
                (_, State::Ramp(_)) => Loss::Sought { drift: usual.saturating_sub(self.usual) },
                _ => Loss::Sought { drift: 0 },
            },
        });
        self.usual = usual;
        let settled = *settled;
        self.obey(dt, dt_us, level, settled, demand)
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
            State::Ramp(_) => Phase::Ramp,
            State::Coast { .. } => Phase::Coast,
            State::Hold { .. } => Phase::Hold,
        }
    }

    /// After a trip or a long rest: forgets the present run, keeps what was learned.
    pub fn reset(&mut self) {
        *self = HeatControl::new(self.config, self.learned);
    }

    /// Opens, pauses and closes the window.
    fn run_window(&mut self, dt_us: i64, level: i64, applied: Duty) {
        let lag_us = self.bank.lag_us();
        let steady = per_second((slope_of_raw(self.bank.raw()) << 8).saturating_mul(i64::from(applied.bits())) >> 16, lag_us);
        let bent = self.gap.saturating_sub(steady).saturating_abs() > BEND;
        let late = match self.state {
            State::Off | State::Hold { .. } => true,
            State::Fixed(_) | State::Ramp(_) => false,
            State::Coast { for_us, .. } => for_us > lag_us.saturating_mul(COAST_LAGS),
        };
        self.window = match self.window {
            Window::Closed | Window::Paused { .. } if matches!(self.state, State::Ramp(_)) && self.implausible() => {
                let lag_us = prior_of(self.learned, 0).lag_us.max(UNKNOWN_LAG_US);
                let prior = Prior { raw: raw_of_slope(i64::from(self.config.max_slope.fixed().to_bits())), lag_us, known: false };
                self.start_window(prior, level, 0);
                return;
            }
            Window::Closed => Window::Closed,
            Window::Open { .. } | Window::Paused { .. } if late => {
                self.note();
                Window::Closed
            }
            Window::Open { for_us, blind_us, from } => {
                let risen = level.saturating_sub(from) > WORTH_LEARNING;
                let long = for_us > lag_us.saturating_mul(WINDOW_LAGS).saturating_add(WINDOW_EXTRA_US);
                if risen && long && !bent {
                    self.note();
                    Window::Paused { for_us: 0 }
                } else {
                    Window::Open { for_us: for_us.saturating_add(dt_us), blind_us: blind_us.saturating_sub(dt_us).max(0), from }
                }
            }
            Window::Paused { for_us } if for_us > lag_us.saturating_mul(PAUSE_LAGS) => Window::Closed,
            Window::Paused { .. } if bent => Window::Open { for_us: i64::MAX / 2, blind_us: 0, from: i64::MIN / 2 },
            Window::Paused { for_us } => Window::Paused { for_us: for_us.saturating_add(dt_us) },
        };
    }

    /// Whether a steady ramp contradicts the fit by more than any loss could explain.
    fn implausible(&self) -> bool {
        let climb = slope_of_raw(self.bank.raw()) << 8;
        let seen = self.settled.map_or(0, |s| s.loss);
        seen.saturating_sub(self.usual).saturating_abs() > (climb / 16).saturating_add(loss::UNKNOWN)
    }

    /// Adds a tick to the batch and, once it is full, moves the bank on.
    fn fill_batch(&mut self, dt_us: i64, level: i64) {
        let batch = &mut self.batch;
        batch.for_us += dt_us;
        batch.reading_us += (level >> 16).saturating_mul(dt_us);
        if batch.for_us < BANK_STEP_US {
            return;
        }
        let Batch { for_us, reading_us } = *batch;
        *batch = Batch::default();
        self.bank.advance(for_us, self.work_us);
        // The mean reading is half a batch old; what is lost by that is one part in the lag.
        let mean = reading_us.saturating_mul(1 << 8).checked_div(for_us).unwrap_or(0) << 8;
        self.lost = self.lost.saturating_add(per_second(self.usual, for_us));
        self.missed.tick(for_us, self.bank.lag_us(), self.lost >> 16);
        let before = self.bank.gap();
        self.gap = before;
        if let Window::Open { blind_us: 0, .. } = self.window {
            let lag_before = self.bank.lag_us();
            let whole = mean.saturating_add(self.missed.output() << 16);
            if !self.bank.observe(whole) {
                self.window = Window::Closed;
            }
            self.check_fit(whole, level);
            self.gap = self.bank.gap();
            // A better fit is no surprise: the settled temperature moves with it.
            if let Some(settled) = &mut self.settled {
                let lag_change = self.bank.lag_us().saturating_sub(lag_before);
                settled.level = settled
                    .level
                    .saturating_add(self.gap.saturating_sub(before))
                    .saturating_sub(per_second(settled.loss, lag_change));
            }
        }
    }

    /// Begins a new window if the fit broke: somebody stirred, or poured, or opened a valve.
    fn check_fit(&mut self, whole: i64, level: i64) {
        if self.bank.steps() < WORTH_KEEPING {
            return;
        }
        self.miss += (self.bank.miss(whole) - self.miss) / 4;
        let allowed = MISS + 4 * isqrt(self.sound_spread) + 2 * self.bank.doubt();
        if self.miss.saturating_abs() > allowed {
            let prior = self.sound;
            self.start_window(prior, level, prior.lag_us);
        } else if self.miss.saturating_abs() < allowed / 4 {
            self.sound_spread = self.bank.spread();
            self.sound = Prior { raw: self.bank.raw(), lag_us: self.bank.lag_us(), known: true };
        }
    }

    /// The law.
    fn obey(&mut self, dt: Span, dt_us: i64, level: i64, settled: Settled, demand: Demand) -> Duty {
        let target = match demand {
            Demand::Off => {
                self.state = State::Off;
                return Duty::ZERO;
            }
            Demand::Percent(duty) => {
                if matches!(self.state, State::Off) {
                    self.open_window(level);
                }
                self.state = State::Fixed(duty);
                return duty;
            }
            Demand::Hold(target) => target,
        };
        let aim = i64::from(target.fixed().to_bits()) << 16;
        let error = aim.saturating_sub(settled.level);
        let climb = slope_of_raw(self.bank.raw()) << 8;
        let loss = match self.state {
            State::Ramp(_) => {
                let doubt = if self.loss_known { loss::UNKNOWN / 8 } else { loss::UNKNOWN / 2 };
                standing_loss(settled.loss, self.usual, doubt, climb)
            }
            _ => settled.loss,
        };
        let standing = share(loss, climb);
        let lag_us = self.bank.lag_us();
        let sharp = self.gains(lag_us / 16);
        let brisk = self.gains(lag_us / 5);
        let gentle = self.gains(lag_us / 2);

        self.state = match self.state {
            State::Off => self.set_off(Pid::new(brisk), standing, level, error),
            State::Fixed(duty) if error.saturating_abs() < per_second(climb, self.bank.lag_us() / 2) => {
                let mut pid = Pid::new(gentle);
                pid.tick(dt, target, celsius(settled.level));
                pid.track(duty);
                State::Hold { pid, for_us: 0 }
            }
            State::Fixed(_) => self.set_off(Pid::new(brisk), standing, level, error),
            State::Ramp(_) | State::Coast { .. } | State::Hold { .. } => self.state,
        };
        let over = Span::from_micros(u64::try_from(self.bank.lag_us() / 8).unwrap_or(0)).plus(Span::from_secs(3));
        let run = |pid: &mut Pid, gains: PidGains, target: Celsius| {
            if pid.gains() != gains {
                pid.refine_gains(gains);
            }
            pid.relax(dt, over, standing);
            pid.tick(dt, target, celsius(settled.level))
        };
        let (state, duty) = match self.state {
            State::Off => (State::Off, Duty::ZERO),
            State::Fixed(duty) => (State::Fixed(duty), duty),
            State::Ramp(mut pid) => {
                let duty = run(&mut pid, sharp, target.plus(self.allowance()));
                let cut = i64::from(duty.bits()) < ONE / 2;
                if cut && let Some(settled) = &mut self.settled {
                    settled.loss = loss;
                }
                (if cut { State::Coast { pid, for_us: 0 } } else { State::Ramp(pid) }, duty)
            }
            State::Coast { mut pid, for_us } => {
                let duty = run(&mut pid, brisk, target);
                let arrived = aim.saturating_sub(level).saturating_abs() < ARRIVED && matches!(self.window, Window::Closed);
                let for_us = for_us.saturating_add(dt_us);
                if duty == Duty::FULL && error > FAR {
                    (State::Ramp(pid), duty)
                } else if arrived {
                    (State::Hold { pid: calmed(pid, gentle), for_us: 0 }, duty)
                } else {
                    (State::Coast { pid, for_us }, duty)
                }
            }
            State::Hold { mut pid, for_us } => {
                let duty = run(&mut pid, gentle, target);
                let for_us = for_us.saturating_add(dt_us);
                if duty == Duty::FULL && error > FAR { (State::Ramp(pid), duty) } else { (State::Hold { pid, for_us }, duty) }
            }
        };
        self.state = state;
        if let State::Hold { for_us, .. } = state
            && for_us > self.bank.lag_us().saturating_mul(8)
        {
            self.learn_loss(dt_us, level, settled.loss);
        }
        duty
    }

    /// Sets off for a target, learning if there is far to go.
    fn set_off(&mut self, mut pid: Pid, standing: Duty, level: i64, error: i64) -> State {
        pid.preload(standing);
        if error > WORTH_LEARNING {
            self.open_window(level);
        }
        State::Ramp(pid)
    }

    /// Opens a window that leans on what is known.
    fn open_window(&mut self, from: i64) {
        let steepest = raw_of_slope(i64::from(self.config.max_slope.fixed().to_bits()));
        self.start_window(prior_of(self.learned, steepest), from, 0);
    }

    fn start_window(&mut self, prior: Prior, from: i64, blind_us: i64) {
        self.bank.open(prior);
        self.sound = prior;
        self.sound_spread = self.bank.spread();
        self.miss = 0;
        self.window = Window::Open { for_us: 0, blind_us, from };
    }

    /// Writes down what the window taught.
    fn note(&mut self) {
        if self.bank.steps() < WORTH_KEEPING {
            return;
        }
        let slope = i32::try_from(slope_of_raw(self.bank.raw())).unwrap_or(i32::MAX);
        let loss = i32::try_from(self.loss_at_76 >> 8).unwrap_or(0);
        self.learned = Some(Learned::new(
            Slope::from_fixed(I8F24::from_bits(slope)),
            Span::from_micros(u64::try_from(self.bank.lag_us()).unwrap_or(0)),
            Slope::from_fixed(I8F24::from_bits(loss)),
        ));
    }

    /// In a settled hold well above the room, the standing loss tells the fall at 76 C.
    fn learn_loss(&mut self, dt_us: i64, level: i64, loss_now: i64) {
        let shape = loss::shape(level >> 16);
        let Some(at_76) = loss_now.saturating_mul(1 << 16).checked_div(shape) else { return };
        if shape < ONE / 4 {
            return;
        }
        self.loss_known = true;
        let over_us = self.bank.lag_us().saturating_mul(8).max(1);
        let step = at_76.saturating_sub(self.loss_at_76).saturating_mul(dt_us) / over_us;
        self.loss_at_76 = self.loss_at_76.saturating_add(step).clamp(0, loss::UNKNOWN.saturating_mul(10));
        if let Some(learned) = self.learned {
            let loss = i32::try_from(self.loss_at_76 >> 8).unwrap_or(0);
            self.learned = Some(learned.with_loss(Slope::from_fixed(I8F24::from_bits(loss))));
        }
    }

    /// How far above the target the ramp aims: a kettle with much heat on its way creeps up the last tenths.
    fn allowance(&self) -> Kelvin {
        let under_way = per_second(slope_of_raw(self.bank.raw()) << 8, self.bank.lag_us());
        let above = (under_way.saturating_sub(ALLOWANCE_FROM) / ALLOWANCE_PART).clamp(0, ALLOWANCE_MOST) >> 16;
        Kelvin::from_fixed(I16F16::from_bits(i32::try_from(above).unwrap_or(0)))
    }

    /// Proportional gain `1 / (k Tc)`; `Tc` is at least 3 s.
    fn gains(&self, tc_us: i64) -> PidGains {
        let band = per_second(slope_of_raw(self.bank.raw()) << 8, tc_us.max(3_000_000)) >> 16;
        let kc = (1_i64 << 32).checked_div(band).unwrap_or(i64::MAX).clamp(1, i64::from(i32::MAX));
        PidGains::proportional(I16F16::from_bits(i32::try_from(kc).unwrap_or(i32::MAX)))
    }
}

/// The loss that explains a steady ramp, `seen`, may in part be an error of the climb: what doubt about the usual loss and one part in a
/// hundred of the climb leave likely. All Q32 K/s.
fn standing_loss(seen: i64, usual: i64, of_loss: i64, climb: i64) -> i64 {
    let of_climb = climb / 100;
    let square = |x: i64| (x >> 12).saturating_mul(x >> 12);
    let trust = square(of_loss).saturating_mul(256).checked_div(square(of_loss).saturating_add(square(of_climb))).unwrap_or(0);
    usual.saturating_add(seen.saturating_sub(usual).saturating_mul(trust) >> 8)
}

/// The block with gentler gains, its output unmoved.
fn calmed(mut pid: Pid, gains: PidGains) -> Pid {
    pid.set_gains(gains);
    pid
}

/// What to lean on: the record, or the rig's bound.
fn prior_of(learned: Option<Learned>, steepest: i64) -> Prior {
    match learned {
        Some(l) => Prior {
            raw: raw_of_slope(i64::from(l.slope().fixed().to_bits())).min(steepest),
            lag_us: i64::try_from(l.lag().as_micros()).unwrap_or(UNKNOWN_LAG_US),
            known: true,
        },
        None => Prior { raw: steepest, lag_us: UNKNOWN_LAG_US, known: false },
    }
}

/// Product of a rate and a Q16 factor.
fn per_second_of(rate: i64, factor: i64) -> i64 {
    rate.saturating_mul(factor) >> 16
}

/// `part / whole` as a duty, within 0 to 1.
fn share(part: i64, whole: i64) -> Duty {
    let bits = part.max(0).saturating_mul(1 << 16).checked_div(whole).unwrap_or(0).clamp(0, ONE);
    Duty::from_fixed(I16F16::from_bits(i32::try_from(bits).unwrap_or(0)))
}

/// Square root, rounded down; zero for less.
fn isqrt(value: i64) -> i64 {
    i64::try_from(u64::try_from(value).unwrap_or(0).isqrt()).unwrap_or(0)
}

/// Q32 C as a temperature.
fn celsius(level: i64) -> Celsius {
    let bits = (level >> 16).clamp(i64::from(i32::MIN), i64::from(i32::MAX));
    Celsius::default().plus(Kelvin::from_fixed(I16F16::from_bits(i32::try_from(bits).unwrap_or(0))))
}
