//! What may be asked from a page: less heat at any time; other figures, an answer, a held timer while a person has armed. There is no word
//! that arms or acknowledges.

use copperhold_core::vessel::Vessel;
use serde::Deserialize;

/// What is asked.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(tag = "act", rename_all = "snake_case", deny_unknown_fields)]
pub enum Act {
    /// Takes all heat away and ends the sheet.
    Stop {},
    /// No heat for this vessel. Without a sheet.
    Off {
        /// Its key.
        vessel: VesselKey,
    },
    /// Hold this temperature. Without a sheet.
    Target {
        /// Its key.
        vessel: VesselKey,
        /// Degrees Celsius.
        target_c: f64,
    },
    /// This share of full power. Without a sheet.
    Share {
        /// Its key.
        vessel: VesselKey,
        /// 0 to 1.
        share: f64,
    },
    /// Another temperature for the step under way.
    StepTarget {
        /// Its index.
        step: u8,
        /// Degrees Celsius.
        target_c: f64,
    },
    /// Another share of full power for the step under way.
    StepShare {
        /// Its index.
        step: u8,
        /// 0 to 1.
        share: f64,
    },
    /// What the prompt of this name asked has been done.
    Answer {
        /// Index of the step that asks.
        step: u8,
        /// The prompt's key.
        prompt: String,
    },
    /// Ends the step of this index.
    StepOn {
        /// Its index.
        step: u8,
    },
    /// Stops the timer of the step of this index, or lets it run.
    Hold {
        /// Its index.
        step: u8,
        /// Stop it.
        held: bool,
    },
}

/// A vessel by its key.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum VesselKey {
    /// `liquor_tank`
    LiquorTank,
    /// `mash_tun`
    MashTun,
    /// `boil_kettle`
    BoilKettle,
}

impl From<VesselKey> for Vessel {
    fn from(key: VesselKey) -> Vessel {
        match key {
            VesselKey::LiquorTank => Vessel::LiquorTank,
            VesselKey::MashTun => Vessel::MashTun,
            VesselKey::BoilKettle => Vessel::BoilKettle,
        }
    }
}
