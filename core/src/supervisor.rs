//! The supervisor: the control tick, four times a second.
//!
//! ```text
//!   readings -> plausibility -> guard (may hold or trip) -> sequencer (what the sheet wants) -> cascade (mash to tank)
//!            -> heat control (demand to duty) -> arbiter (who gets the element) -> lease for the fast path
//! ```
//!
//! The guard comes first and does not know the demand. When it trips, or the controller is disarmed, every demand made by hand is
//! dropped, and a sheet stands still: neither its time nor a temperature moves it. A person who acknowledges and arms again sets it
//! going where it stood; heat never comes back by itself.

use crate::arbiter::{Arbiter, Want};
use crate::boil::{Boil, Phase};
use crate::cascade::Cascade;
use crate::event::{Event, Log};
use crate::fast::{FastReport, Lease, Selector, Switches};
use crate::guard::detectors::{DetectorFacts, Detectors};
use crate::guard::service::Service;
use crate::guard::{Advice, Facts, Guard, Notice, Verdict};
use crate::heat::{Demand, HeatConfig, HeatControl, Learned};
use crate::probe::plausibility::Plausibility;
use crate::probe::{ProbeFault, Reading};
use crate::sequencer::{Directive, Figure, Note, Seen, Sequencer};
use crate::settings::Settings;
use crate::sheet::{Sheet, Step};
use crate::units::{Celsius, Duty, Instant, Kelvin, Span};
use crate::vessel::{Element, PerElement, PerVessel, Pumps, Vessel};

/// A vessel holds, rather than heats up, within this distance of its target.
pub const HOLDING: Kelvin = Kelvin::from_milli(1_000);

/// Entries that the log holds until somebody takes them: a tick makes two or three at the very most.
pub const LOG: usize = 24;

/// Why a command was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refusal {
    /// The vessel has no element, and is not the mash tun either.
    NoElement(Vessel),
    /// A percentage makes no sense for the mash tun: it has no element of its own.
    MashPercent,
    /// The target is above the vessel's hard limit, or at or below freezing.
    Target(Vessel),
    /// A sheet is running; it makes the demands.
    SheetRuns,
    /// A trip is latched.
    Tripped,
    /// No sheet runs, it has moved on, or its step has no such figure.
    Step,
}

impl Refusal {
    /// What is wrong and what to do.
    pub const fn text(self) -> &'static str {
        match self {
            Refusal::NoElement(_) => "this vessel has no element in the rig: name one in the rig file",
            Refusal::MashPercent => "the mash tun has no element: give it a temperature to hold",
            Refusal::Target(_) => "the target must be above 0 C and at least 1 K below the vessel's limit",
            Refusal::SheetRuns => "a sheet is running and makes the demands: stop the sheet first",
            Refusal::Tripped => "a trip is latched: remove its cause and acknowledge it at the panel",
            Refusal::Step => "the sheet has moved on, or this step has no such figure: look again",
        }
    }
}

/// What was learned, for storing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Knowledge {
    /// Of each heated vessel.
    pub vessels: PerElement<Option<Learned>>,
    /// The tank's offset over the mash.
    pub mash_offset: Option<Kelvin>,
}

/// What a display or a report shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Status {
    /// Readings after the plausibility filter.
    pub readings: PerVessel<Reading>,
    /// Setpoints in force; the tank's follows the mash cascade.
    pub setpoints: PerVessel<Option<Celsius>>,
    /// What heat control asked for, before the arbiter.
    pub wanted: PerElement<Duty>,
    /// The vessel that gets less than it wants.
    pub yields: Option<Element>,
    /// Share of full power that each vessel wanted over the last minutes and did not have, because the other had the element.
    pub missed: PerElement<Duty>,
    /// The mash does not answer the tank: its flow has stopped.
    pub flow_stopped: bool,
    /// What the sheet would like, while one runs.
    pub directive: Option<Directive>,
}

/// The supervisor.
#[derive(Debug, Clone)]
// In this order, the long ones last: a Cortex-M0+ reaches the first bytes of a structure with less code.
#[repr(C)]
pub struct Supervisor {
    was_armed: bool,
    coil_would_cool: bool,
    /// The mash is held through the coil.
    through_coil: bool,
    /// Its pump must rest: nothing flows.
    pump_rests: bool,
    commanded: bool,
    asked: bool,
    /// Pumps that ran since the last tick.
    running: Pumps,
    pumps: Pumps,
    last_panel: ByHand,
    last_grant: Option<Element>,
    demands: PerVessel<Demand>,
    /// Nominal and measured.
    mains_mv: Option<(u32, u32)>,
    status: Status,
    arbiter: Arbiter,
    cascade: Cascade,
    service: Service,
    guard: Guard,
    boil: Option<Boil>,
    detectors: Detectors,
    filters: PerVessel<Plausibility>,
    settings: Settings,
    heat: PerElement<Option<HeatControl>>,
    log: Log<LOG>,
    sequencer: Option<Sequencer>,
}

