//! Co-simulation: the real controller on standard streams, for any plant that anyone writes.
//!
//! JSON Lines, one line in, one line out, in lock-step. The plant sends time, readings, switches and what a person at the panel does; the
//! controller answers with the state of its lines over the step that follows. A line that cannot be understood gets an error that names
//! the field; the outputs stay as they were for one step, and if the next line is bad too, everything is off until a good one comes.
//!
//! The panel is simulated: `arm` is a press and hold of its button for a quarter of a second, so the rules of arming apply - key seen off
//! since the last stop, stop loop closed, no trip latched. What a first line asks of the panel counts as done just before it.

mod line;

pub use line::{BadLine, Command, Line, SwitchChanges};

use crate::fit;
use copperhold_core::controller::{Controller, Inputs};
use copperhold_core::fast::{Outputs, Switches};
use copperhold_core::probe::ProbeFault;
use copperhold_core::settings::{Draft, Settings};
use copperhold_core::supervisor::{Knowledge, Refusal};
use copperhold_core::units::{Duty, Instant, Span};
use copperhold_core::vessel::{Element, PerElement, PerVessel};
use serde::Serialize;
use std::io::{self, BufRead, Write};

/// Internal time starts this far before the plant's: room for what the first line asks of the panel.
const LEAD_US: f64 = 1e6;
/// Mains voltage of a rig nobody has described, V: as of a rig file that gives none.
pub const ANY_RIG_V: f64 = crate::files::defaults::MAINS_V;
/// The arm button is held for this long.
const PRESS: Span = Span::from_millis(250);
/// Shortest and longest step, s, with a little room for rounding.
const STEP_S: std::ops::RangeInclusive<f64> = 0.009_999..=1.000_001;

/// The answer to a line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// Time of the line, s.
    pub t_s: f64,
    /// The element that conducts over the step that follows.
    pub element: Option<&'static str>,
    /// Share of full power asked of each element.
    pub duty: Duties,
    /// The contactor is closed.
    pub contactor: bool,
    /// Armed.
    pub armed: bool,
    /// The trip that is latched.
    pub trips: Vec<String>,
    /// Commands of this line that were refused, with the reason.
    pub refused: Vec<String>,
}

/// Share of full power per element, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Duties {
    /// Liquor tank.
    pub liquor_tank: f64,
    /// Boil kettle.
    pub boil_kettle: f64,
}

/// A controller that is driven line by line.
pub struct Cosim {
    controller: Controller,
    switches: Switches,
    outputs: Outputs,
    last_s: Option<f64>,
    last_bad: bool,
    /// The arm button is being held.
    pressing: bool,
    nominal_mv: u32,
}

impl Cosim {
    /// Everything off, the key off. `nominal_v`: the voltage that the settings' powers are for.
    pub fn new(settings: &Settings, nominal_v: f64, knowledge: Knowledge) -> Cosim {
        let draft = Draft { press: PRESS, ..*settings.get() };
        // Only the press was changed, and it is within its range.
        let settings = Settings::new(draft).unwrap_or(*settings);
        Cosim {
            controller: Controller::new(settings, knowledge),
            switches: Switches::default(),
            outputs: Outputs::default(),
            last_s: None,
            last_bad: false,
            pressing: false,
            nominal_mv: fit::millivolts(nominal_v),
        }
    }

    /// The controller, to look at.
    pub fn controller(&self) -> &Controller {
        &self.controller
    }

    /// Takes one line of text and gives the answer as one line of JSON.
    pub fn exchange(&mut self, text: &str) -> String {
        let outcome = Line::parse(text).and_then(|line| self.step(&line));
        let (json, bad) = match outcome {
            Ok(answer) => (serde_json::to_string(&answer), false),
            Err(BadLine(error)) if self.last_bad => {
                self.outputs = Outputs::default();
                let off = serde_json::json!({"error": error, "element": null, "contactor": false});
                (serde_json::to_string(&off), true)
            }
            Err(BadLine(error)) => (serde_json::to_string(&serde_json::json!({ "error": error })), true),
        };
        self.last_bad = bad;
        json.unwrap_or_else(|error| format!("{{\"error\":\"answer: {error}\"}}"))
    }

