//! Writes down the day as it goes.

use super::heat_ups::HeatUps;
use super::sharing::Sharing;
use crate::bench::{Bench, Tamper};
use crate::day::{AdditionRecord, AdviceRecord, Day, Judged, PromptRecord, Sample, StepRecord, TripRecord, Volumes};
use crate::files::{AdditionText, RigFile, SheetFile};
use crate::fit;
use crate::plant::{Brewery, Truth, air};
use crate::report::measure::Measure;
use crate::sheet_subject::subject;
use copperhold_core::boil_power;
use copperhold_core::event::{Entry, Event};
use copperhold_core::heat::Demand;
use copperhold_core::sequencer::Prompt;
use copperhold_core::sheet::{Sheet, Step};
use copperhold_core::units::{Litres, Span, Watts};
use copperhold_core::vessel::{Element, PerElement, PerVessel, Vessel};

/// Spacing of the samples, s.
const SAMPLE_S: f64 = 5.0;

/// What is known of a step before it runs.
struct Plan {
    name: String,
    vessel: Option<Vessel>,
    target_c: Option<f64>,
    planned_s: Option<f64>,
    additions: Vec<AdditionText>,
    boils: bool,
}

/// The step under way.
struct Running {
    index: usize,
    started_s: f64,
    from_c: Option<f64>,
    energy_j: f64,
    judged: Judged,
}

/// The record being made.
pub struct Recorder {
    day: Day,
    plans: Vec<Plan>,
    running: Option<Running>,
    heat_ups: PerElement<HeatUps>,
    sharing: Sharing,
    asked: Option<(Prompt, f64)>,
    next_sample_s: f64,
    fired_s: PerElement<f64>,
    sample_started_s: f64,
    boil: Option<(f64, f64)>,
    boiled_over: bool,
}

impl Recorder {
    /// An empty record of a day.
    pub fn new(rig: &RigFile, sheet: &SheetFile, compiled: &Sheet, seed: u64) -> Recorder {
        let plans = sheet
            .steps
            .iter()
            .zip(&compiled.steps)
            .map(|(named, step)| {
                let (vessel, target_c) = subject(step);
                Plan {
                    name: named.name.clone(),
                    vessel,
                    target_c,
                    planned_s: named.planned_s,
                    additions: named.additions.clone(),
                    boils: matches!(step, Step::Boil { .. }),
                }
            })
            .collect();
        let day = Day {
            sheet: sheet.name.clone(),
            rig: rig.rig.name.clone(),
            seed,
            units: sheet.units,
            element_w: rig.rig.element_power_w(),
            sample_s: SAMPLE_S,
            boiling_c: air::boiling_point_c(rig.rig.site.altitude_m),
            volumes: Volumes::planned(&compiled.steps),
            ..Day::default()
        };
        Recorder {
            day,
            plans,
            running: None,
            heat_ups: PerElement::default(),
            sharing: Sharing::default(),
            asked: None,
            next_sample_s: 0.0,
            fired_s: PerElement::default(),
            sample_started_s: 0.0,
            boil: None,
            boiled_over: false,
        }
    }

    /// Changes the spacing of the samples, s.
    pub fn sample_every(&mut self, seconds: f64) {
        self.day.sample_s = seconds;
    }

    /// The record as far as it goes.
    pub fn day(&self) -> &Day {
        &self.day
    }

    /// Index, name and start of the step under way.
    pub fn under_way(&self) -> Option<(usize, &str, f64)> {
        let running = self.running.as_ref()?;
        Some((running.index, self.plans.get(running.index)?.name.as_str(), running.started_s))
    }

