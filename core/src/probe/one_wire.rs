//! One-wire digital thermometer (DS18B20 datasheet): nine bytes of scratchpad to a temperature.
//!
//! | byte | holds |
//! | --- | --- |
//! | 0, 1 | temperature, signed, in 1/16 degree, low byte first; the low bits are undefined below 12 bits of resolution |
//! | 2, 3 | alarm limits, not used |
//! | 4 | configuration: `0 R1 R0 1 1 1 1 1` |
//! | 5, 7 | reserved, FFh and 10h, not checked: they differ between makers |
//! | 6 | reserved: 0Ch at power-on |
//! | 8 | CRC-8 of bytes 0 to 7 |
//!
//! A thermometer that lost its supply for a moment answers 85 degrees, with a good CRC. Its signature is the raw word 0550h *and* 0Ch in byte
//! 6: that frame is [`ProbeFault::NotReady`]. After a conversion that gives a true 85.0, byte 6 holds 10h (it counts what is left of the
//! sixteenths: 03h beside 014Dh, 10h beside 0150h in dumps of real probes), so the frame passes. A maker's part without that signature is left to
//! [`super::Plausibility`], which will not believe a leap to 85 unless it lasts.

use super::{ProbeFault, Reading, in_working_range};
use crate::units::{Celsius, Span};
use fixed::types::I16F16;

/// Family code of the DS18B20, first byte of its ROM code.
pub const FAMILY: u8 = 0x28;

/// Raw temperature word at power-on, 85 degrees.
const POWER_ON_WORD: i16 = 0x0550;
/// Byte 6 at power-on.
const POWER_ON_BYTE_6: u8 = 0x0C;
/// The highest word the part can measure, 125 degrees.
const HIGHEST_WORD: i16 = 0x07D0;

/// How finely the probe measures, from its configuration byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Resolution {
    /// 9 bits: half a degree.
    Bits9,
    /// 10 bits: a quarter of a degree.
    Bits10,
    /// 11 bits: an eighth of a degree.
    Bits11,
    /// 12 bits: a sixteenth of a degree, as delivered.
    Bits12,
}

impl Resolution {
    /// Every resolution, coarsest first.
    pub const ALL: [Resolution; 4] = [Resolution::Bits9, Resolution::Bits10, Resolution::Bits11, Resolution::Bits12];

    /// From the configuration byte; `None` if its fixed bits (D7 = 0, D4 to D0 = 1) are not as the part has them.
    pub const fn from_config(byte: u8) -> Option<Resolution> {
        match byte {
            0x1F => Some(Resolution::Bits9),
            0x3F => Some(Resolution::Bits10),
            0x5F => Some(Resolution::Bits11),
            0x7F => Some(Resolution::Bits12),
            _ => None,
        }
    }

    /// The configuration byte that asks for it.
    pub const fn config(self) -> u8 {
        match self {
            Resolution::Bits9 => 0x1F,
            Resolution::Bits10 => 0x3F,
            Resolution::Bits11 => 0x5F,
            Resolution::Bits12 => 0x7F,
        }
    }

    /// The longest a conversion takes.
    pub const fn conversion_time(self) -> Span {
        match self {
            Resolution::Bits9 => Span::from_micros(93_750),
            Resolution::Bits10 => Span::from_micros(187_500),
            Resolution::Bits11 => Span::from_micros(375_000),
            Resolution::Bits12 => Span::from_micros(750_000),
        }
    }

    /// A raw word without its undefined low bits: rounded down.
    pub const fn mask(self, word: i16) -> i16 {
        match self {
            Resolution::Bits9 => word & !0b111,
            Resolution::Bits10 => word & !0b11,
            Resolution::Bits11 => word & !0b1,
            Resolution::Bits12 => word,
        }
    }
}

/// CRC-8 of the one-wire bus: x^8 + x^5 + x^4 + 1, reflected, starting at 0 (Maxim application note 27). Over a frame with its own CRC: 0.
pub const fn crc8(bytes: &[u8]) -> u8 {
    let mut crc = 0;
    let mut rest = bytes;
    while let Some((&byte, tail)) = rest.split_first() {
        crc ^= byte;
        let mut bit = 0;
        while bit < 8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ 0x8C } else { crc >> 1 };
            bit += 1;
        }
        rest = tail;
    }
    crc
}

/// Checks a ROM code: eight bytes, family first, CRC last.
///
/// # Errors
/// As [`convert`] for an all-zero frame, an all-ones frame and a CRC that does not match; `WrongKind` if the family is not [`FAMILY`].
pub fn check_rom(rom: [u8; 8]) -> Result<(), ProbeFault> {
    check_frame(&rom)?;
    let [family, ..] = rom;
    if family == FAMILY { Ok(()) } else { Err(ProbeFault::WrongKind) }
}

