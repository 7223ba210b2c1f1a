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
/// Less than this is no flow: half a litre a minute, as a share of a litre in a second.
const LEAST_SHARE: u32 = 120;

/// A meter: what its counter showed over the last four control ticks, a second.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Meter {
    per_litre: u16,
    past: [u16; 4],
    pulses: u16,
}

impl Meter {
    /// A meter that gives so many pulses per litre; zero: none is fitted.
    pub const fn new(per_litre: u16) -> Meter {
        Meter { per_litre, past: [0; 4], pulses: 0 }
    }

    /// The counter's value at a control tick; it runs on for ever. Whether anything flows; `None` without a meter.
    pub fn count(&mut self, counter: u16) -> Option<bool> {
        let [a, b, c, d] = self.past;
        self.past = [b, c, d, counter];
        self.pulses = counter.wrapping_sub(a);
        (self.per_litre > 0).then(|| u32::from(self.pulses).saturating_mul(LEAST_SHARE) >= u32::from(self.per_litre))
    }

    /// Mean flow of the last second, mL/min.
    pub fn ml_per_min(&self) -> u32 {
        u32::from(self.pulses).saturating_mul(60_000).checked_div(u32::from(self.per_litre)).unwrap_or(0)
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
    /// Pump without flow, and flow without pump, us: a word each, not two.
    without: u32,
    stray: u32,
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
        let elapsed = facts.elapsed.short_us();
        self.without = if runs && !flows { self.without.saturating_add(elapsed) } else { 0 };
        let dry = self.without >= if self.primed { const { DRY_PATIENCE.short_us() } } else { const { PRIME.short_us() } };
        let newly_dry = dry && !self.resting;
        self.resting |= dry;
        let before = self.stray;
        self.stray = if flows && !facts.pump { before.saturating_add(elapsed) } else { 0 };
        let patience = const { STRAY_PATIENCE.short_us() };
        let strays = before < patience && self.stray >= patience;
        FlowFinding {
            hold: self.resting || (self.primed && self.without > 0),
            rest: self.resting,
            advice: match (newly_dry, strays) {
                (true, _) => Some(Advice::NoFlow),
                (false, true) => Some(Advice::StrayFlow),
                (false, false) => None,
            },
        }
    }
}

#[cfg(test)]
mod tests;
