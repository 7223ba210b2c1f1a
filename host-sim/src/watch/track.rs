//! Makes a moment of what a controller says: the same for a rehearsal and for a board.

use super::state::{
    About, AdditionAbout, AdditionNow, Adjustable, AdviceNow, CALLED_FOR_S, DemandNow, FaultNow, Link, MOST_ADVICE, Now, PromptNow,
    SCHEMA, Source, StepAbout, StepNow, TimerNow, TripNow, VesselNow,
};
use super::words;
use crate::files::{RigFile, SheetFile};
use crate::fit;
use crate::report::measure::Measure;
use copperhold_core::probe::ProbeFault;
use copperhold_core::sequencer::may_step_on;
use copperhold_core::sheet::{Sheet, Step};
use copperhold_core::vessel::{Element, PerElement, PerVessel, Vessel};
use copperhold_core::wire::message::{PromptMessage, ReadingMessage, Telemetry};

/// Below the guard's limit by this much ends what a vessel accepts as a target, K.
const BELOW_LIMIT_K: f64 = 1.0;

/// What is known beside what the controller says.
#[derive(Debug, Clone, Default)]
pub struct Known {
    /// What does not change.
    pub about: About,
    /// The sheet's steps, as the core has them; empty if unknown.
    pub steps: Vec<Step>,
}

impl Known {
    /// From the files, as far as they are given. The sheet must suit the rig.
    pub fn of(rig: Option<&RigFile>, sheet: Option<(&SheetFile, &Sheet)>) -> Known {
        let settings = rig.and_then(|rig| fit::settings(rig).ok());
        let units = sheet.map(|(sheet, _)| sheet.units).or(rig.map(|rig| rig.units)).unwrap_or_default();
        let steps = sheet.map(|(_, compiled)| compiled.steps.iter().cloned().collect::<Vec<_>>()).unwrap_or_default();
        let named = sheet.map(|(sheet, _)| sheet.steps.as_slice()).unwrap_or_default();
        let about = About {
            units,
            rig: rig.map(|rig| rig.rig.name.clone()).unwrap_or_default(),
            sheet: sheet.map(|(sheet, _)| sheet.name.clone()).unwrap_or_default(),
            steps: named
                .iter()
                .zip(&steps)
                .map(|(named, step)| StepAbout {
                    name: named.name.clone(),
                    figures: words::figures(step, Measure(units)),
                    lasts_s: named.planned_s,
                    additions: named
                        .additions
                        .iter()
                        .map(|a| AdditionAbout { name: a.name.clone(), amount: a.amount.clone(), left_s: a.left_s })
                        .collect(),
                })
                .collect(),
            element_w: PerElement::build(|e| rig.map(|rig| *rig.rig.element_power_w().get(e)).filter(|watts| *watts > 0.0)),
            highest_c: PerVessel::build(|v| settings.as_ref().map(|s| fit::degrees(s.limit(v)) - BELOW_LIMIT_K)),
            boiling_c: settings.as_ref().map(|settings| fit::degrees(settings.get().boiling)),
            ..About::default()
        };
        Known { about, steps }
    }
}

/// Follows a controller from one message to the next.
#[derive(Debug)]
pub struct Track {
    known: Known,
    source: Source,
    boot: u32,
    last_s: Option<f64>,
    step: Option<(u8, f64)>,
    prompt: Option<(PromptMessage, f64)>,
    trip: Option<(String, Option<f64>)>,
    advice: Vec<AdviceNow>,
    /// The last boil's step, and when each of its additions was called.
    boil: Option<(u8, Vec<Option<f64>>)>,
    energy_j: f64,
    cautions: Vec<String>,
}

impl Track {
    /// Nothing heard yet.
    pub fn new(source: Source, boot: u32, known: Known) -> Track {
        Track {
            known,
            source,
            boot,
            last_s: None,
            step: None,
            prompt: None,
            trip: None,
            advice: Vec::new(),
            boil: None,
            energy_j: 0.0,
            cautions: Vec::new(),
        }
    }

    /// The source starts anew: its clock and its sheet begin again.
    pub fn restarted(&mut self, boot: u32) {
        let fresh = Track::new(self.source.clone(), boot, std::mem::take(&mut self.known));
        *self = Track { energy_j: self.energy_j, cautions: std::mem::take(&mut self.cautions), ..fresh };
    }

    /// Number that the source drew at its start.
    pub fn set_boot(&mut self, boot: u32) {
        self.boot = boot;
    }

    /// Who speaks.
    pub fn set_source(&mut self, source: Source) {
        self.source = source;
    }

