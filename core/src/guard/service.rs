//! Where heat was sent lately: the guard's own account, made from what was really fired and pumped. It knows no demand.
//!
//! A vessel is *in service* from when it first gets heat until it has had none for a while. Only then does anything depend on its
//! probe; before, a person may take the probe out, empty the vessel, or fill it, and nothing needs to be said.

use crate::fast::FastReport;
use crate::probe::Reading;
use crate::units::{Celsius, Duty, Kelvin, Span};
use crate::vessel::{Element, PerVessel, Pumps, Vessel};

/// A vessel stays in service for this long after its last heat: a hold that coasts down from an overshoot fires nothing for minutes.
pub const IN_SERVICE: Span = Span::from_mins(10);
/// The mash, for this long after its pump: the pump rests while the coil would cool the mash.
const PUMP_RESTS: Span = Span::from_mins(1);
/// A quiet vessel whose reading fell by this much was emptied, or had cold water poured in: what follows is a person's doing.
const HANDLED: Kelvin = Kelvin::from_milli(5_000);
/// Nothing yet.
const NEVER: Span = Span::from_secs(1_000_000_000);

/// The account of one rig.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Service {
    quiet_for: PerVessel<Span>,
    mash_pump_rests: Span,
    /// Highest reading since the vessel's last heat.
    highest: PerVessel<Option<Celsius>>,
    handled: PerVessel<bool>,
}

impl Service {
    /// No heat was ever sent anywhere.
    pub fn new() -> Service {
        Service {
            quiet_for: PerVessel::build(|_| NEVER),
            mash_pump_rests: NEVER,
            highest: PerVessel::default(),
            handled: PerVessel::default(),
        }
    }

    /// Books one control tick.
    pub fn tick(&mut self, elapsed: Span, readings: &PerVessel<Reading>, pumps: Pumps, report: &FastReport) {
        self.mash_pump_rests = if pumps.mash { Span::ZERO } else { self.mash_pump_rests.plus(elapsed).min(NEVER) };
        for vessel in Vessel::ALL {
            // The coil brings the tank's heat to the mash.
            let element = vessel.element().unwrap_or(Element::LiquorTank);
            let fired = *report.applied.get(element) > Duty::ZERO || report.grant == Some(element);
            let heated = fired && (vessel.element().is_some() || pumps.mash);
            let quiet_for = self.quiet_for.get_mut(vessel);
            *quiet_for = if heated { Span::ZERO } else { quiet_for.plus(elapsed).min(NEVER) };
            let (highest, handled) = (self.highest.get_mut(vessel), self.handled.get_mut(vessel));
            if heated {
                *highest = None;
                *handled = false;
            } else if let Ok(reading) = *readings.get(vessel) {
                let top = highest.map_or(reading, |top| top.max(reading));
                *highest = Some(top);
                *handled |= top.above(reading) > HANDLED;
            }
        }
    }

    /// How long a vessel has had no heat.
    pub const fn quiet_for(&self, vessel: Vessel) -> Span {
        *self.quiet_for.get(vessel)
    }

    /// A person has emptied or cooled it since its last heat.
    pub const fn is_handled(&self, vessel: Vessel) -> bool {
        *self.handled.get(vessel)
    }

    /// Vessels whose probe is relied upon.
    pub fn relied(&self) -> PerVessel<bool> {
        PerVessel::build(|vessel| match vessel.element() {
            Some(_) => *self.quiet_for.get(vessel) < IN_SERVICE,
            None => *self.quiet_for.get(vessel) < IN_SERVICE && self.mash_pump_rests < PUMP_RESTS,
        })
    }
}

impl Default for Service {
    fn default() -> Service {
        Service::new()
    }
}

#[cfg(test)]
mod tests;
