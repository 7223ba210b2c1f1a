//! A PI(D) block: proportional, integral and filtered derivative action with the output limits inside.
//!
//! Job: turn setpoint, measurement and elapsed time into a duty between two limits.
//!
//! - *Gains* are in the ideal parallel form `u = Kc (e + 1/Ti integral(e) - Td d(measured)/dt)` (Astrom and Hagglund, Advanced PID Control,
//!   2006). `Kc` is duty per kelvin, `Ti` and `Td` are spans.
//! - *Anti-windup*: the integral never moves the output beyond a limit, and is free to move back (conditional integration).
//! - *Derivative* acts on the measurement, so a new setpoint gives no kick, through a lag of `Td/N` with `N = 10`.
//! - *Tracking* sets the integral so that the next output starts from a given duty: no bump when the block takes over.
//!
//! The integral is kept in output units, and new gains re-track the last output, so swapping gains does not move it.

use fixed::types::I16F16;

use super::law::{Law, ONE, action, bounded};
use crate::units::{Celsius, Duty, Span};
use crate::wide::{Bound, Product, Sum};

/// Ratio of derivative time to the derivative filter's time constant.
const DERIVATIVE_FILTER_N: i64 = 10;
/// The longest step that is believed; a later tick integrates no more than this.
const LONGEST_STEP_US: u64 = 1_000_000;

/// Gains of a [`Pid`], checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PidGains {
    kc: I16F16,
    ti: Option<Span>,
    td: Span,
}

/// Why gains were refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum PidGainsError {
    /// `Kc` must be above 0; at most 32,767 duty per kelvin can be written.
    Proportional(I16F16),
    /// `Ti` must be 1 s to 100,000 s.
    IntegralTime(Span),
    /// `Td` must be 0 to 10,000 s.
    DerivativeTime(Span),
}

impl PidGains {
    /// Gains `kc` in duty per kelvin (above 0), integral time `ti` (1 to 100,000 s; `None` for no integral action) and derivative time
    /// `td` (0 to 10,000 s; zero for no derivative action).
    pub fn new(kc: I16F16, ti: Option<Span>, td: Span) -> Result<PidGains, PidGainsError> {
        if kc <= I16F16::ZERO {
            return Err(PidGainsError::Proportional(kc));
        }
        if let Some(time) = ti
            && !(Span::from_secs(1)..=Span::from_secs(100_000)).contains(&time)
        {
            return Err(PidGainsError::IntegralTime(time));
        }
        if td > Span::from_secs(10_000) {
            return Err(PidGainsError::DerivativeTime(td));
        }
        Ok(PidGains { kc, ti, td })
    }

    /// Proportional gain in duty per kelvin.
    pub fn kc(&self) -> I16F16 {
        self.kc
    }

    /// Integral time; `None` if there is no integral action.
    pub fn ti(&self) -> Option<Span> {
        self.ti
    }

    /// Derivative time.
    pub fn td(&self) -> Span {
        self.td
    }
}

/// A PI(D) controller with its output limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pid {
    gains: PidGains,
    low: i64,
    high: i64,
    /// Its bias is the integral action.
    law: Law,
    /// Filtered measurement, Q32 kelvin; `None` until the first tick.
    filtered: Option<i64>,
    /// How far the measurement stood above it in the last tick, Q32 kelvin.
    rise: i64,
}

impl Pid {
    /// A controller at rest with output between zero and full power.
    pub fn new(gains: PidGains) -> Pid {
        Pid { gains, low: 0, high: ONE, law: Law::new(gains.kc), filtered: None, rise: 0 }
    }

    /// Sets the output limits; `high` below `low` counts as `low`.
    pub fn set_limits(&mut self, low: Duty, high: Duty) {
        self.low = action(low);
        self.high = action(high).at_least(self.low);
    }

    /// The gains in use.
    pub fn gains(&self) -> PidGains {
        self.gains
    }

    /// Swaps the gains; the integral takes up the difference, so the output does not move.
    pub fn set_gains(&mut self, gains: PidGains) {
        self.gains = gains;
        self.law.refine_gain(gains.kc);
        self.law.redirect(self.direct_action());
    }

    /// Makes `output` the output for the present error, whatever produced it so far.
    pub fn track(&mut self, output: Duty) {
        self.law.track(output);
    }

    /// Sets the integral action itself, for a known standing duty.
    pub fn preload(&mut self, standing: Duty) {
        self.law.preload(standing);
    }

    /// Forgets the past: integral and derivative at zero.
    pub fn reset(&mut self) {
        *self = Pid { gains: self.gains, low: self.low, high: self.high, ..Pid::new(self.gains) };
    }

    /// One step of `dt` (a longer one counts as 1 s): the duty, always within the limits.
    pub fn tick(&mut self, dt: Span, setpoint: Celsius, measured: Celsius) -> Duty {
        let dt_us = i64::try_from(dt.as_micros().min(LONGEST_STEP_US)).unwrap_or(0);
        self.rise = self.filter(i64::from(measured.fixed().to_bits()) << 16, dt_us);
        self.law.error = i64::from(setpoint.above(measured).fixed().to_bits());
        self.law.direct = self.direct_action();

        if let Some(ti) = self.gains.ti {
            let ti_us = i64::try_from(ti.as_micros()).unwrap_or(i64::MAX);
            let step = self.law.proportional().product(dt_us).checked_div(ti_us).unwrap_or(0);
            let Law { bias: integral, direct, .. } = self.law;
            let moved = integral.plus(step);
            // The integral may not push the output past a limit, but need not jump back if it is already there.
            let integral = if step > 0 {
                moved.at_most(self.high.minus(direct).at_least(integral))
            } else {
                moved.at_least(self.low.minus(direct).at_most(integral))
            };
            self.law.bias = bounded(integral);
        }
        self.law.output(self.low, self.high)
    }

    /// How far the measurement stands above its filtered value, Q32 kelvin.
    fn filter(&mut self, level: i64, dt_us: i64) -> i64 {
        if self.gains.td == Span::ZERO {
            self.filtered = Some(level);
            return 0;
        }
        let before = self.filtered.unwrap_or(level);
        let tau_us = i64::try_from(self.gains.td.as_micros()).unwrap_or(0) / DERIVATIVE_FILTER_N;
        let step = level.minus(before).product(dt_us);
        let after = match step.checked_div(tau_us.plus(dt_us)) {
            Some(change) => before.plus(change),
            None => level,
        };
        self.filtered = Some(after);
        level.minus(after)
    }

    /// Proportional plus derivative action, Q32 of full power.
    fn direct_action(&self) -> i64 {
        let proportional = self.law.proportional();
        if self.gains.td == Span::ZERO {
            return proportional;
        }
        let derivative = bounded((self.rise >> 16).product(self.law.kc)).product(DERIVATIVE_FILTER_N);
        bounded(proportional.minus(derivative))
    }
}