    /// What a person should know beside the state; each text once.
    pub fn caution(&mut self, text: impl Into<String>) {
        let text = text.into();
        if !self.cautions.contains(&text) {
            self.cautions.push(text);
        }
    }

    /// A warning was given.
    pub fn advised(&mut self, at_s: f64, text: impl Into<String>) {
        self.advice.push(AdviceNow { at_s, text: text.into() });
        let surplus = self.advice.len().saturating_sub(MOST_ADVICE);
        self.advice.drain(..surplus);
    }

    /// The boil's addition of this index was called.
    pub fn called(&mut self, at_s: f64, index: usize) {
        if let Some((_, called)) = &mut self.boil {
            if called.len() <= index {
                called.resize(index + 1, None);
            }
            if let Some(slot) = called.get_mut(index) {
                slot.get_or_insert(at_s);
            }
        }
    }

    /// Number of additions of the last boil that were called.
    pub fn additions_called(&self) -> usize {
        self.boil.as_ref().map_or(0, |(_, called)| called.iter().flatten().count())
    }

    /// Takes note of what the controller says, without making a moment of it.
    pub fn look(&mut self, telemetry: &Telemetry) {
        let at_s = telemetry.at_ms as f64 / 1000.0;
        let passed_s = self.last_s.map_or(0.0, |last_s| (at_s - last_s).clamp(0.0, 5.0));
        self.last_s = Some(at_s);
        if self.step.map(|(step, _)| step) != telemetry.step {
            self.step = telemetry.step.map(|step| (step, at_s));
            if let Some(step) = telemetry.step.filter(|&step| matches!(self.kind(step), Some(Step::Boil { .. }) | None)) {
                self.boil = Some((step, Vec::new()));
            }
        }
        if self.prompt.map(|(prompt, _)| prompt) != telemetry.prompt {
            self.prompt = telemetry.prompt.map(|prompt| (prompt, at_s));
        }
        let cause = telemetry.trip.as_ref().map(|line| line.as_str());
        if self.trip.as_ref().map(|(cause, _)| cause.as_str()) != cause {
            // A trip that was there when the watch began is older than that.
            let seen_s = (passed_s > 0.0).then_some(at_s);
            self.trip = cause.map(|cause| (cause.to_owned(), seen_s));
        }
        for element in Element::ALL {
            let watts = self.known.about.element_w.get(element).unwrap_or(0.0);
            self.energy_j += passed_s * gets(telemetry, element) * watts;
        }
    }

    /// The moment.
    pub fn now(&self, telemetry: &Telemetry) -> Now {
        let at_s = telemetry.at_ms as f64 / 1000.0;
        let powered = Element::ALL.iter().any(|&e| self.known.about.element_w.get(e).is_some());
        Now {
            schema: SCHEMA,
            count: 0,
            at_s,
            age_s: 0.0,
            stale: false,
            boot: self.boot,
            source: self.source.clone(),
            link: Link::Live,
            vessels: PerVessel::build(|vessel| vessel_now(telemetry, vessel)),
            grant: telemetry.grant,
            contactor: telemetry.contactor,
            armed: telemetry.armed,
            stop_loop: telemetry.stop_loop,
            key: telemetry.key,
            block: telemetry.block.map(|block| block.remedy().to_owned()),
            pumps: telemetry.pumps,
            trip: self.trip.as_ref().map(|(cause, at_s)| TripNow {
                at_s: *at_s,
                cause: cause.clone(),
                remedy: words::remedy(cause).to_owned(),
            }),
            advice: self.advice.clone(),
            step: self.step_now(telemetry),
            prompt: self.prompt.map(|(message, asked_s)| {
                let prompt = words::prompt(message);
                PromptNow {
                    key: words::prompt_key(message),
                    text: prompt.ask(),
                    litres: prompt.volume().map(|litres| f64::from(litres.millilitres()) / 1000.0),
                    covers: words::covers(message),
                    asked_s,
                }
            }),
            timer: telemetry.timer_left_ms.map(|left_ms| TimerNow {
                left_s: f64::from(left_ms) / 1000.0,
                of_s: telemetry.step.and_then(|step| self.known.about.steps.get(usize::from(step))?.lasts_s),
                held: telemetry.held,
            }),
            additions: self.additions(telemetry, at_s),
            energy_kwh: powered.then_some(self.energy_j / 3.6e6),
            cautions: self.cautions.clone(),
        }
    }

    fn kind(&self, step: u8) -> Option<&Step> {
        self.known.steps.get(usize::from(step))
    }

