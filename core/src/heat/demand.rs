//! What a vessel is asked to do.

use crate::units::{Celsius, Duty};

/// What a vessel is asked to do. The default is [`Demand::Off`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Demand {
    /// No heat.
    #[default]
    Off,
    /// Bring the vessel to this temperature as fast as it can go without passing it, and hold it there.
    Hold(Celsius),
    /// A fixed share of full power, whatever the temperature.
    Percent(Duty),
}
