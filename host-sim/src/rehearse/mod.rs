//! A rehearsal: the real controller runs a whole brew day against the simulated brewery, with a simulated brewer at the panel.

pub mod brewer;
mod heat_ups;
mod recorder;
mod sharing;

use crate::bench::{Bench, Honest, Tamper};
use crate::day::Day;
use crate::files::{Diagnostic, RigFile, SheetFile};
use crate::plant::Brewery;
use brewer::Brewer;
use copperhold_core::controller::Controller;
use copperhold_core::fast::{Outputs, Switches};
use copperhold_core::sequencer::Prompt;
use copperhold_core::settings::SettingsError;
use copperhold_core::sheet::Sheet;
use copperhold_core::supervisor::Knowledge;
use recorder::Recorder;

/// A day that is not over by then has gone wrong, s.
const LONGEST_DAY_S: f64 = 24.0 * 3600.0;
/// After a trip the day is watched for this long, s, and then ends.
const WATCH_TRIP_S: f64 = 300.0;

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
pub struct Rehearsal<T: Tamper = Honest> {
    bench: Bench<T>,
    brewer: Brewer,
    recorder: Recorder,
    names: Vec<String>,
}

impl Rehearsal {
    /// Everything cold, the key off, the sheet loaded.
    ///
    /// # Errors
    /// The sheet does not suit the rig, or the controller does not accept the rig.
    pub fn new(rig: &RigFile, sheet: &SheetFile, seed: u64) -> Result<Rehearsal, RehearsalError> {
        let compiled: Sheet = sheet.compile(rig).map_err(RehearsalError::Sheet)?;
        let mut bench = Bench::new(rig, seed, Knowledge::default()).map_err(RehearsalError::Settings)?;
        let recorder = Recorder::new(rig, sheet, &compiled, seed);
        bench.controller.supervisor_mut().start(compiled);
        let names = sheet.steps.iter().map(|step| step.name.clone()).collect();
        Ok(Rehearsal { bench, brewer: Brewer::new(rig, sheet, seed), recorder, names })
    }

    /// The same day with something between brewery and controller.
    pub fn tampered<U: Tamper>(self, tamper: U) -> Rehearsal<U> {
        Rehearsal { bench: self.bench.tampered(tamper), brewer: self.brewer, recorder: self.recorder, names: self.names }
    }
}

impl<T: Tamper> Rehearsal<T> {
    /// The controller, to look at.
    pub fn controller(&self) -> &Controller {
        &self.bench.controller
    }

    /// The controller, to command.
    pub fn controller_mut(&mut self) -> &mut Controller {
        &mut self.bench.controller
    }

    /// The panel and the power side: the switches as the controller sees them next, and the outputs in force.
    pub fn panel(&self) -> (&Switches, &Outputs) {
        (&self.bench.switches, self.bench.outputs())
    }

    /// Somebody answers before the simulated brewer does: the hands do at once what they can, and the sheet moves on.
    pub fn answer(&mut self, prompt: Prompt) {
        self.brewer.hurry(prompt, &mut self.bench.brewery);
        if let Some(sequencer) = self.bench.controller.supervisor_mut().sequencer_mut() {
            sequencer.answer(prompt);
        }
        self.recorder.answered(self.bench.t_s(), prompt);
    }

    /// The brewery, to look at.
    pub fn brewery(&self) -> &Brewery {
        &self.bench.brewery
    }

    /// The brewery, to look at and to interfere with.
    pub fn brewery_mut(&mut self) -> &mut Brewery {
        &mut self.bench.brewery
    }

    /// Process time, s.
    pub fn t_s(&self) -> f64 {
        self.bench.t_s()
    }

    /// Where the day stands; `None` when it is over.
    pub fn progress(&self) -> Option<Progress<'_>> {
        let step = usize::from(self.controller().supervisor().sequencer()?.step());
        Some(Progress { step, steps: self.names.len(), name: self.names.get(step).map_or("done", String::as_str), t_s: self.t_s() })
    }

    /// Runs one control period. Returns false when the day is over.
    pub fn advance(&mut self) -> bool {
        self.bench.open_the_day();
        self.bench.advance();
        let t_s = self.t_s();
        let prompt = self.controller().supervisor().status().directive.and_then(|directive| directive.prompt);
        let answered = self.brewer.attend(t_s, prompt, &mut self.bench.brewery);
        if answered && let (Some(prompt), Some(sequencer)) = (prompt, self.bench.controller.supervisor_mut().sequencer_mut()) {
            sequencer.answer(prompt);
        }
        self.recorder.record(&mut self.bench, prompt, answered);
        // The simulated brewer repairs nothing: after a trip the day is over.
        let tripped_at = self.controller().supervisor().guard().latch().map(|latch| latch.at.as_micros() as f64 * 1e-6);
        let over = tripped_at.is_some_and(|at_s| t_s > at_s + WATCH_TRIP_S);
        !over && self.controller().supervisor().sequencer().is_some()
    }

    /// Samples so far apart, s, 0.25 to 60; call it before the first [`Rehearsal::advance`]. The usual spacing is 5 s.
    pub fn sampled_every(mut self, seconds: f64) -> Rehearsal<T> {
        self.recorder.sample_every(seconds.clamp(0.25, 60.0));
        self
    }

    /// The record as far as it goes. Totals come at the end.
    pub fn day(&self) -> &Day {
        self.recorder.day()
    }

    /// Index, name and start (s) of the step under way.
    pub fn under_way(&self) -> Option<(usize, &str, f64)> {
        self.recorder.under_way()
    }

    /// Runs to the end of the day; `each` is called after every control period.
    ///
    /// # Errors
    /// What `each` says, or that the day does not end within 24 hours.
    pub fn run_with<E: From<RehearsalError>>(&mut self, mut each: impl FnMut(&Rehearsal<T>) -> Result<(), E>) -> Result<(), E> {
        while self.advance() {
            each(self)?;
            if self.t_s() > LONGEST_DAY_S {
                let step = self.progress().map_or_else(String::new, |progress| progress.name.to_owned());
                return Err(RehearsalError::Endless { step }.into());
            }
        }
        each(self)
    }

    /// Runs to the end of the day. `watch` is called once per process minute.
    ///
    /// # Errors
    /// The day does not end within 24 hours.
    pub fn run(mut self, mut watch: impl FnMut(&Progress<'_>)) -> Result<Day, RehearsalError> {
        let mut ticks = 0_u32;
        self.run_with(|rehearsal| {
            ticks += 1;
            if ticks.is_multiple_of(240)
                && let Some(progress) = rehearsal.progress()
            {
                watch(&progress);
            }
            Ok::<(), RehearsalError>(())
        })?;
        Ok(self.finish())
    }

    /// Closes the record.
    pub fn finish(self) -> Day {
        self.recorder.finish(&self.bench)
    }
}