impl Supervisor {
    /// Nothing demanded, nothing latched.
    pub fn new(settings: Settings, knowledge: Knowledge) -> Supervisor {
        let draft = settings.get();
        Supervisor {
            settings,
            filters: PerVessel::build(|vessel| Plausibility::new(*draft.plausible.get(vessel))),
            guard: Guard::new(draft.limit),
            sequencer: None,
            demands: PerVessel::build(|_| Demand::Off),
            pumps: Pumps::default(),
            cascade: Cascade::new(draft.cascade_limit, knowledge.mash_offset),
            coil_would_cool: false,
            boil: None,
            mains_mv: None,
            heat: PerElement::build(|element| {
                let config = HeatConfig::new(settings.fastest(element)?).ok()?.with_brimful(settings.slowest(element)?);
                let heat = HeatControl::new(config, *knowledge.vessels.get(element));
                Some(match element {
                    Element::LiquorTank => heat,
                    Element::BoilKettle => heat.half_a_step_later(),
                })
            }),
            arbiter: Arbiter::new(),
            was_armed: false,
            last_grant: None,
            detectors: Detectors::new(&settings),
            service: Service::new(),
            running: Pumps::default(),
            through_coil: false,
            pump_rests: false,
            last_panel: moved_by_hand(&Switches::default()),
            commanded: false,
            asked: false,
            status: Status {
                readings: PerVessel::build(|_| Err(ProbeFault::NotReady)),
                setpoints: PerVessel::default(),
                wanted: PerElement::default(),
                yields: None,
                missed: PerElement::default(),
                flow_stopped: false,
                directive: None,
            },
            log: Log::new(),
        }
    }

    /// The figures in force.
    pub const fn settings(&self) -> &Settings {
        &self.settings
    }

    /// What a display shows.
    pub const fn status(&self) -> &Status {
        &self.status
    }

    /// The guard.
    pub const fn guard(&self) -> &Guard {
        &self.guard
    }

    /// The sheet's progress.
    pub const fn sequencer(&self) -> Option<&Sequencer> {
        self.sequencer.as_ref()
    }

    /// The sheet's progress, for a person to answer, skip or pause.
    pub const fn sequencer_mut(&mut self) -> Option<&mut Sequencer> {
        self.sequencer.as_mut()
    }

    /// The kettle's way to the boil, while it is on it.
    pub const fn boil(&self) -> Option<&Boil> {
        self.boil.as_ref()
    }

    /// The mash cascade.
    pub const fn cascade(&self) -> &Cascade {
        &self.cascade
    }

    /// Heat control of one element; `None` where the rig has none.
    #[inline(never)]
    pub const fn heat(&self, element: Element) -> Option<&HeatControl> {
        self.heat.get(element).as_ref()
    }

    /// The event log.
    pub const fn log(&mut self) -> &mut Log<LOG> {
        &mut self.log
    }

    /// What was learned so far.
    pub fn knowledge(&self) -> Knowledge {
        Knowledge {
            vessels: PerElement::build(|element| self.heat(element).and_then(HeatControl::learned)),
            mash_offset: Some(self.cascade.offset()),
        }
    }

    /// Starts a sheet. It takes over the demands.
    pub fn start(&mut self, sheet: Sheet) {
        self.sequencer = Some(Sequencer::new(sheet));
    }

    /// Starts a sheet whose steps come one by one: no second copy of it is made. Steps past the most a sheet can hold are left out.
    pub fn start_steps(&mut self, steps: impl Iterator<Item = Step>) {
        let sequencer = self.sequencer.insert(Sequencer::new(Sheet::default()));
        sequencer.extend(steps);
    }

    /// Stops the sheet; everything it demanded is off.
    pub fn stop_sheet(&mut self) {
        self.sequencer = None;
        self.drop_demands();
    }

