//! Three vessels in integers, with thermometers of all three kinds. Temperatures in millionths of a degree Celsius.

use crate::hash::Hash;
use copperhold_core::fast::Outputs;
use copperhold_core::probe::rtd::Pt100;
use copperhold_core::probe::thermistor::Divider;
use copperhold_core::probe::{ProbeSetup, RawReading, Reading, convert, one_wire};
use copperhold_core::vessel::{Element, PerVessel, Vessel};

const ROOM: i64 = 20_000_000;
const BOILING: i64 = 100_000_000;
/// Climb at full power, millionths of a kelvin per second.
const CLIMB: i64 = 300_000;
/// Each of a thermometer's three stages, us.
const STAGE_US: i64 = 2_500_000;
/// Through the coil, us.
const COIL_US: i64 = 60_000_000;

/// The vessels and what their thermometers feel.
#[derive(Debug)]
pub struct Brewery {
    vessels: PerVessel<i64>,
    stages: PerVessel<[i64; 3]>,
    noise: u32,
}

impl Brewery {
    pub fn new() -> Brewery {
        Brewery { vessels: PerVessel::build(|_| ROOM), stages: PerVessel::build(|_| [ROOM; 3]), noise: 1 }
    }

    pub fn step(&mut self, dt_us: i64, outputs: &Outputs) {
        for vessel in Vessel::ALL {
            let level = self.vessels.get_mut(vessel);
            *level -= (*level - ROOM) / 1000 * dt_us / 2_000_000;
        }
        if let Some(element) = outputs.element {
            let level = self.vessels.get_mut(element.vessel());
            *level = (*level + CLIMB * dt_us / 1_000_000).min(BOILING);
        }
        if outputs.pumps.mash {
            let flow = (self.vessels.liquor_tank - self.vessels.mash_tun) / 1000 * dt_us / (COIL_US / 1000);
            self.vessels.mash_tun += flow;
            self.vessels.liquor_tank -= flow / 2;
        }
        if outputs.pumps.wort && outputs.grant != Some(Element::BoilKettle) {
            self.vessels.boil_kettle -= (self.vessels.boil_kettle - ROOM) / 1000 * dt_us / 60_000;
        }
        for vessel in Vessel::ALL {
            let mut into = *self.vessels.get(vessel);
            for stage in self.stages.get_mut(vessel) {
                *stage += (into - *stage) / 1000 * dt_us / (STAGE_US / 1000);
                into = *stage;
            }
        }
    }

    /// Codes as front ends would send them, converted; and in each tick a few codes of every kind from end to end, into the hash.
    pub fn read(&mut self, tick: usize, hash: &mut Hash) -> PerVessel<Reading> {
        let kinds = PerVessel {
            liquor_tank: ProbeSetup::Rtd(Pt100::R_REF_400),
            mash_tun: ProbeSetup::OneWire,
            boil_kettle: ProbeSetup::Rtd(Pt100::R_REF_430),
        };
        for sweep in 0..2 {
            let code = (tick * 11 + sweep * 16_411) as u16;
            hash.reading(&convert(&kinds.liquor_tank, RawReading::Rtd { code: code & 0x7FFF, fault: false }));
            hash.reading(&convert(&ProbeSetup::Thermistor(Divider::TEN_K3), RawReading::Thermistor { code: code & 0xFFF }));
            hash.reading(&convert(&ProbeSetup::OneWire, scratchpad(code)));
        }
        PerVessel::build(|vessel| {
            self.noise = self.noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let [.., felt] = *self.stages.get(vessel);
            let milli = felt / 1000 + i64::from(self.noise >> 16) % 41 - 20;
            let raw = match vessel {
                Vessel::LiquorTank => RawReading::Rtd { code: rtd_code(milli, 400), fault: false },
                Vessel::MashTun => scratchpad((milli * 16 / 1000) as u16),
                Vessel::BoilKettle => RawReading::Rtd { code: rtd_code(milli, 430), fault: false },
            };
            convert(kinds.get(vessel), raw)
        })
    }
}

/// Near enough to IEC 60751, over a reference of so many ohm.
fn rtd_code(milli: i64, reference: i64) -> u16 {
    let parts = 1_000_000 + 39_083 * milli / 10_000 - 5_775 * milli * milli / 10_000_000_000;
    (parts * 3_276_800 / reference / 1_000_000) as u16
}

fn scratchpad(word: u16) -> RawReading {
    let [low, high] = word.to_le_bytes();
    let [a, b, c, d, e, f, g, h] = [low, high, 0x4B, 0x46, 0x7F, 0xFF, 0x10, 0x10];
    RawReading::OneWire { scratchpad: [a, b, c, d, e, f, g, h, one_wire::crc8(&[a, b, c, d, e, f, g, h])] }
}
