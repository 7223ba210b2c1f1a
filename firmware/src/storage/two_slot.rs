//! A record in two slots of flash, of which one is whole at any moment.
//!
//! A store erases the older slot and writes there; the newer one is not touched. A slot counts only if its CRC-32 fits, so whatever a
//! power cut leaves behind is either the old record or the new one, never a mixture.
//!
//! | bytes | holds |
//! | --- | --- |
//! | 4 | mark, `C` `u` `H` and the version of the layout |
//! | 4 | sequence: the newer slot has the higher one |
//! | 2 | length of the content |
//! | n | content |
//! | 4 | CRC-32 of all that came before |

use copperhold_core::wire::frame::{crc32, crc32_more};
use embedded_storage::nor_flash::NorFlash;

/// Version of the layout.
pub const VERSION: u8 = 2;
const MARK: [u8; 4] = [b'C', b'u', b'H', VERSION];
const HEADER: usize = 10;
const CRC: usize = 4;
/// Written at once; the content is padded with ones to a multiple of it.
const PAGE: usize = 256;
/// The longest content: three pages.
pub const MAX_CONTENT: usize = 3 * PAGE - HEADER - CRC;

/// What was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Found {
    /// Nothing has ever been stored: both slots are erased.
    Blank,
    /// Something is there, but no slot is whole.
    Damaged,
    /// A record of this length.
    Record(usize),
}

/// Why a record could not be stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SlotError {
    /// Longer than [`MAX_CONTENT`].
    TooLong,
    /// The flash refused, or reads back something else.
    Flash,
}

/// Where the two slots lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TwoSlot {
    /// Start of each, at a sector's start, one sector long.
    pub slots: [u32; 2],
}

/// A slot's state.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Slot {
    Erased,
    Damaged,
    Whole { sequence: u32, length: usize },
}

impl TwoSlot {
    /// Reads the newer whole slot into `content`.
    pub fn load<F: NorFlash>(&self, flash: &mut F, content: &mut [u8; MAX_CONTENT]) -> Found {
        let [a, b] = self.slots.map(|at| look(flash, at));
        let newest = match (a, b) {
            (Slot::Whole { sequence: x, length }, Slot::Whole { sequence: y, .. }) if newer(x, y) => Some((0, length)),
            (_, Slot::Whole { length, .. }) => Some((1, length)),
            (Slot::Whole { length, .. }, _) => Some((0, length)),
            (Slot::Erased, Slot::Erased) => return Found::Blank,
            (Slot::Erased | Slot::Damaged, Slot::Erased | Slot::Damaged) => None,
        };
        let Some((slot, length)) = newest else { return Found::Damaged };
        let at = if slot == 0 { self.slots[0] } else { self.slots[1] };
        match content.get_mut(..length).map(|bytes| flash.read(at + HEADER as u32, bytes)) {
            Some(Ok(())) => Found::Record(length),
            Some(Err(_)) | None => Found::Damaged,
        }
    }

    /// Stores a record in the older slot and reads it back.
    ///
    /// # Errors
    /// See [`SlotError`]. The record before is still there.
    pub fn store<F: NorFlash>(&self, flash: &mut F, content: &[u8]) -> Result<(), SlotError> {
        if content.len() > MAX_CONTENT {
            return Err(SlotError::TooLong);
        }
        let (into, sequence) = match self.slots.map(|at| look(flash, at)) {
            [Slot::Whole { sequence: x, .. }, Slot::Whole { sequence: y, .. }] if newer(x, y) => (1, x),
            [_, Slot::Whole { sequence, .. }] => (0, sequence),
            [Slot::Whole { sequence, .. }, _] => (1, sequence),
            [Slot::Erased | Slot::Damaged, Slot::Erased | Slot::Damaged] => (0, 0),
        };
        let at = if into == 0 { self.slots[0] } else { self.slots[1] };
        let sequence = sequence.wrapping_add(1);
        self.write(flash, at, sequence, content).ok_or(SlotError::Flash)?;
        match look(flash, at) {
            Slot::Whole { sequence: read, length } if read == sequence && length == content.len() => Ok(()),
            Slot::Whole { .. } | Slot::Erased | Slot::Damaged => Err(SlotError::Flash),
        }
    }

    fn write<F: NorFlash>(&self, flash: &mut F, at: u32, sequence: u32, content: &[u8]) -> Option<()> {
        let mut image = [0xFF; 3 * PAGE];
        let length = u16::try_from(content.len()).ok()?;
        let [m0, m1, m2, m3] = MARK;
        let [s0, s1, s2, s3] = sequence.to_le_bytes();
        let [l0, l1] = length.to_le_bytes();
        let header = [m0, m1, m2, m3, s0, s1, s2, s3, l0, l1];
        image.get_mut(..HEADER)?.copy_from_slice(&header);
        let end = HEADER.checked_add(content.len())?;
        image.get_mut(HEADER..end)?.copy_from_slice(content);
        let check = crc32(image.get(..end)?);
        let last = end.checked_add(CRC)?;
        image.get_mut(end..last)?.copy_from_slice(&check.to_le_bytes());
        flash.erase(at, at.checked_add(u32::try_from(F::ERASE_SIZE).ok()?)?).ok()?;
        let pages = last.div_ceil(PAGE);
        for (page, bytes) in image.chunks(PAGE).enumerate().take(pages) {
            let offset = u32::try_from(page.checked_mul(PAGE)?).ok()?;
            flash.write(at.checked_add(offset)?, bytes).ok()?;
        }
        Some(())
    }
}

/// Sequence numbers wrap: the newer of two is less than half the range ahead.
fn newer(x: u32, than: u32) -> bool {
    x.wrapping_sub(than) < 1 << 31
}

fn look<F: NorFlash>(flash: &mut F, at: u32) -> Slot {
    let mut header = [0; HEADER];
    if flash.read(at, &mut header).is_err() {
        return Slot::Damaged;
    }
    let [m0, m1, m2, m3, s0, s1, s2, s3, l0, l1] = header;
    if header == [0xFF; HEADER] {
        return Slot::Erased;
    }
    let length = usize::from(u16::from_le_bytes([l0, l1]));
    if [m0, m1, m2, m3] != MARK || length > MAX_CONTENT {
        return Slot::Damaged;
    }
    match check(flash, at, &header, length) {
        Some(true) => Slot::Whole { sequence: u32::from_le_bytes([s0, s1, s2, s3]), length },
        Some(false) | None => Slot::Damaged,
    }
}

/// Whether the CRC fits; `None` if the flash cannot be read.
fn check<F: NorFlash>(flash: &mut F, at: u32, header: &[u8], length: usize) -> Option<bool> {
    let mut crc = crc32(header);
    let mut at = at.checked_add(u32::try_from(HEADER).ok()?)?;
    let mut left = length;
    let mut piece = [0; 32];
    while left > 0 {
        let size = left.min(piece.len());
        let bytes = piece.get_mut(..size)?;
        flash.read(at, bytes).ok()?;
        crc = crc32_more(crc, bytes);
        at = at.checked_add(u32::try_from(size).ok()?)?;
        left = left.checked_sub(size)?;
    }
    let mut stored = [0; CRC];
    flash.read(at, &mut stored).ok()?;
    Some(u32::from_le_bytes(stored) == crc)
}
