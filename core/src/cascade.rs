//! The mash cascade: the mash is held by its own thermometer, by moving the tank's target.
//!
//! Tank target = mash target + *offset* + push. The *offset* is what the coil needs in a steady hold; it is learned while holding and kept
//! for the next day. The *push* is proportional to how cold the mash still is: heat stored in the tank above the mash target
//! ends up in the mash, so the tank may be warmer by about the ratio of the two heat capacities, and no more. The target stays within
//! [mash target, mash target + limit].
//!
//! The tank can only be heated, never cooled, so the offset is learned only while the tank is at the target it was given: anything else
//! would be windup across the two loops.

use crate::units::{Celsius, Kelvin, Span};
use fixed::types::I16F16;

/// Push per kelvin that the mash lacks: heat capacity of a thick mash over that of a full tank, on the careful side.
const PUSH: I16F16 = I16F16::lit("0.5");
/// The offset is learned only within this distance of the mash target.
const LEARN_BAND: Kelvin = Kelvin::from_milli(1_000);
/// The tank counts as being where it was sent within this distance.
const TANK_BAND: Kelvin = Kelvin::from_milli(500);
/// Time constant of the learning, s: slower than the mash follows the tank (4 to 8 minutes with common coils).
const LEARN_S: I16F16 = I16F16::lit("900");
/// Offset before anything was learned: the middle of the 1 to 2.5 K that are common practice (no source).
pub const FIRST_OFFSET: Kelvin = Kelvin::from_milli(1_500);

/// The outer loop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cascade {
    limit: Kelvin,
    offset: Kelvin,
}

impl Cascade {
    /// `limit`: how far the tank may be above the mash target. `learned`: the offset of an earlier day.
    pub fn new(limit: Kelvin, learned: Option<Kelvin>) -> Cascade {
        let offset = learned.unwrap_or(FIRST_OFFSET).clamp(Kelvin::ZERO, limit);
        Cascade { limit, offset }
    }

    /// The offset learned so far.
    pub const fn offset(&self) -> Kelvin {
        self.offset
    }

    /// The tank's target for the next control tick.
    pub fn tick(&mut self, elapsed: Span, target: Celsius, mash: Celsius, tank: Celsius) -> Celsius {
        let lack = target.above(mash);
        let goal = self.goal(target, lack);
        if lack.abs() < LEARN_BAND && tank.above(goal).abs() < TANK_BAND {
            let share = elapsed.seconds().checked_div(LEARN_S).unwrap_or(I16F16::ZERO);
            self.offset = self.offset.plus(lack.times(share)).clamp(Kelvin::ZERO, self.limit);
        }
        goal
    }

    fn goal(&self, target: Celsius, lack: Kelvin) -> Celsius {
        let above = self.offset.plus(lack.times(PUSH)).clamp(Kelvin::ZERO, self.limit);
        target.plus(above)
    }
}

#[cfg(test)]
mod tests;