/// The temperature in a scratchpad, exact.
///
/// # Errors
/// `Shorted` for a frame of zeros (their CRC is good) and `Open` for one of ones; `Checksum` if the CRC does not match; `WrongKind` if the
/// configuration byte is not one of this part; `NotReady` for the power-on value; `OutOfRange` outside the working range or above 125
/// degrees, where the part cannot measure.
pub fn convert(scratchpad: [u8; 9]) -> Reading {
    check_frame(&scratchpad)?;
    let [low, high, _, _, config, _, reserved, _, _] = scratchpad;
    let resolution = Resolution::from_config(config).ok_or(ProbeFault::WrongKind)?;
    let word = i16::from_le_bytes([low, high]);
    if word == POWER_ON_WORD && reserved == POWER_ON_BYTE_6 {
        return Err(ProbeFault::NotReady);
    }
    if word > HIGHEST_WORD {
        return Err(ProbeFault::OutOfRange);
    }
    // Sixteenths to 1/65536: exact, at most 28 bits.
    let bits = i32::from(resolution.mask(word)) << 12;
    in_working_range(Celsius::from_fixed(I16F16::from_bits(bits)))
}

/// The checks that every frame shares: something answered, and it arrived whole.
fn check_frame(frame: &[u8]) -> Result<(), ProbeFault> {
    if frame.iter().all(|&byte| byte == 0) {
        return Err(ProbeFault::Shorted);
    }
    if frame.iter().all(|&byte| byte == 0xFF) {
        return Err(ProbeFault::Open);
    }
    if crc8(frame) != 0 {
        return Err(ProbeFault::Checksum);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Byte 6 of a probe that has converted (not the power-on 0Ch).
    const CONVERTED: u8 = 0x10;

    fn frame(word: u16, config: u8, byte_6: u8) -> [u8; 9] {
        let [low, high] = word.to_le_bytes();
        let mut bytes = [low, high, 0x4B, 0x46, config, 0xFF, byte_6, 0x10, 0];
        bytes[8] = crc8(&bytes[..8]);
        bytes
    }

    #[test]
    fn every_word_at_every_resolution_is_exact_or_a_fault() {
        for resolution in Resolution::ALL {
            for raw in 0..=u16::MAX {
                let word = raw.cast_signed();
                let kept = i32::from(resolution.mask(word));
                let reading = convert(frame(raw, resolution.config(), CONVERTED));
                if (-160..=2_000).contains(&kept) && word <= HIGHEST_WORD {
                    let celsius = reading.expect("in range");
                    assert_eq!(celsius.fixed().to_bits(), kept * 4_096, "{raw:#06x}");
                } else {
                    assert_eq!(reading, Err(ProbeFault::OutOfRange), "{raw:#06x}");
                }
            }
        }
    }

    #[test]
    fn the_power_on_frame_is_refused_and_a_true_85_passes() {
        let power_on = [0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10, 0x1C];
        assert_eq!(convert(power_on), Err(ProbeFault::NotReady));
        let measured = convert(frame(0x0550, 0x7F, CONVERTED));
        assert_eq!(measured, Ok(Celsius::from_milli(85_000)));
        for byte_6 in (0..=255).filter(|&byte| byte != 0x0C) {
            assert!(convert(frame(0x0550, 0x7F, byte_6)).is_ok());
        }
        for word in [0x054F, 0x0551] {
            assert!(convert(frame(word, 0x7F, 0x0C)).is_ok(), "0Ch alone is no signature");
        }
    }

    #[test]
    fn every_flipped_bit_and_every_pair_of_flipped_bits_is_caught() {
        let good = frame(0x0420, 0x7F, CONVERTED);
        assert!(convert(good).is_ok());
        let flip = |mut bytes: [u8; 9], bit: usize| {
            bytes[bit / 8] ^= 1 << (bit % 8);
            bytes
        };
        for first in 0..72 {
            let once = flip(good, first);
            assert_eq!(convert(once), Err(ProbeFault::Checksum), "bit {first}");
            for second in first + 1..72 {
                assert_eq!(convert(flip(once, second)), Err(ProbeFault::Checksum), "{first}, {second}");
            }
        }
    }

    #[test]
    fn a_stuck_bus_is_named_by_the_way_it_is_stuck() {
        assert_eq!(crc8(&[0; 9]), 0, "zeros pass the CRC");
        assert_eq!(convert([0; 9]), Err(ProbeFault::Shorted));
        assert_eq!(convert([0xFF; 9]), Err(ProbeFault::Open));
        assert_eq!(check_rom([0; 8]), Err(ProbeFault::Shorted));
        assert_eq!(check_rom([0xFF; 8]), Err(ProbeFault::Open));
    }

    #[test]
    fn only_a_configuration_byte_of_this_part_is_accepted() {
        for config in 0..=255 {
            let reading = convert(frame(0x0420, config, CONVERTED));
            match Resolution::from_config(config) {
                Some(resolution) => {
                    assert_eq!(resolution.config(), config);
                    assert!(reading.is_ok());
                }
                None => assert_eq!(reading, Err(ProbeFault::WrongKind)),
            }
        }
    }

    #[test]
    fn a_rom_of_another_family_is_another_kind_of_probe() {
        assert_eq!(check_rom([0x28, 0xDC, 0x66, 0x74, 0x05, 0, 0, 0xB9]), Ok(()));
        assert_eq!(check_rom([0x28, 0xDC, 0x66, 0x74, 0x05, 0, 0, 0xB8]), Err(ProbeFault::Checksum));
        let mut other = [0x10, 0xDC, 0x66, 0x74, 0x05, 0, 0, 0];
        other[7] = crc8(&other[..7]);
        assert_eq!(check_rom(other), Err(ProbeFault::WrongKind));
    }
}
