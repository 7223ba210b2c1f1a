//! Products and quotients at the corners of their ranges, and memory copied, moved and filled: the microcontroller has routines of its own
//! for them.

use core::hint::black_box;

/// Halves of the numbers that are put together.
const HALVES: [u32; 11] = [0, 1, 2, 3, 0x7FFF, 0x8000, 0xFFFF, 0x0001_0000, 0x7FFF_FFFF, 0x8000_0000, 0xFFFF_FFFF];

/// A hash (FNV-1a) of product, quotient and remainder of every pair, of 64 and 32 bits, with and without sign; what would be divided by zero,
/// or does not fit, counts as zero.
pub fn corners() -> u64 {
    let numbers = || HALVES.iter().flat_map(|&high| HALVES.iter().map(move |&low| u64::from(high) << 32 | u64::from(low)));
    let mut hash: u64 = 0xCBF2_9CE4_8422_2325;
    let mut take = |word: u64| {
        for byte in word.to_le_bytes() {
            hash = (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01B3);
        }
    };
    for a in numbers() {
        for b in numbers() {
            let (a, b) = (black_box(a), black_box(b));
            take(a.wrapping_mul(b));
            take(a.checked_div(b).unwrap_or(0));
            take(a.checked_rem(b).unwrap_or(0));
            let (a, b) = (a as i64, b as i64);
            take(a.checked_div(b).unwrap_or(0) as u64);
            take(a.checked_rem(b).unwrap_or(0) as u64);
        }
    }
    // Numbers of every width (xorshift, Marsaglia 2003).
    let mut state = 0x9E37_79B9_7F4A_7C15_u64;
    for _ in 0..4_000 {
        let mut next = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            state
        };
        let (a, b, widths) = (next(), next(), next());
        let (a, b) = (black_box(a >> (widths & 63)), black_box(b >> (widths >> 6 & 63)));
        take(a.checked_div(b).unwrap_or(0));
        take(a.checked_rem(b).unwrap_or(0));
        take((a as i64).wrapping_neg().checked_div(b as i64).unwrap_or(0) as u64);
    }
    for &a in &HALVES {
        for &b in &HALVES {
            let (a, b) = (black_box(a), black_box(b));
            take(u64::from(a.checked_div(b).unwrap_or(0)) << 32 | u64::from(a.checked_rem(b).unwrap_or(0)));
            let (a, b) = (a as i32, b as i32);
            take(a.checked_div(b).unwrap_or(0) as u64);
            take(a.checked_rem(b).unwrap_or(0) as u64);
        }
    }
    for length in 0..40 {
        for from in 0..5 {
            for to in 0..5 {
                let room = copies(length, from, to);
                room.chunks_exact(8).for_each(|eight| take(eight.iter().fold(0, |word, &byte| word << 8 | u64::from(byte))));
            }
        }
    }
    hash
}

/// Bytes copied from one room to another, moved within it down and up, and filled, from and to any alignment.
fn copies(length: usize, from: usize, to: usize) -> [u8; 256] {
    let mut source = [0_u8; 64];
    source.iter_mut().zip(1..).for_each(|(byte, number)| *byte = number);
    let mut room = [0; 256];
    let (length, from, to) = (black_box(length), black_box(from), black_box(to));
    let mut copy = |at: usize| {
        if let (Some(place), Some(bytes)) = (room.get_mut(at + to..at + to + length), source.get(from..from + length)) {
            place.copy_from_slice(bytes);
        }
    };
    copy(0);
    copy(64);
    copy(128);
    // Down by 3 to 8, and up by 1 to 8: they overlap.
    room.copy_within(64 + to..64 + to + length, 61 - from);
    room.copy_within(128 + to..128 + to + length, 129 + to + from);
    if let Some(place) = room.get_mut(192 + from..192 + from + length) {
        place.fill(black_box(0xA5));
    }
    if let Some(place) = room.get_mut(240 + from..240 + from + length / 4) {
        place.fill(0);
    }
    room
}
