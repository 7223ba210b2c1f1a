//! The arbiter: two vessels may want heat, one element may conduct.
//!
//! Rule: a vessel that *holds* (is near its target and wants little) is kept in its band first; a vessel in *bulk* heat-up gets the rest.
//! The holding vessel collects a debt of full-power time; when the debt is worth a changeover it is paid in one slice, then the
//! element goes back. Two bulk heat-ups are done one after the other, the tank first: the day waits for the tank, and heating them in
//! turns would make both late.

use crate::units::{Duty, Kelvin, Slope, Span};
use crate::vessel::{Element, PerElement};
use crate::wide::{Bound, Product};
use fixed::types::I16F16;

/// A vessel in bulk heat-up keeps the element for at least this long between two slices of the other: at most 17 changeovers a minute.
/// Two vessels that both hold take turns in slices.
pub const MIN_DWELL: Span = Span::from_secs(6);
/// A slice for a holding vessel may move it by this much.
pub const SLICE_RISE: Kelvin = Kelvin::from_milli(300);
/// Bounds of a slice of full power.
pub const SLICE: (Span, Span) = (Span::from_secs(1), Span::from_secs(20));

/// What a vessel missed is averaged over this time, us.
const MISSED_OVER_US: i64 = 300_000_000;

/// What one vessel would like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Want {
    /// Share of full power.
    pub duty: Duty,
    /// Near its target, and to be kept there.
    pub holding: bool,
    /// How fast full power moves it, as far as is known.
    pub slope: Option<Slope>,
}

/// Shares the element's time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Arbiter {
    owner: Option<Element>,
    dwelt: Span,
    debt: PerElement<Span>,
    /// Smoothed share of full power that was wanted and not had, Q32.
    missed: PerElement<i64>,
}

impl Arbiter {
    /// Nobody owns anything.
    pub fn new() -> Arbiter {
        Arbiter::default()
    }

    /// Who has the element, and at what share of full power, until the next control tick. `applied` is what each element really had
    /// since the last one.
    #[inline(never)]
    pub fn tick(&mut self, elapsed: Span, wants: &PerElement<Want>, applied: &PerElement<Duty>) -> Option<(Element, Duty)> {
        self.dwelt = self.dwelt.plus(elapsed);
        for element in Element::ALL {
            let want = wants.get(element);
            let debt = self.debt.get_mut(element);
            *debt = if want.holding {
                debt.plus(elapsed.share(want.duty)).less(elapsed.share(*applied.get(element))).min(SLICE.1)
            } else {
                Span::ZERO
            };
        }
        self.account(elapsed, wants, applied);
        let owner = self.choose(wants);
        if owner != self.owner {
            self.owner = owner;
            self.dwelt = Span::ZERO;
        }
        let owner = owner?;
        let want = wants.get(owner);
        let contested = asks(wants.get(owner.other()));
        // A holding vessel with a rival takes what it is owed in one go.
        let slice = contested && want.holding && *self.debt.get(owner) > Span::ZERO;
        let duty = if slice { Duty::FULL } else { want.duty };
        asks(want).then_some((owner, duty))
    }

    /// The vessel that gets less than it wants just now, if any.
    pub fn yields(&self, wants: &PerElement<Want>) -> Option<Element> {
        let rival = self.owner?.other();
        (wants.get(rival).duty > Duty::ZERO).then_some(rival)
    }

    /// Share of full power that a vessel wanted and did not have because the other had the element, over the last minutes.
    pub fn missed(&self) -> PerElement<Duty> {
        PerElement::build(|element| {
            let bits = (*self.missed.get(element) >> 16).within(0, 1 << 16);
            Duty::from_fixed(I16F16::from_bits(i32::try_from(bits).unwrap_or(0)))
        })
    }

    fn account(&mut self, elapsed: Span, wants: &PerElement<Want>, applied: &PerElement<Duty>) {
        let contested = Element::ALL.iter().all(|&element| wants.get(element).duty > Duty::ZERO);
        let dt_us = i64::try_from(elapsed.as_micros()).unwrap_or(i64::MAX).at_most(MISSED_OVER_US);
        for element in Element::ALL {
            let lacks = i64::from(wants.get(element).duty.bits()).saturating_sub(i64::from(applied.get(element).bits()));
            // What was had beyond the want pays for a slice that was waited for.
            let lacks = if contested { lacks << 16 } else { 0 };
            let missed = self.missed.get_mut(element);
            let step = lacks.saturating_sub(*missed).product(dt_us >> 10) / (MISSED_OVER_US >> 10);
            *missed = missed.saturating_add(step);
        }
    }

    /// The owner stays unless the rival is due: a bulk heat-up is whenever it asks, a hold once it is owed a slice.
    fn choose(&self, wants: &PerElement<Want>) -> Option<Element> {
        let Some(owner) = self.owner else {
            return Element::ALL.into_iter().find(|&element| asks(wants.get(element)));
        };
        let rival = owner.other();
        let (mine, other) = (wants.get(owner), wants.get(rival));
        let owed = |element| *self.debt.get(element) > Span::ZERO;
        let under_way = asks(mine) && if mine.holding { owed(owner) } else { self.dwelt < MIN_DWELL };
        let due = asks(other) && if other.holding { *self.debt.get(rival) >= slice(other) } else { self.goes_first(rival, mine) };
        Some(if due && !under_way { rival } else { owner })
    }

    /// Whether a bulk heat-up may take the element from `mine`: of two, the tank is first.
    fn goes_first(&self, rival: Element, mine: &Want) -> bool {
        mine.holding || !asks(mine) || rival == Element::LiquorTank
    }
}

fn asks(want: &Want) -> bool {
    want.duty > Duty::ZERO
}

/// Full-power time worth a changeover.
fn slice(want: &Want) -> Span {
    let Some(slope) = want.slope else { return SLICE.0 };
    let rise_us = u64::try_from(SLICE_RISE.fixed().to_bits()).unwrap_or(0).product(1_000_000 << 8);
    let slope_bits = u64::try_from(slope.fixed().to_bits()).unwrap_or(0);
    let us = rise_us.checked_div(slope_bits).unwrap_or(u64::MAX);
    Span::from_micros(us).clamp(SLICE.0, SLICE.1)
}

#[cfg(test)]
mod tests;
