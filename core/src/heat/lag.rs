//! A lag chain: equal first-order lags in series, the model for how late the thermometer hears of the heat.
//!
//! - *Lag*: the chain's total, seconds: how far the output of a steady ramp trails its input.
//! - *Shape*: how many stages share the lag. One gives a soft bend, six nearly a pure delay (the Erlang family; "tanks in series",
//!   Levenspiel, Chemical Reaction Engineering).
//!
//! Each stage is stepped as `p += (input - p) dt / (tau + dt)`, which trails a steady ramp by exactly `tau` for any `dt`.

/// The most stages a chain can have.
pub const MOST_STAGES: usize = 6;

/// Equal first-order lags in series. Values are in any linear unit; the format is the caller's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LagChain {
    stages: [i64; MOST_STAGES],
    count: usize,
}

impl LagChain {
    /// A chain of `count` stages (1 to [`MOST_STAGES`], saturating) settled at `level`.
    pub fn settled(count: usize, level: i64) -> LagChain {
        LagChain { stages: [level; MOST_STAGES], count: count.clamp(1, MOST_STAGES) }
    }

    /// Moves the chain on by `dt_us` towards `input` with a total lag of `lag_us`; returns the chain's output.
    ///
    /// `input` may lie up to 2^43 from each stage's value before the step saturates.
    pub fn tick(&mut self, dt_us: i64, lag_us: i64, input: i64) -> i64 {
        let count = i64::try_from(self.count).unwrap_or(1);
        let tau_us = lag_us.checked_div(count).unwrap_or(0);
        let whole = tau_us.saturating_add(dt_us).max(1);
        let mut into = input;
        for stage in self.stages.iter_mut().take(self.count) {
            let step = into.saturating_sub(*stage).saturating_mul(dt_us).checked_div(whole).unwrap_or(0);
            *stage = stage.saturating_add(step);
            into = *stage;
        }
        into
    }

    /// The chain's output.
    pub fn output(&self) -> i64 {
        self.stages.iter().take(self.count).next_back().copied().unwrap_or(0)
    }

    /// Stretches every stage's distance from `input` by `numerator / denominator`: the chain that a steady ramp would have
    /// left behind with another lag.
    pub fn stretch(&mut self, input: i64, numerator: i64, denominator: i64) {
        for stage in &mut self.stages {
            let behind = input.saturating_sub(*stage).saturating_mul(numerator).checked_div(denominator).unwrap_or(0);
            *stage = input.saturating_sub(behind);
        }
    }
}
