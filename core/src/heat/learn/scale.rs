//! Factors of any size, in fixed point.

use crate::wide::Bound;

/// A factor: a Q30 from a quarter to one, times two to a power.
#[derive(Debug, Clone, Copy)]
pub struct Scale {
    part: i64,
    up: i32,
}

impl Scale {
    /// From a positive Q30.
    pub fn of(factor: i64) -> Scale {
        let up = 34 - factor.leading_zeros() as i32;
        Scale { part: if up > 0 { factor >> up } else { factor << -up }, up }
    }

    /// Both.
    pub fn and(self, other: Scale) -> Scale {
        Scale { part: times(self.part, other.part), up: self.up + other.up }
    }

    /// A product, bounded to 2^58.
    pub fn times(self, value: i64) -> i64 {
        const MOST: i64 = 1 << 58;
        let value = times(self.part, value);
        match self.up {
            up @ 1.. => value.within(-MOST >> up.min(63), MOST >> up.min(63)) << up.min(63),
            down => value >> down.unsigned_abs().min(63),
        }
    }
}

/// Product with a Q30 ratio up to 2^33.
#[inline(never)]
pub fn times(ratio: i64, value: i64) -> i64 {
    ratio * (value >> 30) + ((ratio * (value & ((1 << 30) - 1))) >> 30)
}
