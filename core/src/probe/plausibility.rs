//! The filter between a probe and the controller: what a liquid could not have done is not believed.
//!
//! Once per control tick each probe's [`Reading`] goes through its own [`Plausibility`]. Terms:
//!
//! - *accepted*: within reach of the last output at the greatest rate a liquid and its probe can show.
//! - *jump*: a sample out of reach. A jump is not believed until samples near it have followed for [`Limits::believe_after`].
//! - *output*: the median of the last three accepted samples, so a spike too small to be a jump does not pass either. Of two samples it is
//!   the older, of one that one: a ramp is seen one sample late, 0.25 s at four samples a second.
//! - *held*: while a sample is faulty or a jump, the last output stands in, for at most [`Limits::hold_for`] after the last accepted sample.
//!   Then the fault shows. No other value is ever put in its place.
//!
//! The very first sample is accepted at once, so that control can start; there is nothing yet to compare it with.
//! Three jumps within [`JUMP_WINDOW`] are a fault by themselves, even if each would have been bridged: a loose plug is on its way to worse.
//!
//! Not its job: a probe frozen at a believable value. Only the energy put in can tell that, and the guard knows it.
//!
//! Each call compares, adds and multiplies a fixed number of times; it does not divide.

use super::{ProbeFault, Reading};
use crate::units::{Celsius, Instant, Kelvin, Slope, Span};
use crate::wide::Product;
use fixed::types::I16F16;

/// Three jumps within this time are a fault: 60 s. Isolated glitches come minutes apart; a failing contact makes them in bursts.
pub const JUMP_WINDOW: Span = Span::from_secs(60);

/// The thresholds of one filter, checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Limits {
    max_rate: Slope,
    margin: Kelvin,
    hold_for: Span,
    believe_after: Span,
    max_age: Span,
    /// `max_rate` in 2^-48 K per microsecond: the only division, made once.
    reach_per_us: u64,
}

/// Which threshold was out of its range.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LimitError {
    /// The greatest rate must be 0.5 to 50 K/s.
    MaxRate,
    /// The margin must be 0.05 to 5 K.
    Margin,
    /// The hold time must be 0 to 4 s: the guard trips on a probe that has been bad for 5 s.
    HoldFor,
    /// A jump must last longer than the hold time, and at most 60 s.
    BelieveAfter,
    /// The age limit must be 0.1 to 5 s.
    MaxAge,
}

impl Limits {
    /// For a probe sampled at every control tick (RTD, thermistor).
    ///
    /// | threshold | value | why |
    /// | --- | --- | --- |
    /// | greatest rate | 10 K/s | an element heats its vessel by less than 0.3 K/s, and a probe in a well (20 s) moved from ice to boiling water climbs 5 K/s; a bare one (5 s) climbs 20 K/s and is doubted until it lasts |
    /// | margin | 0.5 K | one step of the coarsest converter (one-wire at 9 bits) and several times the noise of the others |
    /// | hold | 1 s | three lost samples; at full power the liquid moves less than 0.3 K in that time |
    /// | belief | 2 s | longer than the hold, so a jump always shows as a fault with the heat off before it is believed |
    /// | age | 1 s | four control ticks: as the hold |
    pub const EVERY_TICK: Limits = Limits::unchecked(
        Slope::from_micro(10_000_000),
        Kelvin::from_milli(500),
        Span::from_millis(1_000),
        Span::from_millis(2_000),
        Span::from_millis(1_000),
    );

    /// For a one-wire thermometer at 12 bits, which converts in 0.75 s: as [`Limits::EVERY_TICK`], with a hold and an age limit of 2 s, so that one lost conversion is bridged,
    /// and belief after 3 s.
    pub const ONE_WIRE: Limits = Limits::unchecked(
        Slope::from_micro(10_000_000),
        Kelvin::from_milli(500),
        Span::from_millis(2_000),
        Span::from_millis(3_000),
        Span::from_millis(2_000),
    );

    /// Thresholds of one's own.
    ///
    /// # Errors
    /// The first threshold, in the order of the arguments, that is outside the range given at [`LimitError`].
    pub fn new(max_rate: Slope, margin: Kelvin, hold_for: Span, believe_after: Span, max_age: Span) -> Result<Limits, LimitError> {
        if !(500_000..=50_000_000).contains(&max_rate.micro()) {
            return Err(LimitError::MaxRate);
        }
        if !(50..=5_000).contains(&margin.milli()) {
            return Err(LimitError::Margin);
        }
        if hold_for > Span::from_secs(4) {
            return Err(LimitError::HoldFor);
        }
        if believe_after <= hold_for || believe_after > Span::from_secs(60) {
            return Err(LimitError::BelieveAfter);
        }
        if max_age < Span::from_millis(100) || max_age > Span::from_secs(5) {
            return Err(LimitError::MaxAge);
        }
        Ok(Limits::unchecked(max_rate, margin, hold_for, believe_after, max_age))
    }

