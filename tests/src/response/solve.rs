//! Least squares by Cholesky's factors, in fixed point.
//!
//! Works on the lower triangle of a positive matrix, row by row, with the right-hand side as its last row. Rows and columns are scaled by powers of
//! two so that the diagonal lies between a quarter and one: then no factor exceeds one, and Q60 holds them all (Golub and Van Loan, Matrix
//! Computations, 4.2). What is no positive matrix gives a wrong solution within its bounds.

use copperhold_core::wide::{Bound, square_root};

/// One, Q60.
const ONE: i64 = 1 << 60;
/// The least pivot that is believed, Q60: what is smaller is rounding.
const LEAST_PIVOT: i64 = 1 << 22;

/// Where row `i` of a packed lower triangle begins.
pub const fn row_at(i: usize) -> usize {
    i * (i + 1) / 2
}

/// `a b` of a Q60 up to one and any number up to 2^61.
#[inline(never)]
fn part(a: i64, b: i64) -> i64 {
    const LOW: i64 = (1 << 30) - 1;
    let (a_high, a_low, b_high, b_low) = (a >> 30, a & LOW, b >> 30, b & LOW);
    a_high * b_high + ((a_high * b_low + a_low * b_high) >> 30)
}

/// The inverse root of a pivot: a Q59 from one to two, times two to the power of `up`.
#[derive(Debug, Clone, Copy, Default)]
struct Pivot {
    inverse: i64,
    up: u32,
}

impl Pivot {
    #[inline(never)]
    fn of(pivot: i64) -> Pivot {
        let pivot = pivot.clamp(LEAST_PIVOT, ONE - 1);
        let up = (pivot.leading_zeros() - 4) / 2;
        let near = pivot << (2 * up);
        // Thirty bits by a root and a quotient, sixty by one step of Newton's.
        let root = i64::from(square_root((near as u64) << 4)).max(1);
        let rough = ((1_i64 << 62) / root).min((1 << 31) - 1);
        let off = ONE - part(near, rough * rough);
        Pivot { inverse: (rough << 29) + ((rough * off.within(-(1 << 31), 1 << 31)) >> 32), up }
    }

    /// What is left of a product, over this pivot's root; Q60.
    fn divide(self, left: i64) -> i64 {
        let most = ONE >> self.up;
        (part(left.within(-most, most) << self.up, self.inverse) << 1).within(-ONE, ONE)
    }
}

/// Solves for `N` unknowns: `matrix` holds `N + 1` rows, the last of which is the right-hand side with its own square. All entries are of one
/// format; the solution is Q30, bounded to 2^32.
#[inline(never)]
pub fn solve<const N: usize>(matrix: &mut [i64]) -> [i64; N] {
    let mut size = [0_u32; N];
    let mut of_side = 0;
    for i in 0..=N {
        let square = matrix.get(row_at(i) + i).copied().unwrap_or(1).max(1);
        // The square is less than two to the power of twice this.
        let half = (65 - square.leading_zeros()) / 2;
        match size.get_mut(i) {
            Some(size) => *size = half,
            None => of_side = half,
        }
    }
    let mut pivots = [Pivot::default(); N];
    for i in 0..=N {
        let Some((above, below)) = matrix.split_at_mut_checked(row_at(i)) else { break };
        let mine = size.get(i).copied().unwrap_or(of_side);
        for j in 0..=i.min(N - 1) {
            let Some((known, entry)) = below.get_mut(..=j).and_then(|row| row.split_last_mut()).map(|(last, known)| (known, last))
            else {
                break;
            };
            let theirs = size.get(j).copied().unwrap_or(0);
            let entry_now = scaled(*entry, 60_i32 - (mine + theirs) as i32);
            if i == j {
                let left = known.iter().fold(entry_now, |left, &l| left.wrapping_sub(part(l, l)));
                if let Some(pivot) = pivots.get_mut(j) {
                    *pivot = Pivot::of(left);
                }
            } else {
                let other = above.get(row_at(j)..).unwrap_or(&[]);
                let left = known.iter().zip(other).fold(entry_now, |left, (&a, &b)| left.wrapping_sub(part(a, b)));
                *entry = pivots.get(j).map_or(0, |pivot| pivot.divide(left));
            }
        }
    }
    let mut solution = [0_i64; N];
    for i in (0..N).rev() {
        let entry = |row: usize, column: usize| matrix.get(row_at(row) + column).copied().unwrap_or(0);
        // Q44.
        let mut left = entry(N, i) >> 16;
        for k in i + 1..N {
            left -= part(entry(k, i), solution.get(k).copied().unwrap_or(0));
        }
        let pivot = pivots.get(i).copied().unwrap_or_default();
        if let Some(x) = solution.get_mut(i) {
            let most = (1 << 58) >> (pivot.up + 1);
            *x = part(pivot.inverse, left.within(-ONE, ONE)).within(-most, most) << (pivot.up + 1);
        }
    }
    for (x, &size) in solution.iter_mut().zip(&size) {
        *x = scaled(*x, of_side as i32 - size as i32 - 14).within(-(1 << 32), 1 << 32);
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
    use copperhold::plant::rng::Pcg;

    /// Rows of a random design with widely different columns: the solution is that of the same sums in floats, by Gauss's elimination.
    #[test]
    fn a_solution_is_that_of_elimination_in_floats() {
        const N: usize = 6;
        let mut pcg = Pcg::new(12_345, 0);
        let mut next = || i64::from(pcg.next_u32() % 2_001) - 1_000;
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
        let mut pcg = Pcg::new(99, 0);
        for _ in 0..20_000 {
            let mut sums = [0_i64; row_at(5)];
            for entry in &mut sums {
                let bits = i64::from(pcg.next_u32()) << 32 | i64::from(pcg.next_u32());
                *entry = bits >> (pcg.next_u32() % 64);
            }
            for x in solve::<4>(&mut sums) {
                assert!((-(1 << 32)..=1 << 32).contains(&x), "{x}");
            }
        }
    }
}
