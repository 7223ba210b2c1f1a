//! The flat state vector: what is where. Every entry is a plain number, so that any solver can integrate it.
//!
//! Heat is kept as enthalpy above 0 C of liquid, wall and grain together. Flows take from one entry what they give to another, so the
//! account closes whatever the step.

use copperhold_core::vessel::Vessel;

/// Number of entries.
pub const ENTRIES: usize = 23;
/// The state of the whole brewery.
pub type State = [f64; ENTRIES];

/// Liquid in the tank, kg.
pub const TANK_KG: usize = 0;
/// Heat of the tank's liquid and wall, J.
pub const TANK_J: usize = 1;
/// Sheath of the tank's element, degrees Celsius.
pub const TANK_SHEATH_C: usize = 2;
/// Liquid in the kettle, kg.
pub const KETTLE_KG: usize = 3;
/// Heat of the kettle's liquid and wall, J.
pub const KETTLE_J: usize = 4;
/// Sheath of the kettle's element, degrees Celsius.
pub const KETTLE_SHEATH_C: usize = 5;
/// Liquid in the tun, held by the grain or free, kg.
pub const TUN_KG: usize = 6;
/// Heat of the tun's three layers with their share of wall and grain, top first, J: this entry and the next two.
pub const TUN_J: usize = 7;
/// Number of layers of the tun.
pub const LAYERS: usize = 3;
/// Heat of the hose from tun to coil, J.
pub const HOSE_OUT_J: usize = 10;
/// Heat of the coil's content and the hose back to the tun, J.
pub const HOSE_BACK_J: usize = 11;
/// What the tank's thermometer place sees, degrees Celsius.
pub const TANK_SEEN_C: usize = 12;
/// What the kettle's thermometer place sees, degrees Celsius.
pub const KETTLE_SEEN_C: usize = 13;
/// From here on the entries are sums since the start, which nothing else depends on.
pub const FIRST_SUM: usize = 14;
/// Electric energy into the tank's element so far, J.
pub const TANK_ELECTRIC_J: usize = FIRST_SUM;
/// Electric energy into the kettle's element so far, J.
pub const KETTLE_ELECTRIC_J: usize = 15;
/// Lost to the room by convection and radiation so far, J.
pub const LOST_J: usize = 16;
/// Enthalpy of the vapour that has left, J.
pub const VAPOUR_J: usize = 17;
/// Vapour that has left all vessels, kg.
pub const VAPOUR_KG: usize = 18;
/// Vapour that has left the kettle, kg.
pub const KETTLE_VAPOUR_KG: usize = 19;
/// Enthalpy carried out by chiller, knock-out and spills less what the tap brought, J.
pub const CARRIED_J: usize = 20;
/// Liquid carried out less what the tap brought, kg.
pub const CARRIED_KG: usize = 21;
/// Heat that the coil has moved from tank to mash, J.
pub const COIL_J: usize = 22;

/// The entry that holds a vessel's liquid.
pub const fn kg_entry(vessel: Vessel) -> usize {
    match vessel {
        Vessel::LiquorTank => TANK_KG,
        Vessel::MashTun => TUN_KG,
        Vessel::BoilKettle => KETTLE_KG,
    }
}