    /// Writes down one control period.
    pub fn record<T: Tamper>(&mut self, bench: &mut Bench<T>, prompt: Option<Prompt>, answered: bool) {
        let t_s = bench.t_s();
        let Bench { controller, brewery, .. } = bench;
        let truth = brewery.truth();
        self.prompts(t_s, prompt, answered);
        while let Some(entry) = controller.supervisor_mut().log().take() {
            self.event(t_s, entry, brewery);
        }
        let directive = controller.supervisor().status().directive;
        if truth.boiled_over && !self.boiled_over {
            self.boiled_over = true;
            self.day.advice.push(AdviceRecord { t_s, text: "the kettle boiled over".to_owned() });
        }
        self.follow_step(&truth, brewery.electric_j(), directive.is_some_and(|d| d.timer_left.is_some()));
        for element in Element::ALL {
            let target_c = directive.and_then(|d| match d.demands.get(element.vessel()) {
                Demand::Hold(target) => Some(fit::degrees(*target)),
                Demand::Off | Demand::Percent(_) => None,
            });
            self.heat_ups.get_mut(element).look(t_s, element, target_c, &truth, brewery);
        }
        self.sharing.look(t_s, &controller.supervisor().status().wanted, &brewery.energy().element_j, &self.day.element_w);
        if t_s >= self.next_sample_s {
            self.sample(&truth, bench);
        }
    }

    /// Closes the record.
    pub fn finish<T: Tamper>(mut self, bench: &Bench<T>) -> Day {
        let (t_s, controller, brewery) = (bench.t_s(), &bench.controller, &bench.brewery);
        self.close_step(t_s, brewery);
        self.day.two_elements_ticks = bench.both_on_ticks();
        self.day.boiling_c = brewery.boiling_c();
        self.day.energy = brewery.energy().kwh();
        self.day.yielded = self.sharing.yielded(&self.day.element_w);
        self.day.heat_ups =
            PerElement { liquor_tank: self.heat_ups.liquor_tank.finish(), boil_kettle: self.heat_ups.boil_kettle.finish() };
        if let Some(latch) = controller.supervisor().guard().latch()
            && self.day.trips.is_empty()
        {
            self.day.trips.push(TripRecord { t_s, cause: latch.trip.to_string(), remedy: latch.trip.remedy().to_owned() });
        }
        self.day
    }

    fn prompts(&mut self, t_s: f64, prompt: Option<Prompt>, answered: bool) {
        if self.asked.map(|(asked, _)| asked) != prompt {
            self.asked = prompt.map(|prompt| (prompt, t_s));
        }
        if answered && let Some((prompt, _)) = self.asked {
            self.answered(t_s, prompt);
        }
    }

    /// Somebody answered a prompt.
    pub fn answered(&mut self, t_s: f64, prompt: Prompt) {
        if let Some((_, asked_s)) = self.asked.take_if(|(asked, _)| *asked == prompt) {
            let litres = prompt.volume().map(|volume| f64::from(volume.millilitres()) / 1000.0);
            let text = Measure(self.day.units).asked_text(prompt.ask(), litres);
            self.day.prompts.push(PromptRecord { asked_s, answered_s: t_s, text });
        }
    }

    fn event(&mut self, t_s: f64, entry: Entry, brewery: &Brewery) {
        let at_s = entry.at.as_micros() as f64 * 1e-6;
        match entry.event {
            Event::Step(index) => {
                self.close_step(at_s, brewery);
                self.open_step(usize::from(index), at_s, brewery);
            }
            Event::SheetDone => self.close_step(at_s, brewery),
            Event::Addition(index) => {
                let addition = self.running.as_ref().and_then(|r| self.plans.get(r.index)?.additions.get(usize::from(index)));
                if let Some(addition) = addition {
                    let name = if addition.amount.is_empty() {
                        addition.name.clone()
                    } else {
                        format!("{} {}", addition.amount, addition.name)
                    };
                    self.day.additions.push(AdditionRecord { t_s: at_s, name, minutes_left: addition.left_s / 60.0 });
                }
            }
            Event::Tripped(trip) => {
                self.day.trips.push(TripRecord { t_s: at_s, cause: trip.to_string(), remedy: trip.remedy().to_owned() });
            }
            Event::Advised(advice) => self.day.advice.push(AdviceRecord { t_s, text: advice.to_string() }),
            Event::SheetStood(time) => {
                let text = format!("the sheet stood still for {} s and goes on where it stood", time.as_secs());
                self.day.advice.push(AdviceRecord { t_s, text });
            }
            Event::Armed | Event::Disarmed | Event::Grant(_) | Event::Acknowledged(_) => {}
        }
    }

