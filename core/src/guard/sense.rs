//! Detectors on sense lines, for rigs that have them: contactor contact, element current, level, and whether anybody is there.
//!
//! Each line is an `Option`: a rig without it loses that detector and nothing else.

use super::Trip;
use crate::units::Span;
use crate::vessel::{Element, PerElement};

/// Sense lines as wired. `None`: the rig does not have it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Sense {
    /// The contactor's auxiliary contact: true while it is closed.
    pub contactor: Option<bool>,
    /// Current flows in an element's wire.
    pub current: PerElement<Option<bool>>,
    /// The liquid covers an element.
    pub covered: PerElement<Option<bool>>,
    /// Liquid flows behind the mash pump.
    pub flow: Option<bool>,
}

impl Sense {
    /// A rig without any sense line.
    pub const NONE: Sense = Sense {
        contactor: None,
        current: PerElement { liquor_tank: None, boil_kettle: None },
        covered: PerElement { liquor_tank: None, boil_kettle: None },
        flow: None,
    };
}

/// The contactor's contact may differ from its coil for this long: pull-in, bounce and one control tick.
pub const CONTACT_PATIENCE: Span = Span::from_millis(500);
/// Current may flow in an element that was commanded off for a whole control tick for this long.
pub const UNASKED_CURRENT_PATIENCE: Span = Span::from_millis(500);
/// An element that is commanded fully on may be without current for this long.
pub const NO_CURRENT_PATIENCE: Span = Span::from_secs(3);
/// An element may be reported uncovered for this long, with no heat meanwhile: waves and bubbles.
pub const UNCOVERED_PATIENCE: Span = Span::from_secs(2);
/// A person is asked for after this long without any act at the panel or the link while armed.
pub const ASK_AFTER: Span = Span::from_mins(4 * 60);
/// And it trips after this long.
pub const ALONE_AFTER: Span = Span::from_mins(6 * 60);

/// The facts of one control tick.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SenseFacts {
    /// Time since the last one.
    pub elapsed: Span,
    /// The lines.
    pub sense: Sense,
    /// The coil is commanded.
    pub contactor: bool,
    /// Which elements were off for the whole of the last tick, and which fully on.
    pub off: PerElement<bool>,
    /// See `off`.
    pub full: PerElement<bool>,
    /// Armed: whatever is asked of it, heat may come.
    pub armed: bool,
    /// A person did something.
    pub attended: bool,
}

/// How long each contradiction has lasted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct SenseWatch {
    contact_wrong: Span,
    unasked: PerElement<Span>,
    no_current: PerElement<Span>,
    uncovered: PerElement<Span>,
    alone: Span,
}

/// What the lines show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct SenseFinding {
    /// A danger that has lasted.
    pub trip: Option<Trip>,
    /// No element may be granted just now.
    pub hold: bool,
    /// A person is asked for.
    pub ask: bool,
}

impl SenseWatch {
    /// Looks at one tick.
    pub fn tick(&mut self, facts: &SenseFacts) -> SenseFinding {
        let count = |span: &mut Span, wrong: bool| {
            *span = if wrong { span.plus(facts.elapsed) } else { Span::ZERO };
            *span
        };
        let mut finding = SenseFinding::default();
        let wrong = facts.sense.contactor.is_some_and(|closed| closed != facts.contactor);
        if count(&mut self.contact_wrong, wrong) >= CONTACT_PATIENCE {
            finding.trip = Some(if facts.contactor { Trip::ContactorOpen } else { Trip::ContactorStuck });
        }
        for element in Element::ALL {
            let current = *facts.sense.current.get(element);
            let flows = *facts.off.get(element) && current == Some(true);
            if count(self.unasked.get_mut(element), flows) >= UNASKED_CURRENT_PATIENCE {
                finding.trip = finding.trip.or(Some(Trip::UnaskedCurrent(element)));
            }
            let lacks = *facts.full.get(element) && current == Some(false);
            if count(self.no_current.get_mut(element), lacks) >= NO_CURRENT_PATIENCE {
                finding.trip = finding.trip.or(Some(Trip::NoCurrent(element)));
            }
            // Once seen dry while heating, an element stays dry until its line says covered.
            let seen = *self.uncovered.get(element) > Span::ZERO || (facts.armed && !*facts.off.get(element));
            let dry = seen && *facts.sense.covered.get(element) == Some(false);
            if count(self.uncovered.get_mut(element), dry) >= UNCOVERED_PATIENCE {
                finding.trip = finding.trip.or(Some(Trip::Uncovered(element)));
            }
            finding.hold |= *self.uncovered.get(element) > Span::ZERO;
        }
        self.alone = if facts.attended || !facts.armed { Span::ZERO } else { self.alone.plus(facts.elapsed) };
        finding.ask = self.alone >= ASK_AFTER;
        if self.alone >= ALONE_AFTER {
            finding.trip = finding.trip.or(Some(Trip::Alone));
        }
        finding
    }
}

#[cfg(test)]
mod tests;
