//! The law that steers a kettle: proportional action about a bias, the part of a [`Pid`](super::pid::Pid) that heat control needs.
//!
//! - *Direct action*: `Kc e`, with `e` the setpoint less the measurement.
//! - *Bias*: what is added to it; in a PI it is the integral action. It is kept in output units, so a new gain does not move it.
//!
//! All actions are in Q32 of full power and bounded, so that sums of them fit.

use crate::units::{Celsius, Duty, narrow};
use crate::wide::{Bound, Product};
use fixed::types::I16F16;

/// One, in the output format Q32.
pub(super) const ONE: i64 = 1 << 32;
/// Bound on each action, so that products with a step in microseconds fit in 64 bits: 1024 times full power.
const ACTION_BOUND: i64 = 1 << 42;

/// Proportional action about a bias.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Law {
    /// Proportional gain, duty per kelvin in Q16.
    pub(super) kc: i32,
    /// Q16 K, of the last tick.
    pub(super) error: i64,
    pub(super) bias: i64,
    pub(super) direct: i64,
}

impl Law {
    /// At rest, its bias zero; `kc` in duty per kelvin.
    pub fn new(kc: I16F16) -> Law {
        Law { kc: kc.to_bits(), error: 0, bias: 0, direct: 0 }
    }

    /// Swaps the gain; the bias takes up the difference, so the output does not move.
    pub fn set_gain(&mut self, kc: I16F16) {
        self.refine_gain(kc);
        self.redirect(self.proportional());
    }

    /// Swaps the gain and leaves the bias as it is: for a gain that follows a fit, far from the target, where holding the output
    /// would fill the bias.
    pub fn refine_gain(&mut self, kc: I16F16) {
        self.kc = kc.to_bits();
    }

    /// Makes `output` the output for the present error, whatever produced it so far.
    pub fn track(&mut self, output: Duty) {
        self.bias = bounded(action(output) - self.direct);
    }

    /// Sets the bias itself, for a known standing duty.
    pub fn preload(&mut self, standing: Duty) {
        self.bias = action(standing);
    }

    /// Lets the bias drift towards a known standing duty over `dt_us`, with time constant `over_us`; both up to 2^30 us.
    pub fn relax(&mut self, dt_us: i32, over_us: i32, standing: Duty) {
        let off = bounded(action(standing) - self.bias);
        let step = off.product(dt_us).checked_div(i64::from(over_us + dt_us)).unwrap_or(off);
        self.bias = bounded(self.bias + step);
    }

    /// One step: the duty, within zero and full power.
    pub fn tick(&mut self, setpoint: Celsius, measured: Celsius) -> Duty {
        self.error = i64::from(setpoint.above(measured).fixed().to_bits());
        self.direct = self.proportional();
        self.output(0, ONE)
    }

    /// Direct action from the proportional part alone.
    pub(super) fn proportional(&self) -> i64 {
        bounded(self.error.product(self.kc))
    }

    /// Another direct action for the same output.
    pub(super) fn redirect(&mut self, direct: i64) {
        self.bias = bounded(self.bias + self.direct - direct);
        self.direct = direct;
    }

    /// The duty, within these limits.
    pub(super) fn output(&self, low: i64, high: i64) -> Duty {
        let output = (self.direct + self.bias).at_most(high).at_least(low);
        Duty::from_fixed(I16F16::from_bits(narrow(output >> 16)))
    }
}

/// A duty as an action.
pub(super) fn action(duty: Duty) -> i64 {
    i64::from(duty.bits()) << 16
}

#[inline(never)]
pub(super) fn bounded(action: i64) -> i64 {
    action.within(-ACTION_BOUND, ACTION_BOUND)
}
