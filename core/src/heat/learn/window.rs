//! What a window has gathered: sums of products, and the reading's noise.

use super::past::NODES;
use super::solve::row_at;
use crate::wide::{Bound, Product};

/// The most steps a window may hold, so that no sum can overflow.
pub const LONGEST_WINDOW: i64 = 2_048;
/// Columns of the sums: what each node has heard, the loss beyond the usual, the start, the reading.
pub const LOSS: usize = NODES;
const START: usize = NODES + 1;
pub const READING: usize = NODES + 2;
pub const COLUMNS: usize = READING + 1;
/// One kelvin, Q12: the column of the start.
const KELVIN: i32 = 1 << 12;
/// Variance of the reading that is never believed to be less, 2^-24 K^2: (0.03 K)^2.
const FLOOR: i64 = 15_099;

/// One row of the sums.
pub type Row = [i32; COLUMNS];

/// What a window has gathered.
#[derive(Debug, Clone)]
pub struct Window {
    steps: i64,
    /// The highest reading, Q12 K over the first.
    highest: i64,
    /// Reading (Q32 K) and work of the first step, and its row, from which all are counted.
    first: Option<(i64, i64, Row)>,
    last: Row,
    /// Products of every two columns, summed: the lower triangle, row by row.
    sums: [i64; row_at(COLUMNS)],
}

impl Window {
    pub const EMPTY: Window = Window { steps: 0, highest: 0, first: None, last: [0; COLUMNS], sums: [0; row_at(COLUMNS)] };

    pub fn steps(&self) -> i64 {
        self.steps
    }

    /// The highest reading, Q12 K over the first.
    pub fn highest(&self) -> i64 {
        self.highest
    }

    pub fn last(&self) -> &Row {
        &self.last
    }

    /// Summed products of two columns.
    pub fn sum(&self, i: usize, j: usize) -> i64 {
        let (i, j) = if i < j { (j, i) } else { (i, j) };
        self.sums.get(row_at(i) + j).copied().unwrap_or(0)
    }

    /// Takes in a step: its reading (with the loss so far added back, Q32 K), the work so far (us), the unit of loss heard so far (Q16 K), and what
    /// has not been heard of the work. Returns the reading over the first, Q12 K.
    pub fn take(&mut self, reading: i64, work: i64, missed: i64, trails: &[i32; NODES]) -> i64 {
        let mut row = [0; COLUMNS];
        for (column, &trail) in row.iter_mut().zip(trails) {
            *column = trail;
        }
        row[LOSS] = i32::try_from(missed >> 4).unwrap_or(0);
        let (start, work_then, first) = *self.first.get_or_insert((reading, work, row));
        let worked = i32::try_from((work - work_then) >> 10).unwrap_or(0).clamp(0, 1 << 21);
        for (i, (column, first)) in row.iter_mut().zip(first).enumerate() {
            let since = first.wrapping_sub(*column);
            *column = if i < NODES { worked.wrapping_add(since) } else { since };
        }
        let y = ((reading - start) >> 20).within(-(1 << 20), 1 << 20);
        (row[START], row[READING]) = (KELVIN, y as i32);
        self.last = row;
        self.highest = self.highest.at_least(y);
        self.steps += 1;
        self.add_up();
        y
    }

    /// The last row goes into the sums.
    #[inline(never)]
    fn add_up(&mut self) {
        let mut sums = self.sums.iter_mut();
        for (i, &a) in self.last.iter().enumerate() {
            for (&b, sum) in self.last.iter().take(i + 1).zip(&mut sums) {
                *sum += i64::from(a) * i64::from(b);
            }
        }
    }
}

/// Variance of the reading about its course, from second differences, 2^-24 K^2.
#[derive(Debug, Clone, Copy)]
pub struct Noise {
    before: Option<(i64, i64)>,
    variance: i64,
}

impl Noise {
    pub const QUIET: Noise = Noise { before: None, variance: FLOOR };

    pub fn variance(&self) -> i64 {
        self.variance
    }

    /// A reading, Q12 K.
    pub fn see(&mut self, y: i64) {
        if let Some((last, last_but_one)) = self.before {
            let second = (y - 2 * last + last_but_one).within(-(1 << 16), 1 << 16);
            // A jump is not noise: one step moves the variance no more than to half as much again.
            let square = (second * second / 6).at_most(self.variance.product(16));
            self.variance = (self.variance + (square - self.variance) / 32).at_least(FLOOR);
        }
        self.before = Some((y, self.before.map_or(y, |(last, _)| last)));
    }
}
