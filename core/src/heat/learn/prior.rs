//! What is known of a vessel before a window begins.

use super::{UNKNOWN_LAG_US, raw_of_slope};
use crate::heat::{HeatConfig, Learned};
use crate::units::Slope;
use crate::wide::Bound;

/// What earlier windows or an earlier day taught.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Prior {
    /// Climb, raw.
    pub raw: i64,
    /// No climb below this is believed, raw.
    pub least: i64,
    /// Lag, us.
    pub lag_us: i32,
    /// Whether it was learned on a vessel, or is only the rig's bound.
    pub known: bool,
    /// Something has happened to the vessel since.
    pub shaken: bool,
}

impl Prior {
    /// The record, or what the rig's figures say. A coil may draw so much heat that a known vessel seems slower than its brimful volume allows,
    /// so that bounds only a vessel nobody knows.
    pub fn of(learned: Option<Learned>, config: &HeatConfig) -> Prior {
        match learned {
            Some(l) => Prior {
                raw: raw(l.slope()).at_most(Prior::steepest(config)),
                least: 0,
                lag_us: i32::try_from(l.lag().as_micros()).unwrap_or(UNKNOWN_LAG_US),
                known: true,
                shaken: false,
            },
            None => {
                let (raw, least) = (raw(config.usual_slope()), raw(config.least_slope()));
                Prior { raw, least, lag_us: UNKNOWN_LAG_US, known: false, shaken: false }
            }
        }
    }

    /// What to lean on after a ramp that contradicts the fit. A known vessel that loses more than its record says (it is `slower`) may heat a
    /// coil's mash, and is otherwise as it was; of one that climbs faster, or that nobody knows, nothing is known but the steepest climb.
    pub fn doubted(learned: Option<Learned>, config: &HeatConfig, slower: bool) -> Prior {
        let before = Prior::of(learned, config);
        if before.known && slower {
            Prior { shaken: true, ..before }
        } else {
            Prior { raw: Prior::steepest(config), least: 0, lag_us: before.lag_us.max(UNKNOWN_LAG_US), known: false, shaken: true }
        }
    }

    /// The steepest climb of this rig, raw.
    pub fn steepest(config: &HeatConfig) -> i64 {
        raw(config.max_slope())
    }
}

fn raw(slope: Slope) -> i64 {
    raw_of_slope(i64::from(slope.fixed().to_bits()))
}
