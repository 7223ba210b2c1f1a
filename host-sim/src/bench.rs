//! The test bench: the real controller wired to the simulated brewery, one control period at a time.
//!
//! Time is virtual. The controller says until when its outputs stay as they are; the bench jumps there, so nothing is computed twice and
//! nothing is skipped. The plant moves once per control period with the share of that time each element really conducted.

use crate::files::RigFile;
use crate::fit;
use crate::plant::{Brewery, Drive};
use copperhold_core::controller::{CONTROL_PERIOD, Controller, Inputs};
use copperhold_core::fast::{Outputs, Switches};
use copperhold_core::probe::{self, ProbeFault, ProbeSetup};
use copperhold_core::settings::SettingsError;
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::{Instant, Span};
use copperhold_core::vessel::{Element, PerElement, PerVessel};

/// The key is turned and the button pressed and released at these times after the start, s.
const KEY_S: f64 = 1.0;
const PRESS_S: f64 = 2.0;
const RELEASE_S: f64 = 4.0;

/// A controller and a brewery, wired.
pub struct Bench {
    /// The controller.
    pub controller: Controller,
    /// The brewery.
    pub brewery: Brewery,
    /// The panel's switches, as the next period sees them.
    pub switches: Switches,
    setups: PerVessel<ProbeSetup>,
    outputs: Outputs,
    now: Instant,
    on_time: PerElement<Span>,
    both_on: u64,
}

impl Bench {
    /// Everything cold and empty, the stop loop closed, the key off.
    ///
    /// # Errors
    /// The controller does not accept the rig's figures.
    pub fn new(rig: &RigFile, seed: u64, knowledge: Knowledge) -> Result<Bench, SettingsError> {
        Ok(Bench {
            controller: Controller::new(fit::settings(rig)?, knowledge),
            brewery: Brewery::new(&rig.rig, seed),
            switches: Switches { stop_loop: true, ..Switches::default() },
            setups: fit::probes(&rig.rig),
            outputs: Outputs::default(),
            now: Instant::START,
            on_time: PerElement::default(),
            both_on: 0,
        })
    }

    /// Time since the start, s.
    pub fn t_s(&self) -> f64 {
        self.now.as_micros() as f64 * 1e-6
    }

    /// The outputs in force.
    pub const fn outputs(&self) -> &Outputs {
        &self.outputs
    }

    /// Ticks in which the board's two element lines were both on. Counted from the lines, not assumed.
    pub const fn both_on_ticks(&self) -> u64 {
        self.both_on
    }

    /// What the brewer does at the panel at the start of a day: turns the key, presses and holds the arm button.
    pub fn open_the_day(&mut self) {
        let t_s = self.t_s();
        self.switches.key = t_s >= KEY_S;
        self.switches.arm = (PRESS_S..RELEASE_S).contains(&t_s);
    }

    /// Runs the first seconds of a day, until it is armed.
    pub fn arm(&mut self) {
        while self.t_s() < RELEASE_S + 0.5 {
            self.open_the_day();
            self.advance();
        }
    }

    /// Runs for `seconds`; `watch` is called after each control period.
    pub fn run(&mut self, seconds: f64, mut watch: impl FnMut(&mut Bench)) {
        let end = self.t_s() + seconds;
        while self.t_s() < end {
            self.advance();
            watch(self);
        }
    }

    /// Runs one control period.
    pub fn advance(&mut self) {
        let start = self.now;
        let end = start.plus(CONTROL_PERIOD);
        let inputs = Inputs { probes: self.read(), switches: self.switches };
        while self.now < end {
            self.outputs = self.controller.tick(self.now, &inputs);
            let until = self.controller.next_due(self.now).min(end);
            self.pass(until);
        }
        let dt_s = CONTROL_PERIOD.as_micros() as f64 * 1e-6;
        let share = |element: Element| self.on_time.get(element).as_micros() as f64 * 1e-6 / dt_s;
        let drive = Drive { element_on: PerElement::build(share), pumps: self.outputs.pumps };
        self.brewery.step(dt_s, &drive);
        self.on_time = PerElement::default();
    }

    fn read(&mut self) -> PerVessel<Result<copperhold_core::units::Celsius, ProbeFault>> {
        PerVessel::build(|vessel| probe::convert(self.setups.get(vessel), fit::raw(self.brewery.sample(vessel).code)))
    }

    fn pass(&mut self, until: Instant) {
        let span = until.since(self.now).unwrap_or(Span::ZERO);
        let lines = PerElement::build(|element| self.outputs.element == Some(element));
        if lines.liquor_tank && lines.boil_kettle {
            self.both_on += 1;
        }
        for element in Element::ALL {
            if *lines.get(element) {
                let on_time = self.on_time.get_mut(element);
                *on_time = on_time.plus(span);
            }
        }
        self.now = until;
    }
}
