//! Flow through the coil, for rigs with a flow meter behind the mash pump.
//!
//! A turbine gives pulses; the meter's word is about the last second. The watch takes it over time: a pump fills its hoses first, and what
//! flowed and stops is another matter than what never flowed. It looks only while the mash is held through the coil: run-off is too
//! thin for a turbine.

use super::Advice;
use crate::units::Span;

/// A pump that has started may be without flow for this long: it fills the coil and the hoses first. Common practice, no source.
pub const PRIME: Span = Span::from_secs(10);
/// Flow that has been there and stops: no element at once, and after this long, the meter's own second included five, the pump rests.
pub const DRY_PATIENCE: Span = Span::from_secs(4);
/// Flow may go on for this long without the pump: what drains, or a person with a hose.
pub const STRAY_PATIENCE: Span = Span::from_secs(30);
/// Less than this is no flow, mL/min.
const LEAST_ML_PER_MIN: u32 = 500;

/// A meter: pulses of the last four control ticks, a second.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Meter {
    per_litre: u16,
    counter: u16,
    last: [u16; 4],
}

impl Meter {
    /// A meter that gives so many pulses per litre.
    pub const fn new(per_litre: u16) -> Meter {
        Meter { per_litre, counter: 0, last: [0; 4] }
    }

    /// The counter's value at a control tick; it runs on for ever. Whether anything flows; `None` if no meter is fitted.
    pub fn count(&mut self, counter: u16) -> Option<bool> {
        let [_, b, c, d] = self.last;
        self.last = [b, c, d, counter.wrapping_sub(self.counter)];
        self.counter = counter;
        (self.per_litre > 0).then(|| self.ml_per_min() >= LEAST_ML_PER_MIN)
    }

    /// Mean flow of the last second, mL/min.
    pub fn ml_per_min(&self) -> u32 {
        let pulses: u32 = self.last.iter().map(|&pulses| u32::from(pulses)).fold(0, u32::saturating_add);
        pulses.saturating_mul(60_000).checked_div(u32::from(self.per_litre)).unwrap_or(0)
    }
}

/// The facts of one control tick.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FlowFacts {
    /// Time since the last one.
    pub elapsed: Span,
    /// The meter's word; `None`: the rig has none.
    pub flows: Option<bool>,
    /// The mash pump ran.
    pub pump: bool,
    /// The mash is held through the coil.
    pub coil: bool,
    /// The acknowledge button is down: a person has looked.
    pub acknowledge: bool,
}

/// What the meter shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct FlowFinding {
    /// No element just now.
    pub hold: bool,
    /// The mash pump must rest.
    pub rest: bool,
    /// To be told once.
    pub advice: Option<Advice>,
}

/// How long flow has been missing, or there unasked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct FlowWatch {
    without: Span,
    stray: Span,
    primed: bool,
    resting: bool,
}

impl FlowWatch {
    /// Looks at one tick.
    pub fn tick(&mut self, facts: &FlowFacts) -> FlowFinding {
        let Some(flows) = facts.flows else { return FlowFinding::default() };
        self.resting &= facts.coil && !facts.acknowledge;
        let runs = facts.pump && facts.coil;
        self.primed = runs && (self.primed || flows);
        self.without = if runs && !flows { self.without.plus(facts.elapsed) } else { Span::ZERO };
        let dry = self.without >= if self.primed { DRY_PATIENCE } else { PRIME };
        let newly_dry = dry && !self.resting;
        self.resting |= dry;
        let strayed = self.stray >= STRAY_PATIENCE;
        self.stray = if flows && !facts.pump { self.stray.plus(facts.elapsed).min(STRAY_PATIENCE) } else { Span::ZERO };
        FlowFinding {
            hold: self.resting || (self.primed && self.without > Span::ZERO),
            rest: self.resting,
            advice: if newly_dry {
                Some(Advice::NoFlow)
            } else {
                (self.stray >= STRAY_PATIENCE && !strayed).then_some(Advice::StrayFlow)
            },
        }
    }
}

#[cfg(test)]
mod tests;
