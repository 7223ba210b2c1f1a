//! What survives a power cut: settings, learned values, the sheet.

mod figures;
pub mod keep;
pub mod settings;
pub mod two_slot;

pub use keep::Store;
pub use settings::{Stored, safe_defaults};
pub use two_slot::{Found, SlotError, TwoSlot};