    /// A demand made by hand.
    ///
    /// # Errors
    /// Refused while a sheet runs, while a trip is latched, for a vessel without an element, and for a target out of range. The demand in
    /// force stays.
    pub fn demand(&mut self, vessel: Vessel, demand: Demand) -> Result<(), Refusal> {
        if self.sequencer.is_some() {
            return Err(Refusal::SheetRuns);
        }
        match demand {
            Demand::Off => {}
            Demand::Hold(_) | Demand::Percent(_) if self.guard.latch().is_some() => return Err(Refusal::Tripped),
            Demand::Hold(target) => self.check_target(vessel, target)?,
            Demand::Percent(_) if vessel == Vessel::MashTun => return Err(Refusal::MashPercent),
            Demand::Percent(_) => {}
        }
        let heated_by = vessel.element().unwrap_or(Element::LiquorTank);
        if demand != Demand::Off && self.settings.get().element_power.get(heated_by).is_none() {
            return Err(Refusal::NoElement(vessel));
        }
        let held = self.demands.get_mut(vessel);
        // A host that repeats itself is no person.
        self.commanded |= *held != demand;
        *held = demand;
        Ok(())
    }

    /// Another figure for the step under way, which must be `step`.
    ///
    /// # Errors
    /// Refused while a trip is latched, for a step that is not under way or has no such figure, and for a target out of range.
    pub fn adjust(&mut self, step: u8, figure: Figure) -> Result<(), Refusal> {
        if self.guard.latch().is_some() {
            return Err(Refusal::Tripped);
        }
        let sequencer = self.sequencer.as_ref().filter(|sequencer| sequencer.step() == step).ok_or(Refusal::Step)?;
        if let Figure::Target(target) = figure {
            self.check_target(sequencer.target_vessel().ok_or(Refusal::Step)?, target)?;
        }
        let done = self.sequencer.as_mut().is_some_and(|sequencer| sequencer.adjust(figure));
        if done { Ok(()) } else { Err(Refusal::Step) }
    }

    /// Voltage at the elements, measured, in millivolts; `nominal_mv` is the one that the settings' element powers are for. A fixed share of
    /// full power is then made good for it. `None`: not measured.
    pub const fn mains(&mut self, nominal_mv: u32, measured_mv: Option<u32>) {
        self.mains_mv = match measured_mv {
            Some(measured) => Some((nominal_mv, measured)),
            None => None,
        };
    }

    /// Pumps switched by hand. A sheet overrides them.
    pub const fn pump(&mut self, pumps: Pumps) {
        self.pumps = pumps;
    }

    fn check_target(&self, vessel: Vessel, target: Celsius) -> Result<(), Refusal> {
        let highest = self.settings.limit(vessel).less(Kelvin::from_milli(1_000));
        if target > Celsius::default() && target <= highest { Ok(()) } else { Err(Refusal::Target(vessel)) }
    }

    /// One control tick: what the fast path may do until the next. `elapsed` is the real time since the last one.
    pub fn tick(
        &mut self,
        now: Instant,
        elapsed: Span,
        raw: &PerVessel<Reading>,
        switches: &Switches,
        report: &FastReport,
    ) -> Lease {
        let readings = PerVessel::build(|vessel| self.filters.get_mut(vessel).check(now, *raw.get(vessel)));
        self.status.readings = readings;
        self.note_fast(now, report);
        let verdict = self.watch(now, elapsed, readings, switches, report);
        if verdict == Verdict::Tripped || report.disarmed {
            self.drop_demands();
        }
        self.was_armed = report.armed;

        let stands = verdict == Verdict::Tripped || !report.armed;
        let directive = self.follow_sheet(now, elapsed, &readings, stands);
        let demands = directive.as_ref().map_or(self.demands, |directive| directive.demands);
        self.through_coil = matches!(demands.mash_tun, Demand::Hold(_));
        // A mash held by hand is held through the coil, so it recirculates.
        let by_hand = Pumps { mash: self.pumps.mash || matches!(self.demands.mash_tun, Demand::Hold(_)), ..self.pumps };
        let pumps = directive.as_ref().map_or(by_hand, |directive| directive.pumps);
        let to_the_boil = directive.is_some_and(|directive| directive.to_the_boil);
        self.status.directive = directive;

        let wants = self.heat_wants(now, elapsed, &readings, &demands, to_the_boil, report);
        // A vessel that may not be granted must not keep the other waiting.
        let wants = PerElement::build(|e| if switches.selector.allows(e) { *wants.get(e) } else { Want::default() });
        let pumps = Pumps { mash: pumps.mash && !self.coil_would_cool && !self.pump_rests, ..pumps };
        let may_heat = verdict == Verdict::Clear && report.armed;
        let sees = |element: Element| readings.get(element.vessel()).is_ok();
        let heat = self.arbiter.tick(elapsed, &wants, &report.applied).filter(|&(element, _)| may_heat && sees(element));
        self.status.yields = self.arbiter.yields(&wants);
        self.status.missed = self.arbiter.missed();
        self.running = if report.armed { pumps } else { Pumps::default() };
        Lease { tripped: verdict == Verdict::Tripped, hold: verdict == Verdict::Hold, heat, pumps }
    }

