//! 64-bit products that saturate, at the price of two 32-bit ones.
//!
//! The standard library's checked product of 64-bit numbers costs a 32-bit processor three hundred cycles and as many bytes wherever it is
//! used. These give the same result from halves: one product if both factors fit 32 bits, two if one does, none if neither does.

/// A product that saturates at the type's range, exactly as `saturating_mul`.
pub trait Product<By = Self> {
    /// Product, saturating.
    #[must_use]
    fn product(self, by: By) -> Self;
}

impl Product for u64 {
    fn product(self, by: u64) -> u64 {
        product_u64(self, by)
    }
}

impl Product for i64 {
    fn product(self, by: i64) -> i64 {
        product_i64(self, by)
    }
}

impl Product<i32> for i64 {
    #[cfg_attr(target_arch = "arm", inline(never))]
    fn product(self, by: i32) -> i64 {
        let narrow = self as i32;
        if i64::from(narrow) == self { i64::from(narrow) * i64::from(by) } else { long_product(self, i64::from(by)) }
    }
}

/// See [`Product`].
pub const fn product_u64(a: u64, b: u64) -> u64 {
    match magnitude(a, b) {
        Some(size) => size,
        None => u64::MAX,
    }
}

/// See [`Product`].
pub const fn product_i64(a: i64, b: i64) -> i64 {
    if a as i32 as i64 == a && b as i32 as i64 == b {
        return a * b;
    }
    long_product(a, b)
}

/// Apart, so that the usual case need not save what only this one uses.
#[inline(never)]
const fn long_product(a: i64, b: i64) -> i64 {
    let negative = (a < 0) != (b < 0);
    let size = match magnitude(a.unsigned_abs(), b.unsigned_abs()) {
        Some(size) => size,
        None => u64::MAX,
    };
    if size > i64::MAX as u64 {
        // The one greater size that is in range is the least number's, and this is that number.
        return if negative { i64::MIN } else { i64::MAX };
    }
    if negative { -(size as i64) } else { size as i64 }
}

/// The product, if 64 bits hold it.
#[inline(always)]
const fn magnitude(a: u64, b: u64) -> Option<u64> {
    let (a_high, b_high) = ((a >> 32) as u32, (b >> 32) as u32);
    let (a_low, b_low) = (a as u32, b as u32);
    let low = a_low as u64 * b_low as u64;
    let cross = match (a_high, b_high) {
        (0, 0) => return Some(low),
        (high, 0) => high as u64 * b_low as u64,
        (0, high) => a_low as u64 * high as u64,
        (_, _) => return None,
    };
    if cross >> 32 != 0 { None } else { low.checked_add(cross << 32) }
}

/// Sums that saturate at the type's range, exactly as `saturating_add` and `saturating_sub`, which take thirty bytes of a Cortex-M0+ wherever they
/// stand: there, and only there, they are calls.
pub trait Sum {
    /// Sum, saturating.
    #[must_use]
    fn plus(self, by: Self) -> Self;
    /// Difference, saturating.
    #[must_use]
    fn minus(self, by: Self) -> Self;
}

impl Sum for i64 {
    #[cfg_attr(target_arch = "arm", inline(never))]
    fn plus(self, by: i64) -> i64 {
        self.saturating_add(by)
    }

    #[cfg_attr(target_arch = "arm", inline(never))]
    fn minus(self, by: i64) -> i64 {
        self.saturating_sub(by)
    }
}

impl Sum for u64 {
    #[cfg_attr(target_arch = "arm", inline(never))]
    fn plus(self, by: u64) -> u64 {
        self.saturating_add(by)
    }

    #[cfg_attr(target_arch = "arm", inline(never))]
    fn minus(self, by: u64) -> u64 {
        self.saturating_sub(by)
    }
}

/// Bounds of a 64-bit number, exactly as `min`, `max` and `clamp`. A divisor keeps those: a call hides from the compiler that it is not zero.
pub trait Bound {
    /// The smaller.
    #[must_use]
    fn at_most(self, most: Self) -> Self;
    /// The greater.
    #[must_use]
    fn at_least(self, least: Self) -> Self;
    /// Within two bounds.
    #[must_use]
    fn within(self, least: Self, most: Self) -> Self;
    /// Size, saturating.
    #[must_use]
    fn size(self) -> Self;
}

