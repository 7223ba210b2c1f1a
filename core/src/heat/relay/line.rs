//! A straight line through readings, by least squares, in sums of fixed size.

/// Sums of time (ms since the first reading) and level (2^-16 K from the first).
#[derive(Debug, Clone, Copy)]
pub struct Line {
    origin: Option<(i64, i64)>,
    until_us: i64,
    count: i128,
    time: i128,
    level: i128,
    time_time: i128,
    time_level: i128,
}

impl Line {
    /// No readings yet.
    pub const EMPTY: Line = Line { origin: None, until_us: 0, count: 0, time: 0, level: 0, time_time: 0, time_level: 0 };

    /// Takes a reading in: time in us, level in 2^-16 C.
    pub fn take(&mut self, at_us: i64, level: i64) {
        let (from_us, from) = *self.origin.get_or_insert((at_us, level));
        self.until_us = at_us;
        let time = i128::from(at_us.saturating_sub(from_us) / 1_000);
        let level = i128::from(level.saturating_sub(from));
        self.count = self.count.saturating_add(1);
        self.time = self.time.saturating_add(time);
        self.level = self.level.saturating_add(level);
        self.time_time = self.time_time.saturating_add(time.saturating_mul(time));
        self.time_level = self.time_level.saturating_add(time.saturating_mul(level));
    }

    /// Whether it has no readings.
    pub fn is_empty(&self) -> bool {
        self.origin.is_none()
    }

    /// Time of the first reading, us.
    pub fn begins_us(&self) -> Option<i64> {
        self.origin.map(|(at_us, _)| at_us)
    }

    /// Time from its first reading to its last, us.
    pub fn lasts_us(&self) -> Option<i64> {
        self.origin.map(|(from_us, _)| self.until_us.saturating_sub(from_us))
    }

    /// Its slope, 2^-24 K/s; `None` of less than two readings.
    pub fn slope(&self) -> Option<i128> {
        let over = self.count.saturating_mul(self.time_level).saturating_sub(self.time.saturating_mul(self.level));
        let under = self.count.saturating_mul(self.time_time).saturating_sub(self.time.saturating_mul(self.time));
        // 2^-16 K/ms, times 2^8 times 1e3.
        over.saturating_mul(1_000 << 8).checked_div(under)
    }

    /// Mean time (us) and level (2^-16 C).
    pub fn middle(&self) -> Option<(i64, i64)> {
        let (from_us, from) = self.origin?;
        let time_us = self.time.saturating_mul(1_000).checked_div(self.count)?;
        let level = self.level.checked_div(self.count)?;
        Some((from_us.saturating_add(i64::try_from(time_us).ok()?), from.saturating_add(i64::try_from(level).ok()?)))
    }

    /// The line's level (2^-16 C) at a time (us).
    pub fn at(&self, at_us: i64) -> Option<i64> {
        let (middle_us, middle) = self.middle()?;
        let moved = self.slope()?.saturating_mul(i128::from(at_us.saturating_sub(middle_us))) / (1_000_000 << 8);
        Some(middle.saturating_add(i64::try_from(moved).ok()?))
    }
}