    /// Learning ahead of the next tick: for the time when the lease is out. Without it the next tick does the same.
    pub fn study(&mut self) {
        for heat in [&mut self.heat.liquor_tank, &mut self.heat.boil_kettle].into_iter().flatten() {
            heat.study();
        }
        self.cascade.study();
    }

    /// Whether a person did something since the last tick: at the panel, or by a command.
    #[inline(never)]
    fn take_attended(&mut self, switches: &Switches) -> bool {
        let panel = moved_by_hand(switches);
        let moved = panel != self.last_panel;
        self.last_panel = panel;
        let answered = self.sequencer.as_mut().is_some_and(Sequencer::take_attended);
        core::mem::take(&mut self.commanded) || answered || moved
    }

    #[inline(never)]
    fn note_fast(&mut self, now: Instant, report: &FastReport) {
        if report.disarmed {
            self.log.push(now, Event::Disarmed);
        }
        if report.armed && (report.disarmed || !self.was_armed) {
            self.log.push(now, Event::Armed);
        }
        if report.grant != self.last_grant {
            self.last_grant = report.grant;
            self.log.push(now, Event::Grant(report.grant));
        }
    }

    fn watch(
        &mut self,
        now: Instant,
        elapsed: Span,
        readings: PerVessel<Reading>,
        switches: &Switches,
        report: &FastReport,
    ) -> Verdict {
        self.service.tick(elapsed, &readings, self.running, report);
        let attended = self.take_attended(switches);
        let learned = PerElement::build(|element| {
            let learned = self.heat(element)?.learned()?;
            Some((learned.slope(), learned.lag()))
        });
        let found = self.detectors.tick(&DetectorFacts {
            elapsed,
            readings: &readings,
            pumps: self.running,
            report,
            service: &self.service,
            sense: switches.sense,
            learned,
            attended,
            coil: self.through_coil,
            acknowledge: switches.acknowledge,
        });
        self.pump_rests = found.pump_rests;
        if let Some(advice) = found.advice {
            self.log.push(now, Event::Advised(advice));
        }
        if found.ask && !self.asked {
            self.log.push(now, Event::Advised(Advice::PersonWanted));
        }
        self.asked = found.ask;
        let facts = Facts {
            now,
            elapsed,
            readings,
            relied: self.service.relied(),
            stopped: report.stopped,
            stop_loop: switches.stop_loop,
            clock_fault: report.clock_fault,
            acknowledge: switches.acknowledge,
            found: found.trip,
            hold: found.hold,
        };
        let log = &mut self.log;
        self.guard.tick(&facts, |notice| {
            log.push(
                now,
                match notice {
                    Notice::Tripped(trip) => Event::Tripped(trip),
                    Notice::Acknowledged(trip) => Event::Acknowledged(trip),
                    Notice::Advised(advice) => Event::Advised(advice),
                },
            );
        })
    }

    fn follow_sheet(&mut self, now: Instant, elapsed: Span, readings: &PerVessel<Reading>, stands: bool) -> Option<Directive> {
        let seen = Seen {
            elapsed,
            stands,
            readings: PerVessel::build(|vessel| readings.get(vessel).ok()),
            boils: self.boil.as_ref().is_some_and(|boil| matches!(boil.phase(), Phase::HotBreak { .. } | Phase::Rolling { .. })),
            boiling: self.settings.get().boiling,
            recirculating: self.running.mash,
        };
        let log = &mut self.log;
        let sequencer = self.sequencer.as_mut()?;
        let directive = sequencer.tick(&seen, |note| {
            log.push(
                now,
                match note {
                    Note::Step(step) => Event::Step(step),
                    Note::Addition(addition) => Event::Addition(addition),
                    Note::Stood(time) => Event::SheetStood(time),
                    Note::Done => Event::SheetDone,
                },
            );
        });
        if directive.is_none() {
            self.stop_sheet();
        }
        directive
    }

    fn drop_demands(&mut self) {
        self.demands = PerVessel::build(|_| Demand::Off);
        self.pumps = Pumps::default();
        self.boil = None;
    }
}

/// What of the switches a person's hand moves.
type ByHand = (bool, bool, bool, bool, Selector);

const fn moved_by_hand(switches: &Switches) -> ByHand {
    (switches.stop_loop, switches.key, switches.arm, switches.acknowledge, switches.selector)
}

mod wants;

#[cfg(test)]
mod tests;
