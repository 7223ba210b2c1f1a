//! A rehearsal: the real controller runs a whole brew day against the simulated brewery, with a simulated brewer at the panel.
//!
//! Time is virtual. The controller says until when its outputs stay as they are; the loop jumps there, so nothing is computed twice and
//! nothing is skipped. The plant moves once per control tick with the share of that time each element really conducted.

pub mod brewer;
mod heat_ups;
mod recorder;

use crate::day::Day;
use crate::files::{Diagnostic, RigFile, SheetFile};
use crate::fit;
use crate::plant::{Brewery, Drive};
use brewer::Brewer;
use copperhold_core::controller::{CONTROL_PERIOD, Controller, Inputs};
use copperhold_core::fast::{Outputs, Switches};
use copperhold_core::probe::{self, ProbeFault, ProbeSetup};
use copperhold_core::settings::SettingsError;
use copperhold_core::sheet::Sheet;
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::{Instant, Span};
use copperhold_core::vessel::{Element, PerElement, PerVessel};
use recorder::Recorder;

/// A day that is not over by then has gone wrong, s.
const LONGEST_DAY_S: f64 = 24.0 * 3600.0;
/// The key is turned and the button pressed at the start of the day, s.
const KEY_S: f64 = 1.0;
const PRESS_S: f64 = 2.0;
const RELEASE_S: f64 = 4.0;

/// Why a rehearsal could not be made.
#[derive(Debug)]
#[non_exhaustive]
pub enum RehearsalError {
    /// The sheet does not suit the rig.
    Sheet(Diagnostic),
    /// The controller does not accept the rig's figures.
    Settings(SettingsError),
    /// The day did not end within 24 hours.
    Endless {
        /// The step it stuck in.
        step: String,
    },
}

impl std::fmt::Display for RehearsalError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            RehearsalError::Sheet(diagnostic) => f.write_str(&diagnostic.render(false)),
            RehearsalError::Settings(error) => {
                write!(f, "the controller does not accept this rig: {error:?}; compare element power and vessel sizes")
            }
            RehearsalError::Endless { step } => write!(
                f,
                "the day did not end within 24 hours: it stuck in \"{step}\"; check that the element is strong enough for its target"
            ),
        }
    }
}

impl std::error::Error for RehearsalError {}

/// Progress of a rehearsal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress<'a> {
    /// Index of the present step.
    pub step: usize,
    /// Number of steps.
    pub steps: usize,
    /// Name of the present step.
    pub name: &'a str,
    /// Process time, s.
    pub t_s: f64,
}

/// A day under way.
pub struct Rehearsal {
    controller: Controller,
    brewery: Brewery,
    brewer: Brewer,
    setups: PerVessel<ProbeSetup>,
    recorder: Recorder,
    names: Vec<String>,
    outputs: Outputs,
    inputs: Inputs,
    now: Instant,
    /// Start of the present plant step, and how long each element has conducted since.
    plant_at: Instant,
    on_time: PerElement<Span>,
}

impl Rehearsal {
    /// Everything cold, the key off, the sheet loaded.
    ///
    /// # Errors
    /// The sheet does not suit the rig, or the controller does not accept the rig.
    pub fn new(rig: &RigFile, sheet: &SheetFile, seed: u64) -> Result<Rehearsal, RehearsalError> {
        let compiled: Sheet = sheet.compile(rig).map_err(RehearsalError::Sheet)?;
        let settings = fit::settings(rig).map_err(RehearsalError::Settings)?;
        let mut controller = Controller::new(settings, Knowledge::default());
        let recorder = Recorder::new(rig, sheet, &compiled, seed);
        controller.supervisor_mut().start(compiled);
        Ok(Rehearsal {
            controller,
            brewery: Brewery::new(&rig.rig, seed),
            brewer: Brewer::new(rig, sheet, seed),
            setups: fit::probes(&rig.rig),
            recorder,
            names: sheet.steps.iter().map(|step| step.name.clone()).collect(),
            outputs: Outputs::default(),
            inputs: Inputs {
                probes: PerVessel::build(|_| Err(ProbeFault::NotReady)),
                switches: Switches { stop_loop: true, ..Switches::default() },
            },
            now: Instant::START,
            plant_at: Instant::START,
            on_time: PerElement::default(),
        })
    }

