//! Times of day, and when to begin.

use std::fmt;

/// Seconds of a day.
const DAY_S: i64 = 86_400;

/// A moment, counted in seconds from midnight of the day of brewing; before it on the day before, beyond it on the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Clock(i64);

/// Why a text is no time of day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoTimeOfDay(String);

impl fmt::Display for NoTimeOfDay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?} is no time of day: write it as 14:00, 9:30 or 2:30 pm", self.0)
    }
}

impl std::error::Error for NoTimeOfDay {}

impl Clock {
    /// The moment so many seconds after this one (before it, if negative), to the nearest second. Saturates.
    pub fn plus(self, seconds: f64) -> Clock {
        Clock(self.0.saturating_add(seconds.round() as i64))
    }

    /// Seconds from another moment to this one.
    pub fn since(self, other: Clock) -> f64 {
        self.0.saturating_sub(other.0) as f64
    }

    /// When to begin so that something that comes `after_s` into the day comes at this moment, rounded down to five minutes: a little early
    /// is never late.
    pub fn begin_for(self, after_s: f64) -> Clock {
        let exact = self.plus(-after_s).0;
        Clock(exact.div_euclid(300) * 300)
    }
}

impl std::str::FromStr for Clock {
    type Err = NoTimeOfDay;

    /// `14:00`, `9:30`, `9:30 am`, `2:30 pm`, `12:00 am` (midnight).
    fn from_str(text: &str) -> Result<Clock, NoTimeOfDay> {
        parse(text).ok_or_else(|| NoTimeOfDay(text.to_owned()))
    }
}

fn parse(text: &str) -> Option<Clock> {
    let lower = text.trim().to_ascii_lowercase();
    let (time, half) = match (lower.strip_suffix("am"), lower.strip_suffix("pm")) {
        (Some(time), _) => (time.trim_end(), Some(0)),
        (_, Some(time)) => (time.trim_end(), Some(12)),
        (None, None) => (lower.as_str(), None),
    };
    let (hours, minutes) = time.split_once(':')?;
    let number = |digits: &str, most: usize| {
        let plain = (1..=most).contains(&digits.len()) && digits.bytes().all(|b| b.is_ascii_digit());
        if plain { digits.parse::<i64>().ok() } else { None }
    };
    let (hours, minutes) = (number(hours, 2)?, number(minutes, 2).filter(|_| minutes.len() == 2)?);
    let hours = match half {
        Some(half) if (1..=12).contains(&hours) => hours % 12 + half,
        Some(_) => return None,
        None => hours,
    };
    (hours < 24 && minutes < 60).then_some(Clock(hours * 3600 + minutes * 60))
}

impl fmt::Display for Clock {
    /// `14:05`, with a word for a day before or after.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let minutes = self.0.rem_euclid(DAY_S) / 60;
        write!(f, "{:02}:{:02}", minutes / 60, minutes % 60)?;
        match self.0.div_euclid(DAY_S) {
            0 => Ok(()),
            -1 => f.write_str(" the day before"),
            1 => f.write_str(" the next day"),
            days if days < 0 => write!(f, " {} days before", -days),
            days => write!(f, " {days} days later"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_both_ways_of_telling_time_and_nothing_else() {
        for (text, shown) in
            [("14:00", "14:00"), ("9:30", "09:30"), (" 2:30 PM", "14:30"), ("12:00 am", "00:00"), ("12:15pm", "12:15")]
        {
            assert_eq!(text.parse::<Clock>().unwrap().to_string(), shown);
        }
        for text in ["", "14", "24:00", "12:60", "13:00 pm", "0:30 am", "-1:30", "1:5", "+1:05", "noon", "14:00:00", "é:00"] {
            let error = text.parse::<Clock>().unwrap_err();
            assert!(error.to_string().contains("write it as 14:00"), "{text}");
        }
    }

    #[test]
    fn a_boil_after_lunch_begins_in_the_morning_and_one_at_dawn_the_day_before() {
        let boil: Clock = "14:00".parse().unwrap();
        // 3 h 47 min before 14:00 is 10:13.
        assert_eq!(boil.begin_for(13_620.0).to_string(), "10:10");
        let dawn: Clock = "2:00".parse().unwrap();
        assert_eq!(dawn.begin_for(13_620.0).to_string(), "22:10 the day before");
        assert_eq!(boil.plus(11.0 * 3600.0).to_string(), "01:00 the next day");
        assert_eq!(boil.since(dawn), 43_200.0);
    }
}
