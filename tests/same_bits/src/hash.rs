//! One word for everything that comes out: FNV-1a (Fowler, Noll and Vo) over 32-bit words.

use copperhold_core::event::{Entry, Event};
use copperhold_core::fast::Outputs;
use copperhold_core::probe::Reading;
use copperhold_core::supervisor::Supervisor;
use copperhold_core::units::Celsius;
use copperhold_core::vessel::{Element, PerElement, Pumps, Vessel};
use core::fmt::Write;

/// The words taken in so far.
pub struct Hash(u64);

/// Text, byte by byte.
impl Write for Hash {
    fn write_str(&mut self, text: &str) -> core::fmt::Result {
        text.bytes().for_each(|byte| self.word(u32::from(byte)));
        Ok(())
    }
}

impl Hash {
    pub const fn new() -> Hash {
        Hash(0xCBF2_9CE4_8422_2325)
    }

    pub const fn finish(self) -> u64 {
        self.0
    }

    pub const fn word(&mut self, word: u32) {
        self.0 = (self.0 ^ word as u64).wrapping_mul(0x0100_0000_01B3);
    }

    fn flag(&mut self, flag: bool) {
        self.word(u32::from(flag));
    }

    fn element(&mut self, element: Option<Element>) {
        self.word(match element {
            None => 0,
            Some(Element::LiquorTank) => 1,
            Some(Element::BoilKettle) => 2,
        });
    }

    fn pumps(&mut self, pumps: Pumps) {
        self.word(u32::from(pumps.liquor) | u32::from(pumps.mash) << 1 | u32::from(pumps.wort) << 2);
    }

    fn celsius(&mut self, celsius: Celsius) {
        self.word(celsius.fixed().to_bits() as u32);
    }

    /// A reading to its last bit; a fault by its cause.
    pub fn reading(&mut self, reading: &Reading) {
        match reading {
            Ok(celsius) => self.celsius(*celsius),
            Err(fault) => {
                // Writing into a hash does not fail.
                let _ = self.write_str(fault.cause());
            }
        }
    }

    /// What the fast path puts out.
    pub fn outputs(&mut self, outputs: &Outputs) {
        self.flag(outputs.contactor);
        self.element(outputs.element);
        self.element(outputs.grant);
        self.pumps(outputs.pumps);
        self.flag(outputs.armed);
    }

    /// What the supervisor wants, believes, has learned and asks.
    pub fn supervisor(&mut self, supervisor: &Supervisor) {
        let status = supervisor.status();
        for vessel in Vessel::ALL {
            self.reading(status.readings.get(vessel));
            self.celsius(status.setpoints.get(vessel).unwrap_or_default());
        }
        let shares = |hash: &mut Hash, shares: &PerElement<copperhold_core::units::Duty>| {
            Element::ALL.iter().for_each(|&element| hash.word(shares.get(element).bits()));
        };
        shares(self, &status.wanted);
        shares(self, &status.missed);
        self.element(status.yields);
        self.flag(status.flow_stopped);
        for element in Element::ALL {
            let Some(heat) = supervisor.heat(element) else { continue };
            self.celsius(heat.settled());
            self.word(heat.phase() as u32);
            if let Some(learned) = heat.learned() {
                self.word(learned.slope().fixed().to_bits() as u32);
                self.word(learned.lag().as_millis() as u32);
                self.word(learned.loss().fixed().to_bits() as u32);
            }
        }
        self.word(supervisor.cascade().offset().fixed().to_bits() as u32);
        self.word(supervisor.cascade().ratio().to_bits() as u32);
        self.word(supervisor.cascade().time_constant().as_millis() as u32);
        self.flag(supervisor.guard().latch().is_some());
        if let Some(directive) = status.directive {
            self.flag(directive.to_the_boil);
            self.pumps(directive.pumps);
            self.word(directive.timer_left.map_or(u32::MAX, |left| left.as_millis() as u32));
            let volume = directive.prompt.and_then(|prompt| prompt.volume());
            self.word(volume.map_or(0, |volume| volume.millilitres() as u32));
        }
    }

    /// What was logged.
    pub fn entry(&mut self, entry: &Entry) {
        self.word(entry.at.as_micros() as u32);
        match entry.event {
            Event::Armed => self.word(1),
            Event::Disarmed => self.word(2),
            Event::Grant(element) => self.element(element),
            // Writing into a hash does not fail.
            Event::Tripped(trip) | Event::Acknowledged(trip) => drop(write!(self, "{trip}")),
            Event::Advised(advice) => drop(write!(self, "{advice}")),
            Event::Step(step) => self.word(0x100 | u32::from(step)),
            Event::Addition(addition) => self.word(0x200 | u32::from(addition)),
            Event::SheetDone => self.word(3),
            Event::SheetStood(lasted) => {
                self.word(4);
                self.word(lasted.as_millis() as u32);
            }
        }
    }
}
