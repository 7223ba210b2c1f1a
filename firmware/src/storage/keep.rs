//! The store: settings with learned values in one pair of slots, the sheet in another.

use super::settings::{Origin, Stored, safe_defaults};
use super::two_slot::{Found, MAX_CONTENT, SlotError, TwoSlot};
use copperhold_core::sheet::{MAX_STEPS, Sheet, Step};
use copperhold_core::wire::sheet::StepMessage;
use embedded_storage::nor_flash::NorFlash;

/// Bytes from one slot to the next: a sector.
pub const SECTOR: u32 = 4096;

/// The store in a board's flash.
#[derive(Debug)]
pub struct Store<F> {
    flash: F,
    settings: TwoSlot,
    sheet: TwoSlot,
}

impl<F: NorFlash> Store<F> {
    /// Four sectors from `start` on.
    pub const fn new(flash: F, start: u32) -> Store<F> {
        Store {
            flash,
            settings: TwoSlot { slots: [start, start + SECTOR] },
            sheet: TwoSlot { slots: [start + 2 * SECTOR, start + 3 * SECTOR] },
        }
    }

    /// The settings in force, and where they came from. Defaults on any doubt.
    pub fn load_settings(&mut self) -> (Stored, Origin) {
        let mut content = [0; MAX_CONTENT];
        match self.settings.load(&mut self.flash, &mut content) {
            Found::Record(length) => match content.get(..length).and_then(Stored::decode) {
                Some(stored) => (stored, Origin::Stored),
                None => (safe_defaults(), Origin::Damaged),
            },
            Found::Blank => (safe_defaults(), Origin::Blank),
            Found::Damaged => (safe_defaults(), Origin::Damaged),
        }
    }

    /// Stores settings and learned values. The flash is busy for up to 0.4 s: only with every output off.
    ///
    /// # Errors
    /// See [`SlotError`]; what was stored before still is.
    pub fn save_settings(&mut self, stored: &Stored) -> Result<(), SlotError> {
        let mut content = [0; MAX_CONTENT];
        let used = stored.encode(&mut content).ok_or(SlotError::TooLong)?;
        self.settings.store(&mut self.flash, used)
    }

    /// The sheet that was last sent, if it is whole.
    pub fn load_sheet(&mut self) -> Option<Sheet> {
        let mut content = [0; MAX_CONTENT];
        let Found::Record(length) = self.sheet.load(&mut self.flash, &mut content) else { return None };
        decode_sheet(content.get(..length)?)
    }

    /// Stores a sheet. As [`Store::save_settings`].
    ///
    /// # Errors
    /// See [`SlotError`].
    pub fn save_sheet(&mut self, sheet: &Sheet) -> Result<(), SlotError> {
        let mut content = [0; MAX_CONTENT];
        let length = encode_sheet(sheet, &mut content).ok_or(SlotError::TooLong)?;
        self.sheet.store(&mut self.flash, content.get(..length).ok_or(SlotError::TooLong)?)
    }
}

/// Number of steps, then the steps.
fn encode_sheet(sheet: &Sheet, content: &mut [u8; MAX_CONTENT]) -> Option<usize> {
    let (count, mut rest) = content.split_first_mut()?;
    *count = u8::try_from(sheet.steps.len()).ok()?;
    let mut length = 1;
    for step in &sheet.steps {
        let used = postcard::to_slice(&StepMessage::from(step), rest).ok()?.len();
        rest = rest.get_mut(used..)?;
        length += used;
    }
    Some(length)
}

fn decode_sheet(bytes: &[u8]) -> Option<Sheet> {
    let (&count, mut rest) = bytes.split_first()?;
    if usize::from(count) > MAX_STEPS || count == 0 {
        return None;
    }
    let mut sheet = Sheet::default();
    for _ in 0..count {
        let (message, tail) = postcard::take_from_bytes::<StepMessage>(rest).ok()?;
        sheet.steps.push(Step::try_from(&message).ok()?).ok()?;
        rest = tail;
    }
    rest.is_empty().then_some(sheet)
}