    const fn unchecked(max_rate: Slope, margin: Kelvin, hold_for: Span, believe_after: Span, max_age: Span) -> Limits {
        // 2^-24 K/s to 2^-48 K/us: at most 50 * 2^48 / 10^6, 34 bits.
        let bits = max_rate.fixed().to_bits().unsigned_abs() as u64;
        Limits { max_rate, margin, hold_for, believe_after, max_age, reach_per_us: (bits << 24) / 1_000_000 }
    }

    /// The greatest believable rate, either way.
    pub const fn max_rate(&self) -> Slope {
        self.max_rate
    }

    /// What two samples may differ by however close in time.
    pub const fn margin(&self) -> Kelvin {
        self.margin
    }

    /// How long the last output stands in after the last accepted sample.
    pub const fn hold_for(&self) -> Span {
        self.hold_for
    }

    /// How long a jump must last to be believed.
    pub const fn believe_after(&self) -> Span {
        self.believe_after
    }

    /// The oldest sample that is used.
    pub const fn max_age(&self) -> Span {
        self.max_age
    }

    /// How far apart two samples may be that were taken `apart`, rounded down. After the hold time it grows no more: what was known is too old.
    fn reach(&self, apart: Span) -> Kelvin {
        // At most 34 bits times 22 bits.
        let us = apart.min(self.hold_for).as_micros();
        let bits = self.reach_per_us.product(us) >> 32;
        let by_rate = Kelvin::from_fixed(I16F16::from_bits(i32::try_from(bits).unwrap_or(i32::MAX)));
        self.margin.plus(by_rate)
    }
}

impl Default for Limits {
    fn default() -> Self {
        Limits::EVERY_TICK
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Sample {
    celsius: Celsius,
    taken_at: Instant,
}

/// A jump that has not been believed yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Jump {
    since: Instant,
    latest: Sample,
}

/// The filter of one probe.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plausibility {
    limits: Limits,
    /// The last call, to notice a clock that runs backwards.
    called_at: Option<Instant>,
    /// The newest sample seen, believed or not: the same one again is no news.
    taken_at: Option<Instant>,
    /// Accepted samples, newest first.
    accepted: [Option<Sample>; 3],
    /// The last output; kept through faults as what a new sample is compared with.
    output: Option<Sample>,
    /// What the newest sample or fault was, if not accepted.
    doubt: Option<ProbeFault>,
    jump: Option<Jump>,
    /// When the last three jumps began, newest first.
    jumps_at: [Option<Instant>; 3],
}

impl Plausibility {
    /// A filter that has seen nothing: its answer is [`ProbeFault::NotReady`] until the first sample.
    pub const fn new(limits: Limits) -> Plausibility {
        Plausibility {
            limits,
            called_at: None,
            taken_at: None,
            accepted: [None; 3],
            output: None,
            doubt: Some(ProbeFault::NotReady),
            jump: None,
            jumps_at: [None; 3],
        }
    }

    /// The thresholds in force.
    pub const fn limits(&self) -> &Limits {
        &self.limits
    }

    /// Filters a sample taken now. See [`Plausibility::check_taken`].
    ///
    /// # Errors
    /// As [`Plausibility::check_taken`].
    pub fn check(&mut self, now: Instant, reading: Reading) -> Reading {
        self.check_taken(now, now, reading)
    }

    /// Filters a sample that was taken at `taken_at`; for a probe slower than the control tick, which hands over the same sample more than
    /// once. A sample with the time of the one before it is not counted again.
    ///
    /// # Errors
    /// The probe's own fault once the hold time is over; `NotReady` before the first sample; `Stale` for a sample older than the age limit,
    /// from the future, or out of order, once the hold time is over, and at once if `now` is before the last call; `Implausible` for a
    /// jump that lasts beyond the hold time, and at once while three jumps lie within [`JUMP_WINDOW`].
    pub fn check_taken(&mut self, now: Instant, taken_at: Instant, reading: Reading) -> Reading {
        if self.called_at.is_some_and(|before| now < before) {
            self.clock_ran_backwards(now);
            return Err(ProbeFault::Stale);
        }
        self.called_at = Some(now);
        match self.fresh(now, taken_at, reading) {
            Ok(Some(sample)) => self.weigh(sample),
            Ok(None) => {}
            Err(fault) => {
                self.jump = None;
                self.doubt = Some(fault);
            }
        }
        self.answer(now)
    }

