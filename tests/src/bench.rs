//! The whole controller on a bench: a rig of 40 L vessels, a panel with switches, and readings set by hand.

use copperhold_core::arming::PRESS;
use copperhold_core::burst::Mains;
use copperhold_core::controller::{Controller, Inputs};
use copperhold_core::fast::{Outputs, Switches};
use copperhold_core::guard::Trip;
use copperhold_core::heat::Demand;
use copperhold_core::interlock::Timing;
use copperhold_core::probe::Limits;
use copperhold_core::settings::{Draft, Settings};
use copperhold_core::sheet::{Sheet, Step};
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::{Celsius, Instant, Kelvin, Span, Watts};
use copperhold_core::vessel::{PerElement, PerVessel, Vessel};

/// The fast tick of a board.
pub const FAST: Span = Span::from_millis(10);

/// A temperature from thousandths of a degree Celsius.
pub fn c(milli: i32) -> Celsius {
    Celsius::from_milli(milli)
}

/// 5.5 kW in tank and kettle, at sea level.
pub fn draft() -> Draft {
    Draft {
        mains: Mains::Hz60,
        element_power: PerElement::build(|_| Some(Watts::new(5_500))),
        least_ml: PerElement::build(|_| 10_000),
        greatest_ml: PerElement::build(|_| 60_000),
        limit: PerVessel { liquor_tank: c(90_000), mash_tun: c(90_000), boil_kettle: c(104_000) },
        boiling: c(100_000),
        cascade_limit: Kelvin::from_milli(6_000),
        plausible: PerVessel::build(|_| Limits::EVERY_TICK),
        timing: Timing::default(),
        press: PRESS,
    }
}

/// A sheet of these steps.
///
/// # Panics
/// If there are more than a sheet holds.
pub fn sheet(steps: impl IntoIterator<Item = Step>) -> Sheet {
    Sheet { steps: steps.into_iter().collect() }
}

/// A controller on the bench.
pub struct Bench {
    /// The controller.
    pub controller: Controller,
    /// What it sees.
    pub inputs: Inputs,
    /// Time of the last tick.
    pub now: Instant,
}

impl Default for Bench {
    fn default() -> Bench {
        Bench::new()
    }
}

impl Bench {
    /// Just reset: stop loop closed, key off, every vessel at 20 degrees Celsius.
    ///
    /// # Panics
    /// If the controller refuses its own bench's figures.
    pub fn new() -> Bench {
        let settings = Settings::new(draft()).expect("the bench's figures are sound");
        Bench {
            controller: Controller::new(settings, Knowledge::default()),
            inputs: Inputs {
                probes: PerVessel::build(|_| Ok(c(20_000))),
                switches: Switches { stop_loop: true, ..Switches::default() },
            },
            now: Instant::START,
        }
    }

    /// As [`Bench::new`], then armed by a person.
    pub fn armed() -> Bench {
        let mut bench = Bench::new();
        bench.arm();
        bench
    }

    /// Turns the key off and on, presses, holds and releases the button.
    pub fn arm(&mut self) {
        self.inputs.switches.key = false;
        self.run(Span::from_millis(500));
        self.inputs.switches.key = true;
        self.run(Span::from_millis(500));
        self.inputs.switches.arm = true;
        self.run(Span::from_millis(1_500));
        self.inputs.switches.arm = false;
        self.run(Span::from_millis(500));
    }

    /// Presses the acknowledge button for half a second.
    pub fn acknowledge(&mut self) {
        self.inputs.switches.acknowledge = true;
        self.run(Span::from_millis(500));
        self.inputs.switches.acknowledge = false;
        self.run(Span::from_millis(500));
    }

    /// One tick `after` the last.
    pub fn tick(&mut self, after: Span) -> Outputs {
        self.now = self.now.plus(after);
        self.controller.tick(self.now, &self.inputs)
    }

    /// Fast ticks for a while; the last outputs.
    pub fn run(&mut self, how_long: Span) -> Outputs {
        let mut outputs = Outputs::default();
        for _ in 0..how_long.as_micros() / FAST.as_micros() {
            outputs = self.tick(FAST);
        }
        outputs
    }

    /// Sets a reading.
    pub fn read(&mut self, vessel: Vessel, milli: i32) {
        *self.inputs.probes.get_mut(vessel) = Ok(c(milli));
    }

    /// Makes a demand that must be accepted.
    ///
    /// # Panics
    /// If it is refused.
    pub fn demand(&mut self, vessel: Vessel, demand: Demand) {
        self.controller
            .supervisor_mut()
            .demand(vessel, demand)
            .unwrap_or_else(|why| panic!("{vessel:?} {demand:?}: {}", why.text()));
    }

    /// The trip that is latched.
    pub fn trip(&self) -> Option<Trip> {
        self.controller.supervisor().guard().latch().map(|latch| latch.trip)
    }
}
