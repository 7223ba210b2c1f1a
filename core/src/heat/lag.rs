//! A lag chain: equal first-order lags in series, the model for how late the thermometer hears of the heat.
//!
//! - *Lag*: the chain's total, in microseconds: how far the output of a steady ramp trails its input.
//! - *Stages*: how many share the lag. One gives a soft bend, many nearly a pure delay (the Erlang family; "tanks in series",
//!   Levenspiel, Chemical Reaction Engineering).
//!
//! Each stage is stepped as `p += (input - p) dt / (tau + dt)`, which trails a steady ramp by exactly `tau` for any steady `dt`.

use crate::wide::product_i64;

/// Format of the step ratio `dt / (tau + dt)`: Q20.
const RATIO_BITS: u32 = 20;
const ONE: i32 = 1 << RATIO_BITS;
/// The furthest a stage may trail, so that a product with a ratio up to one fits.
const APART: i64 = 1 << 42;
/// Half an LSB is added so that a stage that trails by a fraction is not left behind by truncation.
const HALF: i32 = 1 << (RATIO_BITS - 1);

/// The step ratio, Q20, of ticks of `dt_us` for a total lag of `lag_us` in so many stages: zero to one.
const fn ratio(dt_us: i64, lag_us: i64, stages: i64) -> i32 {
    let tau_us = lag_us / if stages < 1 { 1 } else { stages };
    match product_i64(dt_us, ONE as i64).checked_div(tau_us.saturating_add(dt_us)) {
        Some(ratio) if 0 <= ratio && ratio <= ONE as i64 => ratio as i32,
        _ => ONE,
    }
}

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

    /// Moves the chain on by `dt_us` towards `input` with a total lag of `lag_us`; returns the output.
    pub fn tick(&mut self, dt_us: i64, lag_us: i64, input: i64) -> i64 {
        follow(&mut self.stages, ratio(dt_us, lag_us, N as i64), input)
    }

    /// The chain's output.
    pub fn output(&self) -> i64 {
        self.stages.last().copied().unwrap_or(0)
    }
}

#[inline(never)]
fn follow(stages: &mut [i64], ratio: i32, input: i64) -> i64 {
    let mut into = input;
    for stage in stages {
        let apart = into.saturating_sub(*stage).clamp(-APART, APART);
        *stage = stage.wrapping_add((apart * i64::from(ratio) + i64::from(HALF)) >> RATIO_BITS);
        into = *stage;
    }
    into
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What the module promises, of every number of stages and any lag.
    #[test]
    fn a_steady_ramp_is_trailed_by_the_lag() {
        fn trails<const N: usize>(lag_us: i64) {
            let (mut chain, mut input) = (LagChain::<N>::settled(0), 0);
            for _ in 0..20 * lag_us / 250_000 {
                input += 250_000;
                chain.tick(250_000, lag_us, input);
            }
            let off = (input - chain.output() - lag_us).abs();
            assert!(off <= lag_us / 2_000, "{N} stages, lag {lag_us}: off by {off}");
        }
        for lag_us in [5_000_000, 46_438_000, 138_663_000] {
            trails::<1>(lag_us);
            trails::<3>(lag_us);
            trails::<10>(lag_us);
        }
    }
}