    /// Takes one line.
    ///
    /// # Errors
    /// Time did not move on by 0.01 to 1 s.
    pub fn step(&mut self, line: &Line) -> Result<Answer, BadLine> {
        // After a bad line the time since the last good one may be longer than a step; the controller judges that gap by itself.
        let longest_s = if self.last_bad { f64::INFINITY } else { *STEP_S.end() };
        if let Some(last_s) = self.last_s
            && !(*STEP_S.start()..=longest_s).contains(&(line.t_s - last_s))
        {
            return Err(BadLine(format!(
                "t_s: expected 0.01 to 1 s after the last line ({last_s} s), got {} s; send shorter steps, in order",
                line.t_s
            )));
        }
        let before = self.switches;
        self.switches.stop_loop = line.switches.stop_loop.unwrap_or(before.stop_loop);
        self.switches.key = line.switches.key.unwrap_or(before.key);
        let inputs = Inputs {
            probes: PerVessel::build(|vessel| line.probes_c.get(vessel).map(fit::celsius).ok_or(ProbeFault::Open)),
            switches: self.switches,
        };
        self.controller.supervisor_mut().mains(self.nominal_mv, line.mains_v.map(fit::millivolts));
        let arms = line.commands.contains(&Command::Arm);
        self.lead_in(line.t_s, &inputs, arms);
        let mut refused = Vec::new();
        let mut acknowledge = false;
        for command in &line.commands {
            match *command {
                Command::Arm => self.pressing = true,
                Command::Acknowledge => acknowledge = true,
                Command::Demand(vessel, demand) => {
                    if let Err(refusal) = self.controller.supervisor_mut().demand(vessel, demand) {
                        refused.push(format!("demand {}: {}", vessel.key(), Refusal::text(refusal)));
                    }
                }
            }
        }
        let pressed = Switches { arm: self.pressing, acknowledge, ..self.switches };
        self.outputs = self.controller.tick(instant(line.t_s), &Inputs { switches: pressed, ..inputs });
        let block = self.controller.block(&self.switches);
        if let Some(block) = block.filter(|_| arms && !self.outputs.armed) {
            refused.push(format!("arm: {}", block.remedy()));
        }
        self.pressing &= block.is_none() && !self.outputs.armed;
        self.last_s = Some(line.t_s);
        Ok(self.answer(line.t_s, refused))
    }

    /// Lets the simulated panel be seen as a real one is: the key off before the first line, the button released before it is pressed.
    fn lead_in(&mut self, t_s: f64, inputs: &Inputs, arms: bool) {
        let at = instant(t_s);
        let back = |ms: u64| Instant::from_micros(at.as_micros().saturating_sub(ms * 1_000));
        if self.last_s.is_none() {
            let key_off = Switches { key: false, ..inputs.switches };
            self.controller.tick(back(900), &Inputs { switches: key_off, ..*inputs });
            self.controller.tick(back(890), &Inputs { switches: key_off, ..*inputs });
            self.controller.tick(back(880), inputs);
            let pressed = Switches { arm: arms, ..inputs.switches };
            // The press ends well before the line, which gets a control tick of its own.
            for ms in (600..=870).rev().step_by(10) {
                self.controller.tick(back(ms), &Inputs { switches: pressed, ..*inputs });
            }
        } else if arms {
            self.controller.tick(back(4), inputs);
        }
    }

    fn answer(&self, t_s: f64, refused: Vec<String>) -> Answer {
        let supervisor = self.controller.supervisor();
        let wanted: PerElement<Duty> = supervisor.status().wanted;
        let share = |duty: Duty| f64::from(duty.bits()) / 65_536.0;
        Answer {
            t_s,
            element: self.outputs.element.map(|element: Element| element.vessel().key()),
            duty: Duties { liquor_tank: share(wanted.liquor_tank), boil_kettle: share(wanted.boil_kettle) },
            contactor: self.outputs.contactor,
            armed: self.outputs.armed,
            trips: supervisor.guard().latch().map(|latch| format!("{}; {}", latch.trip, latch.trip.remedy())).into_iter().collect(),
            refused,
        }
    }
}

fn instant(t_s: f64) -> Instant {
    Instant::from_micros((t_s * 1e6 + LEAD_US).round() as u64)
}

/// Runs a co-simulation until the input ends.
///
/// # Errors
/// The streams fail.
pub fn run(cosim: &mut Cosim, input: impl BufRead, mut output: impl Write) -> io::Result<()> {
    for line in input.split(b'\n') {
        let line = line?;
        let text = String::from_utf8_lossy(&line);
        if text.trim().is_empty() {
            continue;
        }
        writeln!(output, "{}", cosim.exchange(&text))?;
        output.flush()?;
    }
    Ok(())
}
