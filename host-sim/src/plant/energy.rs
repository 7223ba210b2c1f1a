//! The energy account: what came in, what is still there, and where the rest went.

use crate::day::Energy;
use copperhold_core::vessel::PerElement;

const J_PER_KWH: f64 = 3.6e6;

/// Sums since the start, in joules. Streams that carry mass are counted from the tap's temperature: tap water brings nothing.
///
/// The stored heat comes from the temperatures and masses at both ends, the flows are summed along the way: two independent sums.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct EnergyAccount {
    /// Electric energy into each element.
    pub element_j: PerElement<f64>,
    /// Change of heat in liquids, walls, grain, hoses and sheaths.
    pub stored_j: f64,
    /// Lost to the room by convection and radiation.
    pub lost_j: f64,
    /// Left with vapour.
    pub evaporated_j: f64,
    /// Carried out by chiller, knock-out, drain and spills, less what tap water and grain brought in (slaking heat included).
    pub carried_j: f64,
}

impl EnergyAccount {
    /// Electric energy in, J.
    pub fn electric_j(&self) -> f64 {
        self.element_j.liquor_tank + self.element_j.boil_kettle
    }

    /// Electric energy that the other sums do not explain, J.
    pub fn unexplained_j(&self) -> f64 {
        self.electric_j() - (self.stored_j + self.lost_j + self.evaporated_j + self.carried_j)
    }

    /// The same sums in kWh, as the record of a day has them.
    pub fn kwh(&self) -> Energy {
        Energy {
            element_kwh: PerElement::build(|e| self.element_j.get(e) / J_PER_KWH),
            stored_kwh: self.stored_j / J_PER_KWH,
            lost_kwh: self.lost_j / J_PER_KWH,
            evaporated_kwh: self.evaporated_j / J_PER_KWH,
            carried_kwh: self.carried_j / J_PER_KWH,
        }
    }
}