    fn open_step(&mut self, index: usize, t_s: f64, brewery: &Brewery) {
        let Some(plan) = self.plans.get(index) else { return };
        let truth = brewery.truth();
        if plan.boils {
            self.day.volumes.pre_boil_l = truth.cold_l.boil_kettle;
            self.boil = Some((t_s, truth.cold_l.boil_kettle));
        }
        self.running = Some(Running {
            index,
            started_s: t_s,
            from_c: plan.vessel.filter(|&v| *truth.cold_l.get(v) > 0.1).map(|v| *truth.bulk_c.get(v)),
            energy_j: brewery.electric_j(),
            judged: Judged::default(),
        });
    }

    fn close_step(&mut self, t_s: f64, brewery: &Brewery) {
        let Some(running) = self.running.take() else { return };
        let Some(plan) = self.plans.get(running.index) else { return };
        let truth = brewery.truth();
        if plan.boils
            && let Some((began_s, from_l)) = self.boil
        {
            let to_l = truth.cold_l.boil_kettle;
            self.day.volumes.post_boil_l = to_l;
            let lasted = Span::from_millis(((t_s - began_s) * 1000.0) as u64);
            let mean = Watts::new(((brewery.electric_j() - running.energy_j) / (t_s - began_s).max(1e-9)).round() as u32);
            let litres = |l: f64| Litres::from_millilitres((l * 1000.0).round() as i32);
            self.day.volumes.dry_loss_w =
                boil_power::measure(litres(from_l), litres(to_l), lasted, mean).map(|loss| f64::from(loss.get()));
            self.day.volumes.boil_off_l_per_h = (from_l - to_l) / ((t_s - began_s) / 3600.0).max(1e-9);
        }
        self.day.steps.push(StepRecord {
            name: plan.name.clone(),
            started_s: running.started_s,
            ended_s: t_s,
            planned_s: plan.planned_s,
            vessel: plan.vessel,
            from_c: running.from_c,
            target_c: plan.target_c,
            to_c: plan.vessel.map(|v| *truth.bulk_c.get(v)),
            overshoot_k: running.judged.overshoot_k(plan.target_c),
            hold_rms_k: running.judged.hold_rms_k(),
            energy_kwh: (brewery.electric_j() - running.energy_j) / 3.6e6,
        });
    }

    /// Judges the step under way by the true bulk temperature of its vessel.
    fn follow_step(&mut self, truth: &Truth, electric_j: f64, timed: bool) {
        let Some(running) = &mut self.running else { return };
        let plan = self.plans.get(running.index);
        if let (None, Some(vessel)) = (running.from_c, plan.and_then(|plan| plan.vessel)) {
            // A vessel that was empty starts where its heat-up starts.
            let fed = running.energy_j < electric_j;
            running.from_c = fed.then(|| *truth.bulk_c.get(vessel));
        }
        let Some(Plan { vessel: Some(vessel), target_c: Some(target_c), boils: false, .. }) = plan else {
            return;
        };
        running.judged.look(running.from_c, *target_c, *truth.bulk_c.get(*vessel), timed);
    }

    fn sample<T: Tamper>(&mut self, truth: &Truth, bench: &Bench<T>) {
        let t_s = bench.t_s();
        let status = bench.controller.supervisor().status();
        let energy = bench.brewery.energy();
        let fired_s = PerElement::build(|e| energy.element_j.get(e) / self.day.element_w.get(e).max(1.0));
        let interval_s = (t_s - self.sample_started_s).max(1e-9);
        let duty = PerElement::build(|element| ((fired_s.get(element) - self.fired_s.get(element)) / interval_s).clamp(0.0, 1.0));
        self.day.samples.push(Sample {
            t_s: self.next_sample_s,
            reading_c: PerVessel::build(|v| status.readings.get(v).ok().map(fit::degrees)),
            setpoint_c: PerVessel::build(|v| status.setpoints.get(v).map(fit::degrees)),
            grant: bench.outputs().grant,
            duty,
            volume_l: truth.volume_l,
        });
        self.sample_started_s = t_s;
        self.fired_s = fired_s;
        self.next_sample_s += self.day.sample_s;
    }
}