    fn step_now(&self, telemetry: &Telemetry) -> Option<StepNow> {
        let (step, began_s) = self.step?;
        let index = usize::from(step);
        let steps = &self.known.about.steps;
        let kind = self.kind(step);
        let timed = telemetry.timer_left_ms.is_some();
        let set = &telemetry.setpoints;
        let by_demand = if set.mash_tun.is_some() || set.liquor_tank.is_some() {
            Some(Adjustable::Target)
        } else {
            (timed && telemetry.wanted.boil_kettle > 0).then_some(Adjustable::Share)
        };
        let adjustable = match kind {
            Some(Step::HeatStrike { .. } | Step::Rest { .. } | Step::MashOut { .. } | Step::Sparge { .. }) => {
                Some(Adjustable::Target)
            }
            Some(Step::Boil { .. }) => Some(Adjustable::Share),
            Some(Step::DoughIn { .. } | Step::BringToBoil | Step::KnockOut | Step::Whirlpool { .. } | Step::Chill { .. }) => None,
            None => by_demand,
        };
        Some(StepNow {
            index,
            of: steps.len(),
            name: steps.get(index).map_or_else(|| format!("Step {}", index + 1), |step| step.name.clone()),
            doing: match (telemetry.prompt.is_some(), kind) {
                (true, _) => "Waiting for you",
                (false, Some(Step::Rest { .. })) if timed => "Resting",
                (false, Some(Step::MashOut { .. })) if timed => "Mash-out",
                (false, Some(kind)) => words::doing(kind),
                (false, None) if timed => "Timer runs",
                (false, None) => "On its way",
            },
            next: steps.get(index + 1).map(|step| step.name.clone()),
            began_s,
            may_step_on: telemetry.prompt.is_none() && kind.is_none_or(may_step_on),
            may_adjust: adjustable,
        })
    }

    fn additions(&self, telemetry: &Telemetry, at_s: f64) -> Vec<AdditionNow> {
        let Some((boil, called)) = &self.boil else { return Vec::new() };
        let listed = self.known.about.steps.get(usize::from(*boil)).map(|step| step.additions.as_slice()).unwrap_or_default();
        let under_way = telemetry.step == Some(*boil);
        let left_s = telemetry.timer_left_ms.filter(|_| under_way).map(|ms| f64::from(ms) / 1000.0);
        (0..listed.len().max(called.len()))
            .filter_map(|index| {
                let called_s = called.get(index).copied().flatten();
                let recent = called_s.is_some_and(|called_s| at_s - called_s < CALLED_FOR_S);
                if !under_way && !recent {
                    return None;
                }
                let named = listed.get(index);
                Some(AdditionNow {
                    name: named.map_or_else(|| format!("Addition {}", index + 1), |addition| addition.name.clone()),
                    amount: named.map(|addition| addition.amount.clone()).unwrap_or_default(),
                    left_s: named.map_or(0.0, |addition| addition.left_s),
                    due_in_s: named.zip(left_s).filter(|_| called_s.is_none()).map(|(a, left_s)| (left_s - a.left_s).max(0.0)),
                    called_s,
                })
            })
            .collect()
    }
}

/// Share of full power that an element gets.
fn gets(telemetry: &Telemetry, element: Element) -> f64 {
    let granted = telemetry.grant == Some(element);
    if granted { f64::from(*telemetry.wanted.get(element)) / 10_000.0 } else { 0.0 }
}

fn vessel_now(telemetry: &Telemetry, vessel: Vessel) -> VesselNow {
    let (reading_c, fault) = match *telemetry.readings.get(vessel) {
        ReadingMessage::Milli(milli) => (Some(f64::from(milli) / 1000.0), None),
        ReadingMessage::Fault(fault) => (None, Some(fault_now(fault))),
    };
    let wanted = vessel.element().map(|element| f64::from(*telemetry.wanted.get(element)) / 10_000.0);
    let demand = match (telemetry.setpoints.get(vessel), wanted) {
        (Some(milli), _) => DemandNow::Hold { target_c: f64::from(*milli) / 1000.0 },
        (None, Some(share)) if share > 0.0 => DemandNow::Percent { share },
        (None, Some(_) | None) => DemandNow::Off,
    };
    VesselNow { reading_c, fault, demand, duty: vessel.element().map(|element| gets(telemetry, element)), wanted }
}

fn fault_now(fault: ProbeFault) -> FaultNow {
    FaultNow { cause: fault.cause(), remedy: fault.remedy() }
}
