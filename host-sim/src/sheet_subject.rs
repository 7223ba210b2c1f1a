//! What a step is about.

use crate::fit;
use copperhold_core::sheet::Step;
use copperhold_core::vessel::Vessel;

/// The vessel a step is about, and its target, degrees Celsius.
pub(crate) fn subject(step: &Step) -> (Option<Vessel>, Option<f64>) {
    match step {
        Step::HeatStrike { to, .. } => (Some(Vessel::LiquorTank), Some(fit::degrees(*to))),
        Step::DoughIn { .. } => (Some(Vessel::MashTun), None),
        Step::Rest { at, .. } | Step::MashOut { at, .. } => (Some(Vessel::MashTun), Some(fit::degrees(*at))),
        Step::Sparge { at, .. } => (Some(Vessel::LiquorTank), Some(fit::degrees(*at))),
        Step::BringToBoil | Step::Boil { .. } | Step::KnockOut | Step::Whirlpool { .. } => (Some(Vessel::BoilKettle), None),
        Step::Chill { to } => (Some(Vessel::BoilKettle), Some(fit::degrees(*to))),
    }
}
