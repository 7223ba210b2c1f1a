//! The test bench: the real controller wired to the simulated brewery, one control period at a time.
//!
//! Time is virtual. The controller says until when its outputs stay as they are; the bench jumps there, so nothing is computed twice and
//! nothing is skipped. The plant moves once per control period with the share of that time each element really conducted.

use crate::files::RigFile;
use crate::fit;
use crate::plant::{Brewery, Drive};
use copperhold_core::controller::{CONTROL_PERIOD, Controller, Inputs};
use copperhold_core::fast::{Outputs, Switches};
use copperhold_core::guard::flow::Meter;
use copperhold_core::probe::{self, ProbeSetup, Reading};
use copperhold_core::settings::SettingsError;
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::{Instant, Span};
use copperhold_core::vessel::{Element, PerElement, PerVessel};

/// Pulses of the simulated flow meter, per litre; common practice, no source.
const PULSES_PER_LITRE: u16 = 450;
/// A board's fast tick.
const FAST_TICK: Span = Span::from_millis(10);
/// The key is turned and the button pressed and released at these times after the start, s.
const KEY_S: f64 = 1.0;
const PRESS_S: f64 = 2.0;
const RELEASE_S: f64 = 4.0;

/// Stands between the brewery and the controller and may change what passes: the door for faults.
pub trait Tamper {
    /// The probes' readings, before the controller sees them.
    fn readings(&mut self, _t_s: f64, _readings: &mut PerVessel<Reading>) {}
    /// The panel's switches and sense lines, before the controller sees them.
    fn switches(&mut self, _t_s: f64, _outputs: &Outputs, _switches: &mut Switches) {}
    /// The time the controller is told.
    fn clock(&mut self, now: Instant) -> Instant {
        now
    }
    /// Whether the controller loses its supply for a moment and starts anew.
    fn restarts(&mut self, _t_s: f64) -> bool {
        false
    }
    /// Whether the controller hangs: its outputs stand as they are, whatever its inputs say.
    fn hangs(&mut self, _t_s: f64) -> bool {
        false
    }
    /// What reaches the elements, and what happens to the brewery itself, during the period that has just passed.
    fn power(&mut self, _t_s: f64, _outputs: &Outputs, _drive: &mut Drive, _brewery: &mut Brewery) {}
}

/// Nothing is tampered with.
#[derive(Debug, Clone, Copy, Default)]
pub struct Honest;

impl Tamper for Honest {}

/// A controller and a brewery, wired.
#[derive(Debug, Clone)]
pub struct Bench<T: Tamper = Honest> {
    /// The controller.
    pub controller: Controller,
    /// The brewery.
    pub brewery: Brewery,
    /// The panel's switches, as the next period sees them.
    pub switches: Switches,
    /// What stands between the two.
    pub tamper: T,
    /// Tick every 10 ms, as a board does, instead of jumping to the next change.
    pub every_tick: bool,
    /// Voltage that the settings' powers are for, where the rig measures the present one, mV.
    nominal_mv: Option<u32>,
    /// The flow meter, where the rig has one.
    meter: Meter,
    setups: PerVessel<ProbeSetup>,
    outputs: Outputs,
    now: Instant,
    on_time: PerElement<Span>,
    both_on: u64,
}

impl Bench {
    /// As [`Bench::with`], with nothing in between.
    ///
    /// # Errors
    /// The controller does not accept the rig's figures.
    pub fn new(rig: &RigFile, seed: u64, knowledge: Knowledge) -> Result<Bench, SettingsError> {
        Bench::with(rig, seed, knowledge, Honest)
    }
}

impl<T: Tamper> Bench<T> {
    /// Everything cold and empty, the stop loop closed, the key off.
    ///
    /// # Errors
    /// The controller does not accept the rig's figures.
    pub fn with(rig: &RigFile, seed: u64, knowledge: Knowledge, tamper: T) -> Result<Bench<T>, SettingsError> {
        Ok(Bench {
            tamper,
            every_tick: false,
            nominal_mv: rig.rig.mains.measured.then(|| fit::millivolts(rig.rig.mains.volts)),
            meter: Meter::new(if rig.rig.pumps.flow_meter { PULSES_PER_LITRE } else { 0 }),
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

    /// The same bench with something else in between.
    pub fn tampered<U: Tamper>(self, tamper: U) -> Bench<U> {
        Bench {
            controller: self.controller,
            brewery: self.brewery,
            switches: self.switches,
            tamper,
            every_tick: self.every_tick,
            nominal_mv: self.nominal_mv,
            meter: self.meter,
            setups: self.setups,
            outputs: self.outputs,
            now: self.now,
            on_time: self.on_time,
            both_on: self.both_on,
        }
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
    pub fn run(&mut self, seconds: f64, mut watch: impl FnMut(&mut Bench<T>)) {
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
        let t_s = self.t_s();
        if self.tamper.restarts(t_s) {
            let supervisor = self.controller.supervisor();
            self.controller = Controller::new(*supervisor.settings(), supervisor.knowledge());
        }
        if let Some(nominal_mv) = self.nominal_mv {
            let measured_mv = fit::millivolts(self.brewery.network().rig().mains.volts);
            self.controller.supervisor_mut().mains(nominal_mv, Some(measured_mv));
        }
        let mut inputs = Inputs { probes: self.read(), switches: self.switches };
        // The counter runs on and wraps, as a board's does.
        let pulses = self.brewery.metered_l() * f64::from(PULSES_PER_LITRE);
        inputs.switches.sense.flow = self.meter.count(pulses as u64 as u16);
        self.tamper.readings(t_s, &mut inputs.probes);
        if self.tamper.hangs(t_s) {
            self.pass(end);
        }
        while self.now < end {
            self.tamper.switches(self.t_s(), &self.outputs, &mut inputs.switches);
            let told = self.tamper.clock(self.now);
            self.outputs = self.controller.tick(told, &inputs);
            let jump = self.controller.next_due(told).since(told).unwrap_or(CONTROL_PERIOD);
            let span = if self.every_tick { FAST_TICK } else { jump };
            self.pass(self.now.plus(span).min(end));
        }
        let dt_s = CONTROL_PERIOD.as_micros() as f64 * 1e-6;
        let share = |element: Element| self.on_time.get(element).as_micros() as f64 * 1e-6 / dt_s;
        let mut drive = Drive { element_on: PerElement::build(share), pumps: self.outputs.pumps };
        self.tamper.power(t_s, &self.outputs, &mut drive, &mut self.brewery);
        self.brewery.step(dt_s, &drive);
        self.on_time = PerElement::default();
    }

    fn read(&mut self) -> PerVessel<Reading> {
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
