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
//! Where the lag is spread over sheath, mixing and probe, the reading rounds its turns and the swing alone gives too little of both. A first
//! ramp that is long enough gives them by energy, whatever the shape of the lag:
//!
//! - `a` is the slope of the ramp's end, and the part of time with power, `D = rise / (rise + fall)`, is the standing duty: `k = a / (1 - D)`,
//!   `b = k D`.
//! - From power off to a time `t` late in the first coast the reading rises by what was on its way, `k L`, less the loss `b t`:
//!   `L = (R(t) + b t - R(0)) / k`.
//!
//! ```text
//!   Heating --reading above target + h--> Cooling --reading below target - h--> Heating    (up to MOST_SWINGS)
//!      any --result, time up, too hot, too many swings, aborted--> Done (off)
//! ```
//!
//! It always ends: by result, by time, by count of swings, or by temperature; it asks for no heat once it has ended.

mod line;

use fixed::types::I8F24;

use self::line::Line;
use super::rules::Integrating;
use crate::units::{Celsius, Duty, Kelvin, Slope, Span};

/// Swings until it gives up on finding two alike.
const MOST_SWINGS: u8 = 6;
/// Two swings are alike if rise and span agree within this part: a fifteenth.
const ALIKE_PART: i64 = 15;
/// The ramp's end: the last 2 K in 2^-16 K, or the last third of a shorter one ...
const RAMP_END: i64 = 2 << 16;
/// ... if it begins this many half lags after power went on, when the bend of a spread lag is over.
const STEADY_HALF_LAGS: i64 = 5;

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
    /// Time as the swings count it.
    clock_us: i64,
    first: First,
}

/// The first ramp and coast.
#[derive(Debug, Clone, Copy)]
struct First {
    /// The reading at the start, 2^-16 C.
    from: Option<i64>,
    /// The ramp's end.
    ramp: Line,
    off_us: i64,
    /// The coast while the reading falls from upper to lower switch.
    coast: Line,
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
        let first = First { from: None, ramp: Line::EMPTY, off_us: 0, coast: Line::EMPTY };
        Relay { plan, step: Step::Heating(Swing::FRESH), before: None, swings: 0, spent: Span::ZERO, clock_us: 0, first }
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
        self.clock_us = self.clock_us.saturating_add(dt_us);
        if self.swings == 0 {
            self.watch_first(level);
        }
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

    /// Takes the first ramp's end and the first coast in.
    fn watch_first(&mut self, level: i64) {
        let from = *self.first.from.get_or_insert(level);
        let target = i64::from(self.plan.target.fixed().to_bits());
        let upper = i64::from(self.plan.target.plus(self.plan.hysteresis).fixed().to_bits());
        match self.step {
            Step::Heating(_) => {
                let end = (target.saturating_sub(from) / 3).clamp(0, RAMP_END);
                if !self.first.ramp.is_empty() || level >= target.saturating_sub(end) {
                    self.first.ramp.take(self.clock_us, level);
                }
                self.first.off_us = self.clock_us;
            }
            // Noise may dip below the switch on the way up: what comes before a reading above it does not count.
            Step::Cooling(_) if level > upper => self.first.coast = Line::EMPTY,
            Step::Cooling(_) => self.first.coast.take(self.clock_us, level),
            Step::Done(_) => {}
        }
    }

    /// At the bottom of a swing: the first one began from anywhere and does not count.
    fn turn(&mut self, swing: Swing) -> Step {
        self.swings = self.swings.saturating_add(1);
        let alike = self.before.filter(|before| swing.like(*before));
        if self.swings > 1 {
            self.before = Some(swing);
        }
        if let Some(before) = alike {
            let rise_us = swing.rise_us.saturating_add(before.rise_us);
            let fall_us = swing.fall_us.saturating_add(before.fall_us);
            let hysteresis = i64::from(self.plan.hysteresis.fixed().to_bits());
            Step::Done(match by_energy(&self.first, rise_us, fall_us) {
                Some(found) => Ok(found),
                None => by_swing(swing.rise_us, swing.fall_us, swing.span(), hysteresis),
            })
        } else if self.swings >= MOST_SWINGS {
            Step::Done(Err(RelayFailure::TooManySwings))
        } else {
            Step::Heating(Swing::FRESH)
        }
    }
}

/// From the first ramp and coast, and rise and fall (us) of settled swings; `None` if there was no steady ramp.
fn by_energy(first: &First, rise_us: i64, fall_us: i64) -> Option<RelayResult> {
    let (on, off) = (i128::from(rise_us), i128::from(fall_us));
    let up = first.ramp.slope()?;
    if up <= 0 || on <= 0 || off <= 0 {
        return None;
    }
    let down = up.saturating_mul(on).checked_div(off)?;
    let climb = up.saturating_add(down);
    let (coast_us, coasting) = first.coast.middle()?;
    let switched = first.ramp.at(first.off_us)?;
    // A long coast shows its own fall better than the part of time does.
    let waited_us = first.coast.begins_us()?.saturating_sub(first.off_us);
    let fall = if first.coast.lasts_us()? > waited_us { first.coast.slope()?.saturating_neg() } else { down };
    // 2^-24 K/s times us, in 2^-16 K.
    let lost = fall.saturating_mul(i128::from(coast_us.saturating_sub(first.off_us))) / (1_000_000 << 8);
    let arrived = i128::from(coasting.saturating_sub(switched)).saturating_add(lost);
    let lag_us = i64::try_from(arrived.saturating_mul(1_000_000 << 8).checked_div(climb)?).ok()?;
    let steady = first.ramp.begins_us()?.saturating_mul(2) >= lag_us.saturating_mul(STEADY_HALF_LAGS);
    (lag_us > 0 && steady).then(|| result(up, down, lag_us, on, off))
}

/// From the swing alone, as of a pure dead time: rise and fall (us), span of the swing and hysteresis (2^-16 K).
fn by_swing(rise_us: i64, fall_us: i64, span: i64, hysteresis: i64) -> Result<RelayResult, RelayFailure> {
    let beyond = span.saturating_sub(hysteresis.saturating_mul(2));
    if beyond <= 0 || rise_us <= 0 || fall_us <= 0 {
        return Err(RelayFailure::TooSmall);
    }
    // 2^-16 K over us, in 2^-24 K/s: times 2^8 times 1e6.
    let rate = |us: i64| i128::from(span) * (1_000_000 << 8) / i128::from(us);
    let (up, down) = (rate(rise_us), rate(fall_us));
    let climb = up.saturating_add(down).max(1);
    let lag_us = i128::from(beyond) * (1_000_000 << 8) / climb;
    Ok(result(up, down, i64::try_from(lag_us).unwrap_or(0), i128::from(rise_us), i128::from(fall_us)))
}

/// The result of slopes in 2^-24 K/s and times in us.
fn result(up: i128, down: i128, lag_us: i64, rise: i128, fall: i128) -> RelayResult {
    let standing = (rise * 10_000).checked_div(rise.saturating_add(fall)).unwrap_or(0);
    let slope = |bits: i128| Slope::from_fixed(I8F24::from_bits(i32::try_from(bits).unwrap_or(i32::MAX)));
    RelayResult {
        up: slope(up),
        down: slope(down),
        kettle: Integrating { climb: slope(up.saturating_add(down)), lag: Span::from_micros(u64::try_from(lag_us).unwrap_or(0)) },
        standing: Duty::from_basis_points(u32::try_from(standing).unwrap_or(0)),
    }
}
