//! One-wire thermometers DS18B20 (Analog Devices datasheet 19-7487), several on one bus, each told by its ROM code.

use super::one_wire::{OneWire, Presence};
use copperhold_core::probe::{ProbeFault, RawReading, one_wire};
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use heapless::Vec;

const SEARCH_ROM: u8 = 0xF0;
const MATCH_ROM: u8 = 0x55;
const SKIP_ROM: u8 = 0xCC;
const CONVERT: u8 = 0x44;
const READ_SCRATCHPAD: u8 = 0xBE;

/// Most thermometers on the bus.
pub const MOST: usize = 3;

/// A ROM code: family first, check byte last.
pub type Rom = [u8; 8];

/// Starts a conversion in every thermometer at once. It takes 750 ms at 12 bits.
///
/// # Errors
/// `Open` if nothing answers, `Shorted` if the line is held low.
pub fn convert_all<P: OutputPin + InputPin, D: DelayNs>(bus: &mut OneWire<P, D>) -> Result<(), ProbeFault> {
    reset(bus)?;
    bus.write(&[SKIP_ROM, CONVERT]);
    Ok(())
}

/// Reads the scratchpad of one thermometer; of the only one on the bus, if no ROM code is given.
pub fn read<P: OutputPin + InputPin, D: DelayNs>(bus: &mut OneWire<P, D>, rom: Option<&Rom>) -> RawReading {
    if let Err(fault) = reset(bus) {
        return RawReading::Fault(fault);
    }
    match rom {
        Some(rom) => {
            bus.write(&[MATCH_ROM]);
            bus.write(rom);
        }
        None => bus.write(&[SKIP_ROM]),
    }
    bus.write(&[READ_SCRATCHPAD]);
    let mut scratchpad = [0; 9];
    for byte in &mut scratchpad {
        *byte = bus.read();
    }
    RawReading::OneWire { scratchpad }
}

/// Finds the thermometers on the bus (application note 187: the search walks the tree of codes, one bit at a time).
///
/// # Errors
/// `Open` if nothing answers, `Shorted` if the line is held low, `Checksum` if a code arrives damaged.
pub fn search<P: OutputPin + InputPin, D: DelayNs>(bus: &mut OneWire<P, D>) -> Result<Vec<Rom, MOST>, ProbeFault> {
    let mut found = Vec::new();
    let mut last: Rom = [0; 8];
    // Bits up to here follow the last code; the bit itself now goes the other way.
    let mut branch: Option<u8> = None;
    for _ in 0..MOST {
        reset(bus)?;
        bus.write(&[SEARCH_ROM]);
        let mut rom: Rom = [0; 8];
        let mut next_branch = None;
        for bit in 0..64_u8 {
            let take = match (bus.read_bit(), bus.read_bit()) {
                (true, true) => return Err(ProbeFault::Checksum),
                (true, false) => true,
                (false, true) => false,
                (false, false) => {
                    let one = match branch {
                        Some(at) if bit < at => bit_of(&last, bit),
                        Some(at) => bit == at,
                        None => false,
                    };
                    if !one {
                        next_branch = Some(bit);
                    }
                    one
                }
            };
            if take && let Some(byte) = rom.get_mut(usize::from(bit / 8)) {
                *byte |= 1 << (bit % 8);
            }
            bus.write_bit(take);
        }
        if one_wire::crc8(&rom) != 0 {
            return Err(ProbeFault::Checksum);
        }
        if one_wire::check_rom(rom).is_ok() {
            // At most MOST turns of the loop: there is room.
            let _ = found.push(rom);
        }
        last = rom;
        branch = next_branch;
        if branch.is_none() {
            break;
        }
    }
    Ok(found)
}

fn bit_of(rom: &Rom, bit: u8) -> bool {
    rom.get(usize::from(bit / 8)).is_some_and(|byte| byte >> (bit % 8) & 1 == 1)
}

fn reset<P: OutputPin + InputPin, D: DelayNs>(bus: &mut OneWire<P, D>) -> Result<(), ProbeFault> {
    match bus.reset() {
        Presence::Present => Ok(()),
        Presence::Absent => Err(ProbeFault::Open),
        Presence::HeldLow => Err(ProbeFault::Shorted),
    }
}
