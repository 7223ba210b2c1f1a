//! The store: settings with learned values in one pair of slots, the sheet in another.

use super::settings::{Origin, Stored, safe_defaults};
use super::two_slot::{Found, MAX_CONTENT, SlotError, TwoSlot};
use copperhold_core::wire::sheet::EncodedSheet;
use embedded_storage::nor_flash::NorFlash;

/// The store in a board's flash.
#[derive(Debug)]
pub struct Store<F> {
    flash: F,
    settings: TwoSlot,
    sheet: TwoSlot,
}

impl<F: NorFlash> Store<F> {
    /// Four sectors of the flash from `start` on, one for each slot.
    pub const fn new(flash: F, start: u32) -> Store<F> {
        let sector = F::ERASE_SIZE as u32;
        Store {
            flash,
            settings: TwoSlot { slots: [start, start + sector] },
            sheet: TwoSlot { slots: [start + 2 * sector, start + 3 * sector] },
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
    #[inline(never)]
    pub fn load_sheet(&mut self) -> EncodedSheet {
        let mut content = [0; MAX_CONTENT];
        let Found::Record(length) = self.sheet.load(&mut self.flash, &mut content) else { return EncodedSheet::new() };
        content.get(..length).and_then(EncodedSheet::from_bytes).unwrap_or_default()
    }

    /// Stores a sheet. As [`Store::save_settings`].
    ///
    /// # Errors
    /// See [`SlotError`].
    pub fn save_sheet(&mut self, sheet: &EncodedSheet) -> Result<(), SlotError> {
        let mut content = [0; MAX_CONTENT];
        let (count, steps) = sheet.parts();
        let (first, rest) = content.split_first_mut().ok_or(SlotError::TooLong)?;
        *first = count;
        rest.get_mut(..steps.len()).ok_or(SlotError::TooLong)?.copy_from_slice(steps);
        self.sheet.store(&mut self.flash, content.get(..=steps.len()).ok_or(SlotError::TooLong)?)
    }
}
