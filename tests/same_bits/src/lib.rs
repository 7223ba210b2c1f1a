//! A scripted day: the controller, a brewery in integers, a person and their mishaps, and a word for everything that comes out.
//!
//! It takes no input and uses no floats, so two machines that run it must agree in every word. Each word stands for one control tick: a hash
//! of what the fast path put out in each of its 25 ticks, and of what the supervisor says, has learned and has logged.
#![no_std]
#![forbid(unsafe_code)]

mod brewery;
mod corners;
mod hash;
mod person;

use brewery::Brewery;
use copperhold_core::burst::Mains;
use copperhold_core::controller::{Controller, Inputs};
use copperhold_core::fast::Switches;
use copperhold_core::interlock::Timing;
use copperhold_core::probe::plausibility::Limits;
use copperhold_core::settings::{Draft, Settings};
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::{Celsius, Instant, Kelvin, Span, Watts};
use copperhold_core::vessel::{Element, PerElement, PerVessel};
pub use corners::corners;
use hash::Hash;
use person::Person;

/// Control ticks of the day.
pub const TICKS: usize = 6_000;

/// A word for each control tick, and one for [`corners`].
pub const WORDS: usize = TICKS + 1;

/// All of them.
pub fn words() -> impl Iterator<Item = u64> {
    Day::new().into_iter().flatten().chain(core::iter::once_with(corners))
}

/// Fast ticks in a control tick.
const FAST_TICKS: u64 = 25;
const FAST_PERIOD_US: u64 = 10_000;

/// What a day has shown, to see that it was not an idle one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Shown {
    /// Control ticks in which an element conducted.
    pub heated: PerElement<u32>,
    /// Control ticks in which the mash was held through the coil.
    pub mashed: u32,
    /// Control ticks on the way to the boil.
    pub to_the_boil: u32,
    /// Steps of the sheet.
    pub steps: u32,
    /// Trips.
    pub trips: u32,
    /// Both elements have taught something.
    pub learned: bool,
}

/// The day, as far as it has come.
#[derive(Debug)]
pub struct Day {
    controller: Controller,
    brewery: Brewery,
    person: Person,
    now_us: u64,
    tick: usize,
    ahead: bool,
    shown: Shown,
}

impl Day {
    /// Everything cold. `None` if the controller refuses the rig.
    pub fn new() -> Option<Day> {
        Some(Day {
            controller: Controller::new(Settings::new(rig()).ok()?, Knowledge::default()),
            brewery: Brewery::new(),
            person: Person::new(),
            now_us: 0,
            tick: 0,
            ahead: false,
            shown: Shown::default(),
        })
    }

    /// The same day with learning done between ticks, as on a board; now and then there is no time for it.
    pub fn studious() -> Option<Day> {
        Day::new().map(|day| Day { ahead: true, ..day })
    }

    /// What it has shown so far.
    pub const fn shown(&self) -> &Shown {
        &self.shown
    }
}

impl Iterator for Day {
    type Item = u64;

    /// One control tick; its word.
    fn next(&mut self) -> Option<u64> {
        if self.tick == TICKS {
            return None;
        }
        let mut hash = Hash::new();
        let before = self.person.act(self.tick, &mut self.controller);
        let mut inputs = Inputs { probes: self.brewery.read(self.tick, &mut hash), switches: Switches::default() };
        if self.person.pulled_plug(self.tick) {
            inputs.probes.liquor_tank = Err(copperhold_core::probe::ProbeFault::Open);
        }
        inputs.switches = before;
        let mut conducted = PerElement::<bool>::default();
        for fast in 0..FAST_TICKS {
            if !self.person.stopped_clock(self.tick) {
                // A crystal is never on time by the microsecond, nor is an interrupt.
                self.now_us += FAST_PERIOD_US - 2 + (self.tick as u64 * 7 + fast * 3) % 5;
            }
            let outputs = self.controller.tick(Instant::from_micros(self.now_us), &inputs);
            hash.outputs(&outputs);
            if let Some(element) = outputs.element {
                *conducted.get_mut(element) = true;
            }
            self.brewery.step(FAST_PERIOD_US as i64, &outputs);
        }
        self.note(&conducted);
        hash.supervisor(self.controller.supervisor());
        let log = self.controller.supervisor_mut().log();
        while let Some(entry) = log.take() {
            self.shown.trips += u32::from(matches!(entry.event, copperhold_core::event::Event::Tripped(_)));
            self.shown.steps += u32::from(matches!(entry.event, copperhold_core::event::Event::Step(_)));
            hash.entry(&entry);
        }
        if self.ahead && !self.tick.is_multiple_of(7) {
            self.controller.supervisor_mut().study();
        }
        self.tick += 1;
        Some(hash.finish())
    }
}

impl Day {
    fn note(&mut self, conducted: &PerElement<bool>) {
        let supervisor = self.controller.supervisor();
        for element in Element::ALL {
            *self.shown.heated.get_mut(element) += u32::from(*conducted.get(element));
        }
        let directive = supervisor.status().directive;
        self.shown.mashed += u32::from(supervisor.status().setpoints.mash_tun.is_some());
        self.shown.to_the_boil += u32::from(directive.is_some_and(|directive| directive.to_the_boil));
        let knowledge = supervisor.knowledge();
        self.shown.learned = knowledge.vessels.liquor_tank.is_some() && knowledge.vessels.boil_kettle.is_some();
    }
}

/// A small, brisk rig, so that a day fits in 25 minutes.
fn rig() -> Draft {
    Draft {
        mains: Mains::Hz50,
        element_power: PerElement::build(|_| Some(Watts::new(5_500))),
        least_ml: PerElement::build(|_| 3_500),
        greatest_ml: PerElement::build(|_| 20_000),
        limit: PerVessel {
            liquor_tank: Celsius::from_milli(90_000),
            mash_tun: Celsius::from_milli(90_000),
            boil_kettle: Celsius::from_milli(104_000),
        },
        boiling: Celsius::from_milli(100_000),
        cascade_limit: Kelvin::from_milli(6_000),
        plausible: PerVessel { liquor_tank: Limits::EVERY_TICK, mash_tun: Limits::ONE_WIRE, boil_kettle: Limits::EVERY_TICK },
        timing: Timing::default(),
        press: Span::from_secs(1),
    }
}
