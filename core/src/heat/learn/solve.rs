//! Least squares by Cholesky's factors, in fixed point.
//!
//! Works on the lower triangle of a positive matrix, row by row, with the right-hand side as its last row. Rows and columns are scaled by powers of
//! two so that the diagonal lies between a quarter and one: then no factor exceeds one, and Q62 holds them all (Golub and Van Loan, Matrix
//! Computations, 4.2; from memory). What is no positive matrix gives a wrong solution within its bounds.

use crate::wide::{Bound, square_root};

/// One, Q60: the format of what is left of an entry.
const ONE: i64 = 1 << 60;
/// The least pivot that is believed, Q60: what is smaller is rounding.
const LEAST_PIVOT: i64 = 1 << 22;

/// Where row `i` of a packed lower triangle begins.
pub const fn row_at(i: usize) -> usize {
    i * (i + 1) / 2
}

/// The upper half of a product, to one or two; both factors within 2^62.
#[inline(always)]
fn upper(a: i64, b: i64) -> i64 {
    const LOW: i64 = (1 << 32) - 1;
    let (a_high, a_low, b_high, b_low) = (a >> 32, a & LOW, b >> 32, b & LOW);
    a_high * b_high + ((a_high * b_low) >> 32) + ((a_low * b_high) >> 32)
}

/// What two rows of factors take away from an entry, Q60 of Q62.
#[inline(never)]
fn scalar_product(a: &[i64], b: &[i64]) -> i64 {
    a.iter().zip(b).fold(0, |sum: i64, (&a, &b)| sum.wrapping_add(upper(a, b)))
}

/// The inverse root of a pivot: a Q61 from one to two, times two to the power of `up`.
#[derive(Debug, Clone, Copy, Default)]
struct Pivot {
    inverse: i64,
    up: u32,
}

impl Pivot {
    #[inline(never)]
    fn of(pivot: i64) -> Pivot {
        let pivot = pivot.within(LEAST_PIVOT, ONE - 1);
        let up = (pivot.leading_zeros() - 4) / 2;
        let near = pivot << (2 * up);
        // Thirty bits by a root and a quotient, nearly sixty by one step of Newton's.
        let root = i64::from(square_root((near as u64) << 4)).max(1);
        let rough = ((1_i64 << 62) / root).at_most((1 << 31) - 1);
        let off = (1 << 58) - upper(near << 2, rough * rough);
        Pivot { inverse: (rough << 31) + ((rough * off.within(-(1 << 30), 1 << 30)) >> 28), up }
    }

    /// What is left of an entry (Q60), over this pivot's root; Q62.
    fn divide(self, left: i64) -> i64 {
        let most = ONE >> self.up;
        upper(left.within(-most, most) << (self.up + 2), self.inverse).within(-(1 << 59), 1 << 59) << 3
    }
}

/// Solves for `N` unknowns: `matrix` holds `N + 1` rows, the last of which is the right-hand side with its own square. All entries are of one
/// format; the solution is Q30, bounded to 2^32.
#[inline(never)]
pub fn solve<const N: usize>(matrix: &mut [i64]) -> [i64; N] {
    let mut size = [0_u32; N];
    let mut of_side = 0;
    for i in 0..N + 1 {
        let square = matrix.get(row_at(i) + i).copied().unwrap_or(1).max(1);
        // The square is less than two to the power of twice this.
        let half = (65 - square.leading_zeros()) / 2;
        match size.get_mut(i) {
            Some(size) => *size = half,
            None => of_side = half,
        }
    }
    let mut pivots = [Pivot::default(); N];
    for i in 0..N + 1 {
        let Some((above, below)) = matrix.split_at_mut_checked(row_at(i)) else { break };
        let mine = size.get(i).copied().unwrap_or(of_side);
        for j in 0..(i + 1).min(N) {
            let Some((entry, known)) = below.get_mut(..=j).and_then(|row| row.split_last_mut()) else { break };
            let theirs = size.get(j).copied().unwrap_or(0);
            let entry_now = scaled(*entry, 60_i32 - (mine + theirs) as i32);
            if i == j {
                let left = entry_now.wrapping_sub(scalar_product(known, known));
                if let Some(pivot) = pivots.get_mut(j) {
                    *pivot = Pivot::of(left);
                }
            } else {
                let other = above.get(row_at(j)..).unwrap_or(&[]);
                let left = entry_now.wrapping_sub(scalar_product(known, other));
                *entry = pivots.get(j).map_or(0, |pivot| pivot.divide(left));
            }
        }
    }
    let mut solution = [0_i64; N];
    for i in (0..N).rev() {
        let entry = |row: usize, column: usize| matrix.get(row_at(row) + column).copied().unwrap_or(0);
        // Q44; the solution itself is Q46.
        let mut left = entry(N, i) >> 18;
        for k in i + 1..N {
            left -= upper(entry(k, i), solution.get(k).copied().unwrap_or(0));
        }
        let pivot = pivots.get(i).copied().unwrap_or_default();
        if let Some(x) = solution.get_mut(i) {
            let most = ONE >> (pivot.up + 1);
            *x = upper(pivot.inverse, left.within(-(1 << 58), 1 << 58) << 4).within(-most, most) << (pivot.up + 1);
        }
    }
    for (x, &size) in solution.iter_mut().zip(&size) {
        *x = scaled(*x, of_side as i32 - size as i32 - 16).within(-(1 << 32), 1 << 32);
    }
    solution
}

