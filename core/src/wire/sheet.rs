//! Sheets over the link, step by step, and in the device's flash. Every figure is checked on the way in.

use crate::sheet::{MAX_ADDITIONS, MAX_STEPS, Sheet, Step};
use crate::units::{Celsius, Duty, Litres, Span};
use heapless::Vec;
use serde::{Deserialize, Serialize};

/// One step, in plain figures: millilitres, thousandths of a degree, seconds, hundredths of a percent.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum StepMessage {
    /// [`Step::HeatStrike`].
    HeatStrike {
        /// Water in the tank, ml.
        fill_ml: i32,
        /// Strike temperature.
        to_milli_c: i32,
    },
    /// [`Step::DoughIn`].
    DoughIn {
        /// Strike water, ml.
        strike_ml: i32,
        /// Water to refill, ml.
        refill_ml: i32,
    },
    /// [`Step::Rest`].
    Rest {
        /// Mash temperature.
        at_milli_c: i32,
        /// How long.
        lasts_s: u32,
    },
    /// [`Step::MashOut`].
    MashOut {
        /// Mash temperature.
        at_milli_c: i32,
        /// How long.
        lasts_s: u32,
    },
    /// [`Step::Sparge`].
    Sparge {
        /// Sparge water, ml.
        water_ml: i32,
        /// Its temperature.
        at_milli_c: i32,
    },
    /// [`Step::BringToBoil`].
    BringToBoil,
    /// [`Step::Boil`].
    Boil {
        /// Share of full power, hundredths of a percent.
        duty: u16,
        /// How long.
        lasts_s: u32,
        /// Time left at each addition, longest first.
        additions_left_s: Vec<u32, MAX_ADDITIONS>,
    },
    /// [`Step::KnockOut`].
    KnockOut,
    /// [`Step::Whirlpool`].
    Whirlpool {
        /// How long.
        lasts_s: u32,
    },
    /// [`Step::Chill`].
    Chill {
        /// Temperature to reach.
        to_milli_c: i32,
    },
    /// [`Step::Sparge`] with the tank held.
    SpargeHeld {
        /// Sparge water, ml.
        water_ml: i32,
        /// Its temperature.
        at_milli_c: i32,
    },
}

/// A step whose figures are out of range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StepOutOfRange;

/// Longest timed step, s.
const LONGEST_S: u32 = 12 * 3600;

fn temperature(milli: i32) -> Result<Celsius, StepOutOfRange> {
    if (0..=110_000).contains(&milli) { Ok(Celsius::from_milli(milli)) } else { Err(StepOutOfRange) }
}

fn volume(ml: i32) -> Result<Litres, StepOutOfRange> {
    if (0..=1_000_000).contains(&ml) { Ok(Litres::from_millilitres(ml)) } else { Err(StepOutOfRange) }
}

fn time(seconds: u32) -> Result<Span, StepOutOfRange> {
    if seconds <= LONGEST_S { Ok(Span::from_secs(u64::from(seconds))) } else { Err(StepOutOfRange) }
}

impl TryFrom<&StepMessage> for Step {
    type Error = StepOutOfRange;

    fn try_from(message: &StepMessage) -> Result<Step, StepOutOfRange> {
        Ok(match message {
            StepMessage::HeatStrike { fill_ml, to_milli_c } => {
                Step::HeatStrike { fill: volume(*fill_ml)?, to: temperature(*to_milli_c)? }
            }
            StepMessage::DoughIn { strike_ml, refill_ml } => {
                Step::DoughIn { strike: volume(*strike_ml)?, refill: volume(*refill_ml)? }
            }
            StepMessage::Rest { at_milli_c, lasts_s } => Step::Rest { at: temperature(*at_milli_c)?, lasts: time(*lasts_s)? },
            StepMessage::MashOut { at_milli_c, lasts_s } => Step::MashOut { at: temperature(*at_milli_c)?, lasts: time(*lasts_s)? },
            StepMessage::Sparge { water_ml, at_milli_c } => {
                Step::Sparge { water: volume(*water_ml)?, at: temperature(*at_milli_c)?, hold: false }
            }
            StepMessage::SpargeHeld { water_ml, at_milli_c } => {
                Step::Sparge { water: volume(*water_ml)?, at: temperature(*at_milli_c)?, hold: true }
            }
            StepMessage::BringToBoil => Step::BringToBoil,
            StepMessage::Boil { duty, lasts_s, additions_left_s } => {
                if *duty > 10_000 || !additions_left_s.is_sorted_by(|a, b| a >= b) {
                    return Err(StepOutOfRange);
                }
                let mut additions = Vec::new();
                for &left_s in additions_left_s {
                    additions.push(time(left_s)?).map_err(|_| StepOutOfRange)?;
                }
                Step::Boil { duty: Duty::from_basis_points(u32::from(*duty)), lasts: time(*lasts_s)?, additions }
            }
            StepMessage::KnockOut => Step::KnockOut,
            StepMessage::Whirlpool { lasts_s } => Step::Whirlpool { lasts: time(*lasts_s)? },
            StepMessage::Chill { to_milli_c } => Step::Chill { to: temperature(*to_milli_c)? },
        })
    }
}

/// Whole seconds, rounded down.
fn seconds(span: Span) -> u32 {
    u32::try_from(span.as_secs()).unwrap_or(u32::MAX)
}

