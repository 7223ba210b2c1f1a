//! What responses are usual: how the delays of kettles spread about their lag.
//!
//! A heater's sheath, mixing and a thermometer are lags of first order, a pipe is a delay; each may be any part of the whole (the ensemble of the
//! tests). Over that ensemble the parts of a response that fall to each place of a grid that grows with the lag have a mean and a covariance: the
//! prior of a response whose lag is about known. As every response adds up to its climb, which counts as known to a factor of two, that covariance times
//! one everywhere is the mean: the prior pulls at every place alike, by one.

use super::solve::row_at;

/// Places, in thousandths of the lag.
pub const PLACES: [i32; COUNT] = [40, 100, 180, 280, 400, 540, 700, 880, 1_100, 1_360, 1_700, 2_150, 2_800, 3_800];
/// How many.
pub const COUNT: usize = 14;

/// Firmness of the usual, the inverse of the covariance, in sixteenths: its lower triangle, row by row.
pub const FIRMNESS: [i32; row_at(COUNT)] = [
    13620927, -2928012, 5842587, 231521, -2311992, 1802807, 32036, 589046, -751410, 503539, -14296, -146897, 241095, -221872,
    147173, 4613, 46099, -80753, 87321, -76921, 61040, -1618, -16309, 28830, -33184, 34948, -38802, 40075, 736, 6061, -10909,
    12463, -14103, 19069, -29196, 40325, 1308, -1571, 6661, -7186, 5940, -9008, 18387, -40614, 99705, -2672, -3395, -8884, 4305,
    152, 5914, -12956, 24356, -157784, 441709, -9413, -287, 844, 9374, -1928, -3715, -897, -6979, 98668, -486754, 1057161, 18593,
    18904, 35566, -13575, -7688, -4807, 10429, 636, 46770, 75919, -1054425, 2530308, 40925, -10627, -21198, -38214, 8761, 4631,
    1138, 676, -92801, 295257, 227817, -2610314, 5346338, -150236, -106216, -154317, 31562, 4666, 1418, -9951, -2089, 6290,
    -157999, 387336, 690165, -4011983, 5916560,
];
/// Mean part of a response at each place, Q30.
pub const MEAN: [i32; COUNT] = [
    141549, 1176850, 5892566, 21694058, 63638830, 134136217, 191653988, 206863637, 177437765, 128973468, 81054960, 41286902,
    15652699, 4125283,
];

#[cfg(test)]
mod tests {
    use super::*;

    /// A generator of the usual linear kind (Knuth, The Art of Computer Programming, 3.3.4, his own multiplier).
    fn draws() -> impl FnMut() -> f64 {
        let mut state = 12_345_u64;
        move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        }
    }

    /// Parts of one response at each place: three lags and a delay whose sum is about the lag, the sheath's share drawn to half the others'.
    fn parts_of(mut draw: impl FnMut() -> f64) -> [f64; COUNT] {
        const LAG: f64 = 150.0;
        let lag = LAG * (0.15 * (2.0 * draw() - 1.0)).exp();
        let weights = [0.5 * draw(), draw(), draw(), draw()];
        let all: f64 = weights.iter().sum();
        let [sheath, mixing, delay, probe] = weights.map(|weight| weight / all * lag);
        let mut response = [0.0; 1_000];
        let whole = delay as usize;
        response[whole] = 1.0 - delay.fract();
        response[whole + 1] = delay.fract();
        for tau in [sheath, mixing, probe] {
            let mut heard = 0.0;
            for value in &mut response {
                heard += (*value - heard) / (tau + 1.0);
                *value = heard;
            }
        }
        let mut parts = [0.0; COUNT];
        for (at, value) in response.iter().enumerate() {
            let at = at as f64 / LAG * 1_000.0;
            let place = |i: usize| f64::from(PLACES[i]);
            match (0..COUNT).find(|&i| place(i) >= at) {
                Some(0) => parts[0] += value,
                None => parts[COUNT - 1] += value,
                Some(above) => {
                    let share = (at - place(above - 1)) / (place(above) - place(above - 1));
                    parts[above] += share * value;
                    parts[above - 1] += (1.0 - share) * value;
                }
            }
        }
        parts
    }

    fn inverse(mut m: [[f64; COUNT]; COUNT]) -> [[f64; COUNT]; COUNT] {
        let mut inverse: [[f64; COUNT]; COUNT] = core::array::from_fn(|i| core::array::from_fn(|j| f64::from(u8::from(i == j))));
        for i in 0..COUNT {
            let pivot = m[i][i];
            for j in 0..COUNT {
                m[i][j] /= pivot;
                inverse[i][j] /= pivot;
            }
            for row in (0..COUNT).filter(|&row| row != i) {
                let factor = m[row][i];
                for j in 0..COUNT {
                    m[row][j] -= factor * m[i][j];
                    inverse[row][j] -= factor * inverse[i][j];
                }
            }
        }
        inverse
    }

    #[test]
    fn the_tables_are_those_of_the_ensemble() {
        const RESPONSES: usize = 4_000;
        let mut draw = draws();
        let (mut mean, mut second) = ([0.0; COUNT], [[0.0; COUNT]; COUNT]);
        for _ in 0..RESPONSES {
            let parts = parts_of(&mut draw);
            for i in 0..COUNT {
                mean[i] += parts[i] / RESPONSES as f64;
                for j in 0..COUNT {
                    second[i][j] += parts[i] * parts[j] / RESPONSES as f64;
                }
            }
        }
        // A climb known to a factor of two: the covariance with it is the second moment. A little more on the diagonal for what the grid does
        // not resolve.
        for (i, row) in second.iter_mut().enumerate() {
            row[i] += 1e-6 + 1e-3 * row[i];
        }
        let firm = inverse(second);
        for i in 0..COUNT {
            for j in 0..=i {
                let (ours, theirs) = (f64::from(FIRMNESS[row_at(i) + j]), 16.0 * firm[i][j]);
                assert!((ours - theirs).abs() <= 2.0 + 1e-6 * theirs.abs(), "FIRMNESS at {i}, {j}: {ours}, {theirs:.0}");
            }
            let pull: f64 = (0..COUNT).map(|j| firm[i][j] * mean[j]).sum();
            assert!(mean[i] < 0.002 || (pull - 1.0).abs() < 0.15, "the pull at {i} is {pull}");
            let part = mean[i] * f64::from(1 << 30);
            assert!((f64::from(MEAN[i]) - part).abs() <= 64.0, "MEAN at {i}: {}, {part:.0}", MEAN[i]);
        }
    }
}