impl Bound for i64 {
    #[cfg_attr(target_arch = "arm", inline(never))]
    fn at_most(self, most: i64) -> i64 {
        self.min(most)
    }

    #[cfg_attr(target_arch = "arm", inline(never))]
    fn at_least(self, least: i64) -> i64 {
        self.max(least)
    }

    #[cfg_attr(target_arch = "arm", inline(never))]
    fn within(self, least: i64, most: i64) -> i64 {
        self.max(least).min(most)
    }

    #[cfg_attr(target_arch = "arm", inline(never))]
    fn size(self) -> i64 {
        self.saturating_abs()
    }
}

/// The whole part of the square root, digit by digit: 32 rounds of shift and compare, no division.
#[inline(never)]
pub const fn square_root(value: u64) -> u32 {
    let mut rest = value;
    let mut root: u64 = 0;
    // The highest power of four that may be in it; one for zero.
    let mut bit: u64 = 1 << ((value | 1).ilog2() & !1);
    while bit != 0 {
        let trial = root | bit;
        root >>= 1;
        if rest >= trial {
            rest -= trial;
            root |= bit;
        }
        bit >>= 2;
    }
    // A root of 64 bits has at most 32.
    root as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn products_are_those_of_the_standard_library() {
        let halves = [0, 1, 2, 3, 0x7FFF, 0x8000, 0xFFFF, 0x1_0000, 0x7FFF_FFFF, 0x8000_0000, 0xFFFF_FFFE, 0xFFFF_FFFF];
        let words: heapless::Vec<u64, 256> =
            halves.iter().flat_map(|high| halves.iter().map(move |low| high << 32 | low)).collect();
        assert_eq!(words.len(), 144);
        for &a in &words {
            for &b in &words {
                assert_eq!(a.product(b), a.saturating_mul(b), "{a:#x} {b:#x}");
                let (a, b) = (a as i64, b as i64);
                assert_eq!(a.product(b), a.saturating_mul(b), "{a:#x} {b:#x}");
            }
        }
    }

    #[test]
    fn sums_and_bounds_are_those_of_the_standard_library() {
        let words = [i64::MIN, i64::MIN + 1, -(1 << 32), -2, -1, 0, 1, 2, 1 << 31, 1 << 32, i64::MAX - 1, i64::MAX];
        for a in words {
            assert_eq!(a.size(), a.saturating_abs(), "{a}");
            for b in words {
                assert_eq!((a.plus(b), a.minus(b)), (a.saturating_add(b), a.saturating_sub(b)), "{a} {b}");
                assert_eq!((a.at_most(b), a.at_least(b)), (a.min(b), a.max(b)), "{a} {b}");
                let (u, v) = (a as u64, b as u64);
                assert_eq!((u.plus(v), u.minus(v)), (u.saturating_add(v), u.saturating_sub(v)), "{u} {v}");
                let narrow = b as i32;
                assert_eq!(a.product(narrow), a.saturating_mul(i64::from(narrow)), "{a} {narrow}");
                for c in words.into_iter().filter(|&c| b <= c) {
                    assert_eq!(a.within(b, c), a.clamp(b, c), "{a} {b} {c}");
                }
            }
        }
    }

    #[test]
    fn products_of_every_width_are_those_of_the_standard_library() {
        let mut state = 0x9E37_79B9_7F4A_7C15_u64;
        let mut next = || {
            // Xorshift of 64 bits (Marsaglia 2003).
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            state
        };
        for _ in 0..200_000 {
            let (a, b, widths) = (next(), next(), next());
            let (a, b) = (a >> (widths & 63), b >> (widths >> 6 & 63));
            assert_eq!(a.product(b), a.saturating_mul(b));
            let (a, b) = (if widths >> 12 & 1 == 1 { a as i64 } else { (a as i64).wrapping_neg() }, b as i64);
            assert_eq!(a.product(b), a.saturating_mul(b));
        }
    }

    #[test]
    fn square_root_is_the_whole_part_at_the_extremes() {
        for (value, root) in [(0, 0), (1, 1), (3, 1), (4, 2), (u64::MAX, u32::MAX)] {
            assert_eq!(square_root(value), root);
        }
        for n in (0..u64::from(u32::MAX)).step_by(999_983) {
            assert_eq!(u64::from(square_root(n * n)), n);
            assert_eq!(u64::from(square_root(n * n + 2 * n)), n);
        }
    }
}
