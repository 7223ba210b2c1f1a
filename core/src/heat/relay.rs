//! Relay autotune for a vessel that can be heated but not cooled.
//!
//! Job: swing the vessel around a target with full power on and off, and read its climb and dead time off the swing.
//!
//! - *Hysteresis*: power goes off above `target + h` and on below `target - h`, so that noise does not switch it.
//! - *Rise*, *fall*: the time from power on to off, and from off to on, in a settled swing. They are unequal: `a` K/s up, `b` K/s down.
//! - *Span of the swing*: highest less lowest reading, `App`.
//!
//! For an integrator with dead time `L` the swing gives `a = App / rise`, `b = App / fall`, `L = (App - 2h) / (a + b)` and the climb at full power
//! without loss `k = a + b` (from first principles: the reading moves on by `a L` past the switch, and back by `b L`). The describing function of a
//! symmetric relay is 30 to 60 % wrong here.
//!
//! ```text
//!   Heating --reading above target + h--> Cooling --reading below target - h--> Heating    (up to MOST_SWINGS)
//!      any --result, time up, too hot, too many swings, aborted--> Done (off)
//! ```
//!
//! It always ends: by result, by time, by count of swings, or by temperature; it asks for no heat once it has ended.

use fixed::types::I8F24;

use super::rules::Integrating;
use crate::units::{Celsius, Duty, Kelvin, Slope, Span};

/// Swings until it gives up on finding two alike.
const MOST_SWINGS: u8 = 6;
/// Two swings are alike if rise and span agree within this part: a fifteenth.
const ALIKE_PART: i64 = 15;

/// How a relay experiment is to be run, checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RelayPlan {
    target: Celsius,
    hysteresis: Kelvin,
    ceiling: Celsius,
    longest: Span,
}

/// Why a plan was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum RelayPlanError {
    /// The hysteresis must be 0 to 5 K.
    Hysteresis(Kelvin),
    /// The ceiling must lie above the target by more than the hysteresis.
    Ceiling(Celsius),
    /// The longest time must be 1 min to 24 h.
    Longest(Span),
}

/// What a relay experiment found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RelayResult {
    /// Climb under power, loss taken off: `a`.
    pub up: Slope,
    /// Fall without power: `b`.
    pub down: Slope,
    /// Climb at full power without loss, and dead time.
    pub kettle: Integrating,
    /// Duty that would hold the target: `rise / (rise + fall)`.
    pub standing: Duty,
}

/// Why a relay experiment ended without a result.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum RelayFailure {
    /// Took longer than planned.
    TimeUp,
    /// No two swings in a row were alike.
    TooManySwings,
    /// Passed the ceiling.
    TooHot,
    /// The swing was no larger than the hysteresis: noise, not heat, switched it.
    TooSmall,
    /// Ended by the caller.
    Aborted,
}

#[derive(Debug, Clone, Copy)]
enum Step {
    Heating(Swing),
    Cooling(Swing),
    Done(Result<RelayResult, RelayFailure>),
}

/// One swing as it goes: rise and fall so far, highest and lowest reading in 2^-16 C.
#[derive(Debug, Clone, Copy)]
struct Swing {
    rise_us: i64,
    fall_us: i64,
    highest: i64,
    lowest: i64,
}

impl Swing {
    const FRESH: Swing = Swing { rise_us: 0, fall_us: 0, highest: i64::MIN, lowest: i64::MAX };

    fn see(self, reading: i64) -> Swing {
        Swing { highest: self.highest.max(reading), lowest: self.lowest.min(reading), ..self }
    }

    fn span(self) -> i64 {
        self.highest.saturating_sub(self.lowest)
    }

    fn like(self, other: Swing) -> bool {
        let near = |x: i64, y: i64| x.saturating_sub(y).saturating_abs().saturating_mul(ALIKE_PART) <= x.max(y);
        near(self.rise_us, other.rise_us) && near(self.span(), other.span())
    }
}

/// A relay experiment.
#[derive(Debug, Clone, Copy)]
pub struct Relay {
    plan: RelayPlan,
    step: Step,
    before: Option<Swing>,
    swings: u8,
    spent: Span,
}

impl RelayPlan {
    /// Swing around `target` with `hysteresis` (0 to 5 K; three times the noise is plenty), never above `ceiling`, for `longest` (1 min to 24 h)
    /// at most.
    pub fn new(target: Celsius, hysteresis: Kelvin, ceiling: Celsius, longest: Span) -> Result<RelayPlan, RelayPlanError> {
        if !(Kelvin::ZERO..=Kelvin::from_milli(5_000)).contains(&hysteresis) {
            return Err(RelayPlanError::Hysteresis(hysteresis));
        }
        if ceiling <= target.plus(hysteresis) {
            return Err(RelayPlanError::Ceiling(ceiling));
        }
        if !(Span::from_mins(1)..=Span::from_mins(24 * 60)).contains(&longest) {
            return Err(RelayPlanError::Longest(longest));
        }
        Ok(RelayPlan { target, hysteresis, ceiling, longest })
    }
}