impl From<&Step> for StepMessage {
    fn from(step: &Step) -> StepMessage {
        match step {
            Step::HeatStrike { fill, to } => StepMessage::HeatStrike { fill_ml: fill.millilitres(), to_milli_c: to.milli() },
            Step::DoughIn { strike, refill } => {
                StepMessage::DoughIn { strike_ml: strike.millilitres(), refill_ml: refill.millilitres() }
            }
            Step::Rest { at, lasts } => StepMessage::Rest { at_milli_c: at.milli(), lasts_s: seconds(*lasts) },
            Step::MashOut { at, lasts } => StepMessage::MashOut { at_milli_c: at.milli(), lasts_s: seconds(*lasts) },
            Step::Sparge { water, at, hold: false } => {
                StepMessage::Sparge { water_ml: water.millilitres(), at_milli_c: at.milli() }
            }
            Step::Sparge { water, at, hold: true } => {
                StepMessage::SpargeHeld { water_ml: water.millilitres(), at_milli_c: at.milli() }
            }
            Step::BringToBoil => StepMessage::BringToBoil,
            Step::Boil { duty, lasts, additions } => StepMessage::Boil {
                duty: u16::try_from(duty.basis_points()).unwrap_or(10_000),
                lasts_s: seconds(*lasts),
                additions_left_s: additions.iter().map(|&left| seconds(left)).collect(),
            },
            Step::KnockOut => StepMessage::KnockOut,
            Step::Whirlpool { lasts } => StepMessage::Whirlpool { lasts_s: seconds(*lasts) },
            Step::Chill { to } => StepMessage::Chill { to_milli_c: to.milli() },
        }
    }
}

/// Most bytes of an encoded sheet.
pub const MAX_ENCODED: usize = 736;

/// A sheet as it travels and is stored: number of steps, then the steps. Much smaller than a [`Sheet`], and checked step by step as it
/// grows: every step in here can be run.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct EncodedSheet {
    steps: Vec<u8, MAX_ENCODED>,
    count: u8,
    of: u8,
}

impl EncodedSheet {
    /// No sheet.
    pub const fn new() -> EncodedSheet {
        EncodedSheet { steps: Vec::new(), count: 0, of: 0 }
    }

    /// Every step is here.
    pub const fn is_whole(&self) -> bool {
        self.count > 0 && self.count == self.of
    }

    /// Number of steps, of a whole sheet.
    pub const fn len(&self) -> u8 {
        if self.is_whole() { self.count } else { 0 }
    }

    /// There is no whole sheet.
    pub const fn is_empty(&self) -> bool {
        !self.is_whole()
    }

    /// Takes one step, in order: the first clears what was there. True once the last has come.
    ///
    /// # Errors
    /// The step is out of order, a figure in it out of range, or there is no room; what came before is forgotten.
    pub fn take(&mut self, index: u8, of: u8, step: &StepMessage) -> Result<bool, StepOutOfRange> {
        if index == 0 {
            *self = EncodedSheet { of, ..EncodedSheet::new() };
        }
        let result = self.add(index, of, step);
        if result.is_err() {
            *self = EncodedSheet::new();
        }
        result
    }

    fn add(&mut self, index: u8, of: u8, step: &StepMessage) -> Result<bool, StepOutOfRange> {
        if index != self.count || of != self.of || index >= of || usize::from(of) > MAX_STEPS {
            return Err(StepOutOfRange);
        }
        Step::try_from(step)?;
        let mut buffer = [0; 96];
        let bytes = postcard::to_slice(step, &mut buffer).map_err(|_| StepOutOfRange)?;
        self.steps.extend_from_slice(bytes).map_err(|_| StepOutOfRange)?;
        self.count = self.count.saturating_add(1);
        Ok(self.is_whole())
    }

    /// From a sheet; `None` if it is empty or too long.
    pub fn encode(sheet: &Sheet) -> Option<EncodedSheet> {
        let of = u8::try_from(sheet.steps.len()).ok()?;
        let mut encoded = EncodedSheet::new();
        for (index, step) in (0..of).zip(&sheet.steps) {
            encoded.take(index, of, &step.into()).ok()?;
        }
        encoded.is_whole().then_some(encoded)
    }

    /// The steps, in order.
    pub fn steps(&self) -> impl Iterator<Item = Step> + '_ {
        let mut rest: &[u8] = if self.is_whole() { &self.steps } else { &[] };
        core::iter::from_fn(move || {
            if rest.is_empty() {
                return None;
            }
            // Each was checked on its way in.
            let (message, tail) = postcard::take_from_bytes::<StepMessage>(rest).ok()?;
            rest = tail;
            Step::try_from(&message).ok()
        })
    }

    /// As bytes, to be stored: the number of steps and what follows it.
    pub fn parts(&self) -> (u8, &[u8]) {
        (self.len(), &self.steps)
    }

    /// From stored bytes; `None` unless every step is whole and in range, and nothing is left over.
    pub fn from_bytes(bytes: &[u8]) -> Option<EncodedSheet> {
        let (&of, mut rest) = bytes.split_first()?;
        let mut encoded = EncodedSheet::new();
        for index in 0..of {
            let (message, tail) = postcard::take_from_bytes::<StepMessage>(rest).ok()?;
            encoded.take(index, of, &message).ok()?;
            rest = tail;
        }
        (rest.is_empty() && encoded.is_whole()).then_some(encoded)
    }
}
