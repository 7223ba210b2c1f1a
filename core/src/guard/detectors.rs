//! All detectors that need more than one reading, and what they make of one control tick.

use super::flow::{FlowFacts, FlowWatch};
use super::heat_watch::{Bounds, Finding, HeatFacts, HeatWatch};
use super::sense::{Sense, SenseFacts, SenseWatch};
use super::service::{IN_SERVICE, Service};
use super::{Advice, Trip};
use crate::fast::FastReport;
use crate::probe::Reading;
use crate::settings::Settings;
use crate::units::{Celsius, Duty, Kelvin, Slope, Span};
use crate::vessel::{Element, PerElement, PerVessel, Pumps, Vessel};

/// A reading that falls faster than this for some seconds is no longer in its liquid: a bucket of cold water, well stirred in, stays below.
pub const FASTEST_FALL: Slope = Slope::from_micro(600_000);
/// It counts once it has fallen by this much more than that.
pub const FALL_MARGIN: Kelvin = Kelvin::from_milli(5_000);
/// It is watched until the vessel has had no heat for this long: then a person may take the probe out, or let the liquid out.
const FALL_REST: Span = Span::from_mins(1);
/// A mash colder than the tank by more than this takes heat through the coil, if its pump runs.
const DRAINS: Kelvin = Kelvin::from_milli(1_000);

/// The facts of one control tick: what was read, and what was really done.
#[derive(Debug, Clone, Copy)]
// In this order: a Cortex-M0+ reaches the first bytes of a structure with less code.
#[repr(C)]
pub struct DetectorFacts<'a> {
    /// The mash is held through the coil.
    pub coil: bool,
    /// The acknowledge button is down.
    pub acknowledge: bool,
    /// A person did something.
    pub attended: bool,
    /// Pumps that ran.
    pub pumps: Pumps,
    /// Sense lines.
    pub sense: Sense,
    /// Time since the last one.
    pub elapsed: Span,
    /// Readings, after the plausibility filter.
    pub readings: &'a PerVessel<Reading>,
    /// What the fast path did.
    pub report: &'a FastReport,
    /// Where heat was sent.
    pub service: &'a Service,
    /// Climb and lag that heat-ups taught.
    pub learned: PerElement<Option<(Slope, Span)>>,
}

/// What was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Found {
    /// A danger.
    pub trip: Option<Trip>,
    /// No element may be granted just now.
    pub hold: bool,
    /// A person is asked for.
    pub ask: bool,
    /// The mash pump must rest.
    pub pump_rests: bool,
    /// To be told once.
    pub advice: Option<Advice>,
}

/// The detectors of one rig.
#[derive(Debug, Clone)]
pub struct Detectors {
    heat: PerElement<Option<HeatWatch>>,
    /// The highest recent reading, let down at [`FASTEST_FALL`].
    peak: PerVessel<Option<Celsius>>,
    sense: SenseWatch,
    flow: FlowWatch,
}

impl Detectors {
    /// With thresholds that follow from the rig's own figures.
    pub fn new(settings: &Settings) -> Detectors {
        let heat = PerElement::build(|element| {
            let (slowest, fastest) = (settings.slowest(element)?, settings.fastest(element)?);
            Some(HeatWatch::new(Bounds { slowest, fastest, boiling: settings.get().boiling }))
        });
        Detectors { heat, peak: PerVessel::default(), sense: SenseWatch::default(), flow: FlowWatch::default() }
    }

    /// Looks at one tick.
    pub fn tick(&mut self, facts: &DetectorFacts<'_>) -> Found {
        let applied = &facts.report.applied;
        let sensed = self.sense.tick(&SenseFacts {
            elapsed: facts.elapsed,
            sense: facts.sense,
            contactor: facts.report.contactor,
            off: PerElement::build(|e| *applied.get(e) == Duty::ZERO && facts.report.grant != Some(e)),
            full: PerElement::build(|e| *applied.get(e) >= Duty::from_basis_points(9_000)),
            armed: facts.report.armed,
            attended: facts.attended,
        });
        let flow = self.flow.tick(&FlowFacts {
            elapsed: facts.elapsed,
            flows: facts.sense.flow,
            pump: facts.pumps.mash,
            coil: facts.coil,
            acknowledge: facts.acknowledge,
        });
        let mut found = Found {
            trip: if facts.report.astray { Some(Trip::Astray) } else { sensed.trip },
            hold: sensed.hold || flow.hold,
            ask: sensed.ask,
            pump_rests: flow.rest,
            advice: flow.advice,
        };
        for element in Element::ALL {
            found.trip = found.trip.or(self.watch_heat(element, facts));
        }
        for vessel in Vessel::ALL {
            found.trip = found.trip.or(self.watch_fall(vessel, facts));
        }
        found
    }

    fn watch_fall(&mut self, vessel: Vessel, facts: &DetectorFacts<'_>) -> Option<Trip> {
        let peak = self.peak.get_mut(vessel);
        let quiet = facts.service.quiet_for(vessel);
        let (Ok(reading), true) = (*facts.readings.get(vessel), quiet < FALL_REST) else {
            *peak = None;
            return None;
        };
        let highest = peak.map_or(reading, |peak| peak.less(FASTEST_FALL.over(facts.elapsed)).max(reading));
        *peak = Some(highest);
        let fell = quiet == Span::ZERO && highest.above(reading) > FALL_MARGIN;
        if fell {
            *peak = None;
        }
        fell.then_some(Trip::Fell(vessel))
    }

    #[inline(never)]
    fn watch_heat(&mut self, element: Element, facts: &DetectorFacts<'_>) -> Option<Trip> {
        let watch = self.heat.get_mut(element).as_mut()?;
        let vessel = element.vessel();
        let powered = facts.report.contactor || facts.sense.contactor == Some(true);
        if !powered {
            // Without power nothing can heat, and a person may pour what they like.
            watch.forget();
            return None;
        }
        let Ok(reading) = *facts.readings.get(vessel) else {
            watch.look_away(facts.elapsed);
            return None;
        };
        let fed = facts.pumps.mash || facts.service.is_handled(vessel) || facts.service.quiet_for(vessel) >= IN_SERVICE;
        let mash_takes = facts.readings.mash_tun.is_ok_and(|mash| mash.plus(DRAINS) < reading);
        let finding = watch.tick(&HeatFacts {
            elapsed: facts.elapsed,
            reading,
            applied: *facts.report.applied.get(element),
            learned: *facts.learned.get(element),
            drained: element == Element::LiquorTank && facts.pumps.mash && mash_takes,
            may_come_from: if fed { hottest_source(vessel, facts.readings) } else { None },
        })?;
        watch.forget();
        Some(match finding {
            Finding::UnaskedHeat => Trip::UnaskedHeat(element),
            Finding::NoRise => Trip::NoRise(element),
        })
    }
}

/// The hottest vessel that heat can come from. Into the tank only the coil leads: the kettle's temperature explains nothing there, and lies
/// above the tank's limit.
fn hottest_source(vessel: Vessel, readings: &PerVessel<Reading>) -> Option<Celsius> {
    let sources: &[Vessel] = match vessel {
        Vessel::LiquorTank => &[Vessel::MashTun],
        Vessel::MashTun => &[Vessel::LiquorTank, Vessel::BoilKettle],
        Vessel::BoilKettle => &[Vessel::LiquorTank, Vessel::MashTun],
    };
    sources.iter().filter_map(|&source| readings.get(source).ok()).max()
}

#[cfg(test)]
mod tests;