impl Relay {
    /// Begins with power on.
    pub fn new(plan: RelayPlan) -> Relay {
        Relay { plan, step: Step::Heating(Swing::FRESH), before: None, swings: 0, spent: Span::ZERO }
    }

    /// One tick of `dt` (a longer one than 1 s counts as 1 s in the swing, in full against the time limit): full power or none.
    pub fn tick(&mut self, dt: Span, reading: Celsius) -> Duty {
        self.spent = self.spent.plus(dt);
        if let Step::Done(_) = self.step {
            return Duty::ZERO;
        }
        if reading > self.plan.ceiling {
            self.step = Step::Done(Err(RelayFailure::TooHot));
        } else if self.spent >= self.plan.longest {
            self.step = Step::Done(Err(RelayFailure::TimeUp));
        }
        let dt_us = i64::try_from(dt.as_micros().min(1_000_000)).unwrap_or(0);
        let level = i64::from(reading.fixed().to_bits());
        self.step = match self.step {
            Step::Heating(swing) => {
                let swing = Swing { rise_us: swing.rise_us.saturating_add(dt_us), ..swing.see(level) };
                if reading > self.plan.target.plus(self.plan.hysteresis) { Step::Cooling(swing) } else { Step::Heating(swing) }
            }
            Step::Cooling(swing) => {
                let swing = Swing { fall_us: swing.fall_us.saturating_add(dt_us), ..swing.see(level) };
                if reading < self.plan.target.less(self.plan.hysteresis) { self.turn(swing) } else { Step::Cooling(swing) }
            }
            Step::Done(outcome) => Step::Done(outcome),
        };
        match self.step {
            Step::Heating(_) => Duty::FULL,
            Step::Cooling(_) | Step::Done(_) => Duty::ZERO,
        }
    }

    /// Ends the experiment; a result already found stays.
    pub fn abort(&mut self) {
        self.step = match self.step {
            Step::Heating(_) | Step::Cooling(_) => Step::Done(Err(RelayFailure::Aborted)),
            Step::Done(outcome) => Step::Done(outcome),
        };
    }

    /// How it ended; `None` while it runs.
    pub fn outcome(&self) -> Option<Result<RelayResult, RelayFailure>> {
        match self.step {
            Step::Heating(_) | Step::Cooling(_) => None,
            Step::Done(outcome) => Some(outcome),
        }
    }

    /// At the bottom of a swing: the first one began from anywhere and does not count.
    fn turn(&mut self, swing: Swing) -> Step {
        self.swings = self.swings.saturating_add(1);
        let settled = self.before.is_some_and(|before| swing.like(before));
        if self.swings > 1 {
            self.before = Some(swing);
        }
        if settled {
            Step::Done(identify(swing.rise_us, swing.fall_us, swing.span(), i64::from(self.plan.hysteresis.fixed().to_bits())))
        } else if self.swings >= MOST_SWINGS {
            Step::Done(Err(RelayFailure::TooManySwings))
        } else {
            Step::Heating(Swing::FRESH)
        }
    }
}

/// Climb, fall and dead time from rise and fall (us), span of the swing and hysteresis (2^-16 K).
fn identify(rise_us: i64, fall_us: i64, span: i64, hysteresis: i64) -> Result<RelayResult, RelayFailure> {
    let beyond = span.saturating_sub(hysteresis.saturating_mul(2));
    if beyond <= 0 || rise_us <= 0 || fall_us <= 0 {
        return Err(RelayFailure::TooSmall);
    }
    // 2^-16 K over us, in 2^-24 K/s: times 2^8 times 1e6.
    let rate = |us: i64| i128::from(span) * (1_000_000 << 8) / i128::from(us);
    let (up, down) = (rate(rise_us), rate(fall_us));
    let climb = up.saturating_add(down).max(1);
    let lag_us = i128::from(beyond) * (1_000_000 << 8) / climb;
    let standing = i128::from(rise_us) * 10_000 / (i128::from(rise_us) + i128::from(fall_us));
    let slope = |bits: i128| Slope::from_fixed(I8F24::from_bits(i32::try_from(bits).unwrap_or(i32::MAX)));
    Ok(RelayResult {
        up: slope(up),
        down: slope(down),
        kettle: Integrating { climb: slope(climb), lag: Span::from_micros(u64::try_from(lag_us).unwrap_or(0)) },
        standing: Duty::from_basis_points(u32::try_from(standing).unwrap_or(0)),
    })
}
