//! A lag chain: equal first-order lags in series, the model for how late the thermometer hears of the heat.
//!
//! - *Lag*: the chain's total, in microseconds: how far the output of a steady ramp trails its input.
//! - *Stages*: how many share the lag. One gives a soft bend, many nearly a pure delay (the Erlang family; "tanks in series",
//!   Levenspiel, Chemical Reaction Engineering).
//!
//! Each stage is stepped as `p += (input - p) dt / (tau + dt)`, which trails a steady ramp by exactly `tau` for any steady `dt`.

use crate::wide::Product;

/// Format of the step ratio `dt / (tau + dt)`: Q20.
const RATIO_BITS: u32 = 20;
/// The furthest a stage may trail, so that a product with a ratio up to one fits.
const APART: i64 = 1 << 42;

/// `N` equal first-order lags in series. Values are in any linear unit, within 2^42 of each other
/// and within 2^62 of zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LagChain<const N: usize> {
    stages: [i64; N],
}

impl<const N: usize> LagChain<N> {
    /// A chain settled at `level`.
    pub const fn settled(level: i64) -> Self {
        LagChain { stages: [level; N] }
    }

    /// The step ratio, Q20, of ticks of `dt_us` for a total lag of `lag_us`.
    pub fn ratio(dt_us: i64, lag_us: i64) -> i64 {
        let count = i64::try_from(N).unwrap_or(1).max(1);
        let tau_us = lag_us / count;
        dt_us.product(1 << RATIO_BITS).checked_div(tau_us.saturating_add(dt_us)).unwrap_or(1 << RATIO_BITS)
    }

    /// Moves the chain on by `dt_us` towards `input` with a total lag of `lag_us`; returns the output.
    pub fn tick(&mut self, dt_us: i64, lag_us: i64, input: i64) -> i64 {
        self.step(Self::ratio(dt_us, lag_us), input)
    }

    /// Moves the chain on towards `input` by a step ratio that is known already; returns the output.
    pub fn step(&mut self, ratio: i64, input: i64) -> i64 {
        let mut into = input;
        for stage in &mut self.stages {
            let apart = into.wrapping_sub(*stage);
            // Nearly always 32 bits hold the difference, and nothing has to be bounded.
            let apart = match i32::try_from(apart) {
                Ok(near) => i64::from(near),
                Err(_) => into.saturating_sub(*stage).clamp(-APART, APART),
            };
            // Half an LSB is added so that a stage that trails by a fraction is not left behind by truncation.
            *stage = stage.wrapping_add((apart * ratio + (1 << (RATIO_BITS - 1))) >> RATIO_BITS);
            into = *stage;
        }
        into
    }

    /// The chain's output.
    pub fn output(&self) -> i64 {
        self.stages.last().copied().unwrap_or(0)
    }
}