    /// The sample if it is new, nothing if it is the one before, and a fault if there is none or its time is not right.
    fn fresh(&self, now: Instant, taken_at: Instant, reading: Reading) -> Result<Option<Sample>, ProbeFault> {
        let celsius = reading?;
        match now.since(taken_at) {
            Some(age) if age <= self.limits.max_age => {}
            Some(_) | None => return Err(ProbeFault::Stale),
        }
        match self.taken_at {
            Some(before) if taken_at < before => Err(ProbeFault::Stale),
            Some(before) if taken_at == before => Ok(None),
            Some(_) | None => Ok(Some(Sample { celsius, taken_at })),
        }
    }

    /// Accepts a new sample, believes a lasting jump, or doubts.
    fn weigh(&mut self, sample: Sample) {
        self.taken_at = Some(sample.taken_at);
        let near = |known: Sample| {
            let apart = sample.taken_at.since(known.taken_at);
            apart.is_some_and(|apart| sample.celsius.above(known.celsius).abs() <= self.limits.reach(apart))
        };
        if self.output.is_none_or(near) {
            self.accept(sample);
            return;
        }
        let since = match self.jump {
            Some(jump) if near(jump.latest) => jump.since,
            Some(_) | None => {
                let [newest, middle, _] = self.jumps_at;
                self.jumps_at = [Some(sample.taken_at), newest, middle];
                sample.taken_at
            }
        };
        if sample.taken_at.since(since).is_some_and(|lasted| lasted >= self.limits.believe_after) {
            self.accepted = [None; 3];
            self.accept(sample);
        } else {
            self.jump = Some(Jump { since, latest: sample });
            self.doubt = Some(ProbeFault::Implausible);
        }
    }

    fn accept(&mut self, sample: Sample) {
        self.jump = None;
        self.doubt = None;
        // What was accepted before a gap says nothing about now.
        let recent = |known: Option<Sample>| known.filter(|known| self.is_held(sample.taken_at, *known));
        let [newest, middle, _] = self.accepted;
        self.accepted = [Some(sample), recent(newest), recent(middle)];
        self.output = Some(match self.accepted {
            [Some(a), Some(b), Some(c)] => median(a, b, c),
            [_, Some(older), _] => older,
            [_, None, _] => sample,
        });
    }

    /// Whether a sample is young enough at `now` to stand in.
    fn is_held(&self, now: Instant, sample: Sample) -> bool {
        now.since(sample.taken_at).is_some_and(|age| age <= self.limits.hold_for)
    }

    fn answer(&self, now: Instant) -> Reading {
        if self.is_unsettled(now) {
            return Err(ProbeFault::Implausible);
        }
        let [newest, _, _] = self.accepted;
        match (self.doubt, self.output, newest) {
            // Its age was checked when it was handed over.
            (None, Some(output), _) => Ok(output.celsius),
            (Some(_), Some(output), Some(newest)) if self.is_held(now, newest) => Ok(output.celsius),
            (Some(fault), _, _) => Err(fault),
            (None, None, _) => Err(ProbeFault::NotReady),
        }
    }

    /// Whether three jumps lie within the window that ends now.
    fn is_unsettled(&self, now: Instant) -> bool {
        let [_, _, third] = self.jumps_at;
        third.is_some_and(|at| now.since(at).is_none_or(|age| age <= JUMP_WINDOW))
    }

    /// No age can be told any more: nothing is held, and jumps count as if they had just been. The last output is kept to compare with.
    fn clock_ran_backwards(&mut self, now: Instant) {
        self.called_at = Some(now);
        self.taken_at = None;
        self.accepted = [None; 3];
        self.jump = None;
        self.doubt = Some(ProbeFault::Stale);
        self.jumps_at = self.jumps_at.map(|at| at.map(|_| now));
        self.output = self.output.map(|output| Sample { celsius: output.celsius, taken_at: now });
    }
}

/// The one of three that lies between the others.
fn median(a: Sample, b: Sample, c: Sample) -> Sample {
    let (low, high) = if a.celsius <= b.celsius { (a, b) } else { (b, a) };
    if c.celsius <= low.celsius {
        low
    } else if c.celsius >= high.celsius {
        high
    } else {
        c
    }
}

#[cfg(test)]
mod tests;