    /// The controller, to look at.
    pub fn controller(&self) -> &Controller {
        &self.controller
    }

    /// The brewery, to look at and to interfere with.
    pub fn brewery_mut(&mut self) -> &mut Brewery {
        &mut self.brewery
    }

    /// Process time, s.
    pub fn t_s(&self) -> f64 {
        self.now.as_micros() as f64 * 1e-6
    }

    /// Where the day stands; `None` when it is over.
    pub fn progress(&self) -> Option<Progress<'_>> {
        let step = usize::from(self.controller.supervisor().sequencer()?.step());
        Some(Progress { step, steps: self.names.len(), name: self.names.get(step).map_or("done", String::as_str), t_s: self.t_s() })
    }

    /// Runs one control period. Returns false when the day is over.
    pub fn advance(&mut self) -> bool {
        let end = self.now.plus(CONTROL_PERIOD);
        self.panel();
        self.inputs.probes = PerVessel::build(|vessel| {
            let raw = fit::raw(self.brewery.sample(vessel).code);
            probe::convert(self.setups.get(vessel), raw)
        });
        while self.now < end {
            self.outputs = self.controller.tick(self.now, &self.inputs);
            self.recorder.count_lines(&self.outputs);
            let until = self.controller.next_due(self.now).min(end);
            self.pass(until);
        }
        self.move_plant();
        let prompt = self.controller.supervisor().status().directive.and_then(|directive| directive.prompt);
        let t_s = self.t_s();
        let answered = self.brewer.attend(t_s, prompt, &mut self.brewery);
        if answered && let Some(sequencer) = self.controller.supervisor_mut().sequencer_mut() {
            sequencer.answer();
        }
        self.recorder.record(t_s, &mut self.controller, &self.brewery, &self.outputs, prompt, answered);
        self.controller.supervisor().sequencer().is_some()
    }

    /// Runs to the end of the day. `watch` is called once per process minute.
    ///
    /// # Errors
    /// The day does not end within 24 hours.
    pub fn run(mut self, mut watch: impl FnMut(&Progress<'_>)) -> Result<Day, RehearsalError> {
        let mut ticks = 0_u32;
        while self.advance() {
            ticks += 1;
            if ticks.is_multiple_of(240)
                && let Some(progress) = self.progress()
            {
                watch(&progress);
            }
            if self.t_s() > LONGEST_DAY_S {
                let step = self.progress().map_or_else(String::new, |progress| progress.name.to_owned());
                return Err(RehearsalError::Endless { step });
            }
        }
        Ok(self.finish())
    }

    /// Closes the record.
    pub fn finish(self) -> Day {
        let t_s = self.t_s();
        self.recorder.finish(t_s, &self.controller, &self.brewery)
    }

    /// The brewer turns the key and arms at the start of the day.
    fn panel(&mut self) {
        let t_s = self.t_s();
        self.inputs.switches.key = t_s >= KEY_S;
        self.inputs.switches.arm = (PRESS_S..RELEASE_S).contains(&t_s);
    }

    fn pass(&mut self, until: Instant) {
        let Some(span) = until.since(self.now) else { return };
        if let Some(element) = self.outputs.element {
            let on_time = self.on_time.get_mut(element);
            *on_time = on_time.plus(span);
        }
        self.now = until;
    }

    fn move_plant(&mut self) {
        let Some(span) = self.now.since(self.plant_at) else { return };
        let dt_s = span.as_micros() as f64 * 1e-6;
        let share = |element: Element| self.on_time.get(element).as_micros() as f64 * 1e-6 / dt_s;
        let drive = Drive { element_on: PerElement::build(share), pumps: self.outputs.pumps };
        self.brewery.step(dt_s, &drive);
        self.plant_at = self.now;
        self.on_time = PerElement::default();
    }
}
