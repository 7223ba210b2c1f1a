//! From what the sheet or a person asks of the vessels to what each element wants: the cascade for the mash, the way to the boil, heat control.

use super::{HOLDING, Supervisor};
use crate::arbiter::Want;
use crate::boil::{Boil, Phase};
use crate::boil_power::compensated;
use crate::cascade::Tank;
use crate::event::Event;
use crate::fast::FastReport;
use crate::guard::Advice;
use crate::heat::{Demand, HeatControl};
use crate::probe::Reading;
use crate::units::{Celsius, Duty, Instant, Kelvin, Slope, Span};
use crate::vessel::{Element, PerElement, PerVessel, Vessel};

impl Supervisor {
    pub(super) fn heat_wants(
        &mut self,
        now: Instant,
        elapsed: Span,
        readings: &PerVessel<Reading>,
        demands: &PerVessel<Demand>,
        to_the_boil: bool,
        report: &FastReport,
    ) -> PerElement<Want> {
        let tank = self.tank_demand(now, elapsed, readings, demands, report);
        let kettle = self.kettle_demand(elapsed, readings, demands, to_the_boil, report);
        self.status.setpoints = PerVessel {
            liquor_tank: target_of(tank),
            mash_tun: target_of(demands.mash_tun),
            boil_kettle: if to_the_boil { Some(self.settings.get().boiling) } else { target_of(kettle) },
        };
        let wants = PerElement {
            liquor_tank: self.want(Element::LiquorTank, elapsed, readings, tank, report),
            boil_kettle: self.want(Element::BoilKettle, elapsed, readings, kettle, report),
        };
        self.status.wanted = PerElement::build(|element| wants.get(element).duty);
        wants
    }

    /// The tank's demand; while the mash is held, the cascade makes it.
    fn tank_demand(
        &mut self,
        now: Instant,
        elapsed: Span,
        readings: &PerVessel<Reading>,
        demands: &PerVessel<Demand>,
        report: &FastReport,
    ) -> Demand {
        self.coil_would_cool = false;
        let Demand::Hold(target) = demands.mash_tun else {
            self.cascade.rest();
            self.status.flow_stopped = false;
            return self.made_good(demands.liquor_tank);
        };
        // The guard holds while either probe has a fault.
        let (Ok(mash), Ok(reading), Some(heat)) = (readings.mash_tun, readings.liquor_tank, &self.heat.liquor_tank) else {
            self.cascade.rest();
            return Demand::Off;
        };
        let slope = slope_of(heat);
        let tank = Tank { reading, settled: heat.settled(), slope, applied: report.applied.liquor_tank };
        let goal = self.cascade.tick(elapsed, target, mash, &tank);
        if goal.flow_stopped && !self.status.flow_stopped {
            self.log.push(now, Event::Advised(Advice::FlowStopped));
        }
        self.status.flow_stopped = goal.flow_stopped;
        let highest = self.settings.limit(Vessel::LiquorTank).less(Kelvin::from_milli(2_000));
        self.coil_would_cool = !goal.recirculate;
        Demand::Hold(goal.tank.min(highest))
    }

    fn kettle_demand(
        &mut self,
        elapsed: Span,
        readings: &PerVessel<Reading>,
        demands: &PerVessel<Demand>,
        to_the_boil: bool,
        report: &FastReport,
    ) -> Demand {
        let asked = self.made_good(demands.boil_kettle);
        let limit = match (to_the_boil, asked, &self.boil) {
            (true, _, _) => Duty::FULL,
            // The boil's time runs from the plateau on, so its first minutes are the hot break's.
            (false, Demand::Percent(share), Some(boil)) if matches!(boil.phase(), Phase::HotBreak { .. }) => share,
            (false, _, _) => {
                self.boil = None;
                return asked;
            }
        };
        let Ok(reading) = readings.boil_kettle else { return Demand::Off };
        let Some(heat) = &self.heat.boil_kettle else { return Demand::Off };
        let boil = self.boil.get_or_insert_with(|| Boil::new(self.settings.get().boiling));
        let kept = boil.tick(elapsed, reading, heat.settled(), slope_of(heat), report.applied.boil_kettle);
        Demand::Percent(kept.min(limit))
    }

    /// A fixed share, made good for the voltage where it is measured.
    fn made_good(&self, demand: Demand) -> Demand {
        match (demand, self.mains_mv) {
            (Demand::Percent(duty), Some((nominal, measured))) => Demand::Percent(compensated(duty, nominal, measured)),
            (Demand::Off | Demand::Hold(_) | Demand::Percent(_), _) => demand,
        }
    }

    fn want(
        &mut self,
        element: Element,
        elapsed: Span,
        readings: &PerVessel<Reading>,
        demand: Demand,
        report: &FastReport,
    ) -> Want {
        let (Some(heat), Ok(reading)) = (self.heat.get_mut(element), *readings.get(element.vessel())) else {
            return Want::default();
        };
        let duty = heat.tick(elapsed, reading, *report.applied.get(element), demand);
        let holding = target_of(demand).is_some_and(|target| target.above(reading) < HOLDING);
        Want { duty, holding, slope: slope_of(heat) }
    }
}

fn target_of(demand: Demand) -> Option<Celsius> {
    match demand {
        Demand::Hold(target) => Some(target),
        Demand::Off | Demand::Percent(_) => None,
    }
}

fn slope_of(heat: &HeatControl) -> Option<Slope> {
    heat.learned().map(|learned| learned.slope())
}
