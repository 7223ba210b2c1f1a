//! The three thermometers, each of the kind that the settings name.
//!
//! RTD and thermistor are sampled at each control tick. One-wire thermometers convert for 750 ms: every four control ticks they are read
//! and started again, after the tick's decision, so that the slow bus delays nothing. A one-wire sample is used for at most
//! [`ONE_WIRE_AGE`]; older, it is stale.

use crate::drivers::ds18b20::{self, Rom};
use crate::drivers::max31865::{Max31865, Wires};
use crate::drivers::one_wire::OneWire;
use copperhold_core::burst::Mains;
use copperhold_core::probe::rtd::Pt100;
use copperhold_core::probe::thermistor::Divider;
use copperhold_core::probe::{ProbeFault, ProbeSetup, RawReading, Reading, convert};
use copperhold_core::units::{Instant, Span};
use copperhold_core::vessel::{PerVessel, Vessel};
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::spi::SpiDevice;

/// Control ticks between two readings of the one-wire bus.
pub const ONE_WIRE_TICKS: u8 = 4;
/// The oldest one-wire sample that is used: two readings, and a lost one in between.
pub const ONE_WIRE_AGE: Span = Span::from_millis(3_000);

/// The kind of thermometer in one vessel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Choice {
    /// Platinum, through the front end on the vessel's select line.
    Rtd {
        /// Constants of the channel.
        element: Pt100,
        /// Wires.
        wires: Wires,
    },
    /// One-wire. With a ROM code: that one; without: the only one on the bus.
    OneWire {
        /// Which.
        rom: Option<Rom>,
    },
    /// Thermistor, on the vessel's analogue pin.
    Thermistor {
        /// Constants of the channel.
        divider: Divider,
    },
}

/// The analogue pins.
pub trait Analogue {
    /// The 12-bit code at a vessel's pin, if the converter worked.
    fn read(&mut self, vessel: Vessel) -> Option<u16>;
}

/// Conversions averaged into one reading.
const AVERAGE: u16 = 8;

/// A vessel's code of 12 bits, averaged over several conversions of its channel: 0 tank, 1 mash, 2 kettle.
pub fn averaged(vessel: Vessel, mut convert: impl FnMut(u8) -> Option<u16>) -> Option<u16> {
    let channel = match vessel {
        Vessel::LiquorTank => 0,
        Vessel::MashTun => 1,
        Vessel::BoilKettle => 2,
    };
    let mut sum = 0;
    for _ in 0..AVERAGE {
        sum += convert(channel)?;
    }
    Some((sum + AVERAGE / 2) / AVERAGE)
}

/// The noise of a converter's lowest bits, folded into a number (FNV-1a).
pub fn folded(mut sample: impl FnMut() -> u16) -> u32 {
    (0..64).fold(0x811C_9DC5, |hash: u32, _| (hash ^ u32::from(sample())).wrapping_mul(0x0100_0193))
}

/// The thermometers.
#[derive(Debug)]
// Small fields first: what lies far from the start takes more instructions to reach.
#[repr(C)]
pub struct Probes<S, P, D, A> {
    /// Control ticks since the one-wire thermometers were started; `None` before the first start.
    converting: Option<u8>,
    bus: OneWire<P, D>,
    analogue: A,
    choices: PerVessel<Choice>,
    rtd: PerVessel<Max31865<S>>,
    latest: PerVessel<Option<(Instant, Reading)>>,
}

impl<S: SpiDevice, P: OutputPin + InputPin, D: DelayNs, A: Analogue> Probes<S, P, D, A> {
    /// `spi`: the vessels' select lines.
    pub fn new(choices: PerVessel<Choice>, mains: Mains, spi: PerVessel<S>, bus: OneWire<P, D>, analogue: A) -> Self {
        let wires = |vessel| match *choices.get(vessel) {
            Choice::Rtd { wires, .. } => wires,
            Choice::OneWire { .. } | Choice::Thermistor { .. } => Wires::default(),
        };
        let rtd = PerVessel {
            liquor_tank: Max31865::new(spi.liquor_tank, wires(Vessel::LiquorTank), mains),
            mash_tun: Max31865::new(spi.mash_tun, wires(Vessel::MashTun), mains),
            boil_kettle: Max31865::new(spi.boil_kettle, wires(Vessel::BoilKettle), mains),
        };
        Probes { choices, rtd, bus, analogue, converting: None, latest: PerVessel::default() }
    }

    /// What each thermometer says now.
    pub fn sample(&mut self, now: Instant) -> PerVessel<Reading> {
        PerVessel::build(|vessel| match *self.choices.get(vessel) {
            Choice::Rtd { element, .. } => convert(&ProbeSetup::Rtd(element), self.rtd.get_mut(vessel).sample()),
            Choice::Thermistor { divider } => {
                let raw = self
                    .analogue
                    .read(vessel)
                    .map_or(RawReading::Fault(ProbeFault::FrontEnd), |code| RawReading::Thermistor { code });
                convert(&ProbeSetup::Thermistor(divider), raw)
            }
            Choice::OneWire { .. } => match *self.latest.get(vessel) {
                None => Err(ProbeFault::NotReady),
                Some((at, _)) if now.since(at).is_none_or(|age| age > ONE_WIRE_AGE) => Err(ProbeFault::Stale),
                Some((_, reading)) => reading,
            },
        })
    }

    /// Serves the one-wire bus; once per control tick, after its decision.
    pub fn serve_bus(&mut self, now: Instant) {
        if !Vessel::ALL.iter().any(|&vessel| matches!(self.choices.get(vessel), Choice::OneWire { .. })) {
            return;
        }
        match self.converting {
            Some(ticks) if ticks + 1 < ONE_WIRE_TICKS => self.converting = Some(ticks + 1),
            Some(_) => {
                self.collect(now);
                self.start(now);
            }
            None => self.start(now),
        }
    }

    /// The ROM codes on the bus, for a person to assign.
    ///
    /// # Errors
    /// See [`ds18b20::search`].
    pub fn search(&mut self) -> Result<heapless::Vec<Rom, { ds18b20::MOST }>, ProbeFault> {
        self.converting = None;
        ds18b20::search(&mut self.bus)
    }

    fn collect(&mut self, now: Instant) {
        for vessel in Vessel::ALL {
            if let Choice::OneWire { rom } = *self.choices.get(vessel) {
                let raw = ds18b20::read(&mut self.bus, rom.as_ref());
                *self.latest.get_mut(vessel) = Some((now, convert(&ProbeSetup::OneWire, raw)));
            }
        }
    }

    fn start(&mut self, now: Instant) {
        match ds18b20::convert_all(&mut self.bus) {
            Ok(()) => self.converting = Some(0),
            Err(fault) => {
                self.converting = None;
                for vessel in Vessel::ALL {
                    if matches!(self.choices.get(vessel), Choice::OneWire { .. }) {
                        *self.latest.get_mut(vessel) = Some((now, Err(fault)));
                    }
                }
            }
        }
    }
}