/// Times two to a power, saturating at 2^60.
fn scaled(value: i64, up: i32) -> i64 {
    if up >= 0 {
        let most = ONE.checked_shr(up as u32).unwrap_or(0);
        value.within(-most, most).checked_shl(up as u32).unwrap_or(0)
    } else {
        value >> up.unsigned_abs().min(63)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A generator of the usual linear kind (Knuth, The Art of Computer Programming, 3.3.4, his own multiplier); its upper half.
    fn draws(mut state: u64) -> impl FnMut() -> u32 {
        move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 32) as u32
        }
    }

    /// Rows of a random design with widely different columns: the solution is that of the same sums in floats, by Gauss's elimination.
    #[test]
    fn a_solution_is_that_of_elimination_in_floats() {
        const N: usize = 6;
        let mut draw = draws(12_345);
        let mut next = || i64::from(draw() % 2_001) - 1_000;
        for case in 0..200 {
            let mut sums = [0_i64; row_at(N + 2)];
            let truth: [i64; N] = core::array::from_fn(|_| next());
            for _ in 0..40 {
                // Neighbouring columns are nearly alike, as those of a slow response are.
                let common = next() * (1 + case % 7);
                let mut row = [0_i64; N + 1];
                for (j, entry) in row.iter_mut().take(N).enumerate() {
                    *entry = common * 100 + next() * 10 * (1 + j as i64);
                }
                row[N] = (0..N).map(|j| row[j] * truth[j]).sum::<i64>() / 256 + next();
                for i in 0..=N {
                    for j in 0..=i {
                        sums[row_at(i) + j] += row[i] * row[j];
                    }
                }
            }
            let entry = |i: usize, j: usize| sums[row_at(i.max(j)) + i.min(j)] as f64;
            let mut m: [[f64; N + 1]; N] =
                core::array::from_fn(|i| core::array::from_fn(|j| if j < N { entry(i, j) } else { entry(N, i) }));
            for i in 0..N {
                for r in 0..N {
                    if r != i {
                        let factor = m[r][i] / m[i][i];
                        let pivot = m[i];
                        for (entry, above) in m[r].iter_mut().zip(pivot).skip(i) {
                            *entry -= factor * above;
                        }
                    }
                }
            }
            let mut fixed = sums;
            let solution = solve::<N>(&mut fixed);
            for i in 0..N {
                let (ours, theirs) = (solution[i] as f64 / f64::from(1 << 30), (m[i][N] / m[i][i]).clamp(-4.0, 4.0));
                assert!((ours - theirs).abs() < 1e-6, "case {case}, unknown {i}: {ours} {theirs}");
            }
        }
    }

    #[test]
    fn whatever_the_sums_nothing_overflows() {
        let mut draw = draws(99);
        for _ in 0..20_000 {
            let mut sums = [0_i64; row_at(5)];
            for entry in &mut sums {
                let bits = i64::from(draw()) << 32 | i64::from(draw());
                *entry = bits >> (draw() % 64);
            }
            for x in solve::<4>(&mut sums) {
                assert!((-(1 << 32)..=1 << 32).contains(&x), "{x}");
            }
        }
    }
}
