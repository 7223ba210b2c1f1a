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
pub const fn ratio(dt_us: i64, lag_us: i64, stages: i64) -> i32 {
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

/// Moves a chain on that is held by how far each stage trails an input that only grows, this time by `by`. Over the chain's lag it must grow by
/// less than 2^29: then 32 bits do.
#[inline(never)]
pub fn trail(behind: &mut [i32], ratio: i32, by: i32) {
    let mut before = 0;
    for stage in behind {
        let apart = stage.wrapping_add(by);
        *stage = apart.wrapping_sub(share(apart.wrapping_sub(before), ratio));
        before = *stage;
    }
}

/// `(near * ratio + HALF) >> 20` for `|near|` below 2^30 and a ratio up to one, exactly, by products of 32 bits.
#[inline(always)]
const fn share(near: i32, ratio: i32) -> i32 {
    let (high, low) = (near >> 16, near & 0xFFFF);
    let (ratio_high, ratio_low) = (ratio >> 10, ratio & 0x3FF);
    let ones = low * ratio_low + HALF;
    let thousands = low * ratio_high + (ones >> 10);
    let middle = high * ratio_low + (thousands >> 6);
    high * ratio_high * 64 + (middle >> 4)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_by_32_bit_products_is_the_one_by_64_bits() {
        let nears = (0..31).flat_map(|bit| [-1, 0, 1].map(|off| (1_i64 << bit) + off)).chain((0..1 << 30).step_by(99_991));
        for near in nears.filter(|&near| near < 1 << 30).flat_map(|near| [near, -near]) {
            for ratio in (0..=1 << RATIO_BITS).step_by(9_973).chain([1, 1023, 1024, 1025, (1 << RATIO_BITS) - 1, 1 << RATIO_BITS]) {
                let exact = (near * ratio + i64::from(HALF)) >> RATIO_BITS;
                assert_eq!(i64::from(share(near as i32, ratio as i32)), exact, "{near} {ratio}");
            }
        }
    }

    #[test]
    fn a_trail_is_its_chain_seen_from_the_input() {
        for lag_us in [9_000_000, 46_438_000, 138_663_000] {
            let (mut chain, mut behind, mut input) = (LagChain::<6>::settled(0), [0; 6], 0);
            for step in 0..4_000 {
                // Full power, none, and shares between, each for a while.
                let by = [1_000_000, 0, 731_003, 2_000_000, 1][step / 60 % 5];
                input += i64::from(by);
                chain.tick(1_000_000, lag_us, input);
                trail(&mut behind, ratio(1_000_000, lag_us, 6), by);
                assert_eq!(input - i64::from(behind[5]), chain.output(), "lag {lag_us}, step {step}");
            }
        }
    }
}
