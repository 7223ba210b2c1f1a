//! What a vessel loses to the room: free convection, radiation, and evaporation from an open surface.
//!
//! The full correlations run once, when a rig is built, to fill a [`LossTable`]; a step reads the table by linear interpolation, so
//! the losses stay a pure function of temperature and cost two loads.

use super::air::Air;
use super::water;
use crate::rig::{Site, VesselRig};
use std::f64::consts::PI;

/// Stefan-Boltzmann constant, W/(m2 K4).
pub const STEFAN_BOLTZMANN: f64 = 5.670374e-8;
/// Emissivity of a water surface (textbook value, from memory).
const WATER_EMISSIVITY: f64 = 0.95;
/// Share of the open surface's evaporation that gets past a lid. Common practice, no source: a lid stops nearly all of it.
const PAST_THE_LID: f64 = 0.02;

/// Nusselt number of free convection at a vertical plate, any Rayleigh number. Churchill and Chu 1975.
pub fn nusselt_vertical(rayleigh: f64, prandtl: f64) -> f64 {
    let denominator = (1.0 + (0.492 / prandtl).powf(9.0 / 16.0)).powf(8.0 / 27.0);
    (0.825 + 0.387 * rayleigh.powf(1.0 / 6.0) / denominator).powi(2)
}

/// Nusselt number above a hot horizontal plate, `length = area / perimeter`. McAdams, as in Incropera ch. 9.
pub fn nusselt_facing_up(rayleigh: f64) -> f64 {
    if rayleigh < 1e7 { 0.54 * rayleigh.powf(0.25) } else { 0.15 * rayleigh.cbrt() }
}

/// Nusselt number below a hot horizontal plate, `length = area / perimeter`. McAdams, as in Incropera ch. 9 (from memory).
pub fn nusselt_facing_down(rayleigh: f64) -> f64 {
    0.27 * rayleigh.powf(0.25)
}

/// Coefficient of free convection at a vertical wall, W/(m2 K).
pub fn convection_wall(surface_c: f64, air_c: f64, height_m: f64, pascals: f64) -> f64 {
    let film_c = 0.5 * (surface_c + air_c);
    let air = Air::at(film_c, pascals);
    nusselt_vertical(air.rayleigh(film_c, surface_c - air_c, height_m), air.prandtl()) * air.k / height_m
}

/// Coefficient of free convection at a horizontal disc, W/(m2 K). A surface colder than the room swaps the two faces' formulas.
pub fn convection_disc(surface_c: f64, air_c: f64, diameter_m: f64, pascals: f64, faces_up: bool) -> f64 {
    let film_c = 0.5 * (surface_c + air_c);
    let length_m = diameter_m / 4.0;
    let air = Air::at(film_c, pascals);
    let rayleigh = air.rayleigh(film_c, surface_c - air_c, length_m);
    let nusselt = if faces_up == (surface_c >= air_c) { nusselt_facing_up(rayleigh) } else { nusselt_facing_down(rayleigh) };
    nusselt * air.k / length_m
}

/// Coefficient of radiation to a room whose walls have the air's temperature, grey body, W/(m2 K).
pub fn radiation(surface_c: f64, room_c: f64, emissivity: f64) -> f64 {
    let (s, r) = (surface_c + 273.15, room_c + 273.15);
    emissivity * STEFAN_BOLTZMANN * (s * s + r * r) * (s + r)
}

/// Heat that evaporation takes from an open surface, W/m2, in air that moves at `air_m_per_s`. Negative when moisture condenses.
///
/// ASHRAE HVAC Applications pool equation (Carrier 1918): `(88.7 + 78.15 v) (p_w - p_a)` with pressures in kPa. Made for pools near 30 C;
/// hot kettles lie within +-40 % of it.
pub fn evaporation_w_per_m2(water_c: f64, air_c: f64, humidity: f64, air_m_per_s: f64) -> f64 {
    let kpa = (water::saturation_pressure(water_c) - humidity * water::saturation_pressure(air_c)) * 1e-3;
    (88.7 + 78.15 * air_m_per_s) * kpa
}

/// Rate of that evaporation, kg/(m2 s).
pub fn evaporation_kg_per_m2_s(water_c: f64, air_c: f64, humidity: f64, air_m_per_s: f64) -> f64 {
    evaporation_w_per_m2(water_c, air_c, humidity, air_m_per_s) / water::latent_heat(water_c)
}

/// What a vessel loses at one temperature.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Losses {
    /// Through the wetted side wall, W per m2 of it.
    pub side_w_per_m2: f64,
    /// Through the bottom and the lid, W.
    pub lid_w: f64,
    /// Through the bottom and the open surface by convection and radiation, W.
    pub open_w: f64,
    /// Evaporation from the open surface, kg/s.
    pub open_kg_per_s: f64,
}

impl Losses {
    /// The full correlations, without a table. The wall has the liquid's temperature.
    pub fn full(vessel: &VesselRig, site: &Site, pascals: f64, t_c: f64) -> Losses {
        let area = PI / 4.0 * vessel.diameter_m.powi(2);
        let height_m = (vessel.capacity_l * 1e-3 / area).max(0.05);
        let bare = 1.0 - vessel.insulation;
        let above_k = t_c - site.air_c;
        let grey = radiation(t_c, site.air_c, vessel.emissivity);
        let side = (convection_wall(t_c, site.air_c, height_m, pascals) + grey) * above_k * bare;
        let bottom = (convection_disc(t_c, site.air_c, vessel.diameter_m, pascals, false) + grey) * above_k * bare * area;
        let up = convection_disc(t_c, site.air_c, vessel.diameter_m, pascals, true);
        let lid = (up + grey) * above_k * area;
        let surface = (up + radiation(t_c, site.air_c, WATER_EMISSIVITY)) * above_k * area;
        // Condensation on cold liquor is left out: it would bring water from the room's account, which nobody keeps.
        let vapour = (evaporation_kg_per_m2_s(t_c, site.air_c, site.humidity, 0.0) * area).max(0.0);
        Losses { side_w_per_m2: side, lid_w: bottom + lid, open_w: bottom + surface, open_kg_per_s: vapour }
    }

    /// Loss by convection and radiation, W.
    #[inline]
    pub fn dry_w(&self, wetted_m2: f64, lid: bool) -> f64 {
        self.side_w_per_m2 * wetted_m2 + if lid { self.lid_w } else { self.open_w }
    }

    /// Evaporation, kg/s.
    #[inline]
    pub fn vapour_kg_per_s(&self, lid: bool) -> f64 {
        if lid { self.open_kg_per_s * PAST_THE_LID } else { self.open_kg_per_s }
    }
}

const LOWEST_C: f64 = -10.0;
const ROWS: usize = 271;
const ROWS_PER_K: f64 = 2.0;

/// [`Losses`] of one vessel, -10 to 125 C in steps of half a kelvin; straight beyond.
#[derive(Debug, Clone, PartialEq)]
pub struct LossTable {
    rows: Vec<Losses>,
}

impl LossTable {
    /// Fills the table for a vessel at its site.
    pub fn new(vessel: &VesselRig, site: &Site, pascals: f64) -> LossTable {
        let row = |n| Losses::full(vessel, site, pascals, LOWEST_C + n as f64 / ROWS_PER_K);
        LossTable { rows: (0..ROWS).map(row).collect() }
    }

    /// The losses at a temperature, by linear interpolation.
    #[inline]
    pub fn at(&self, t_c: f64) -> Losses {
        let place = (t_c - LOWEST_C) * ROWS_PER_K;
        let n = (place.max(0.0) as usize).min(ROWS - 2);
        let f = place - n as f64;
        let (a, b) = (&self.rows[n], &self.rows[n + 1]);
        Losses {
            side_w_per_m2: a.side_w_per_m2 + f * (b.side_w_per_m2 - a.side_w_per_m2),
            lid_w: a.lid_w + f * (b.lid_w - a.lid_w),
            open_w: a.open_w + f * (b.open_w - a.open_w),
            open_kg_per_s: a.open_kg_per_s + f * (b.open_kg_per_s - a.open_kg_per_s),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::Rig;

    #[test]
    fn the_table_agrees_with_the_full_correlations_between_its_rows() {
        let rig = Rig::example();
        let table = LossTable::new(&rig.boil_kettle, &rig.site, 101_325.0);
        for n in 0..2000 {
            let t_c = n as f64 * 0.0523;
            let (fast, full) = (table.at(t_c), Losses::full(&rig.boil_kettle, &rig.site, 101_325.0, t_c));
            let close = |a: f64, b: f64, floor: f64| assert!((a - b).abs() <= 2e-4 * b.abs() + floor, "{t_c} C: {a} {b}");
            close(fast.side_w_per_m2, full.side_w_per_m2, 0.15);
            close(fast.lid_w, full.lid_w, 0.05);
            close(fast.open_w, full.open_w, 0.05);
            // The kink at the dew point costs a tenth of a watt.
            close(fast.open_kg_per_s, full.open_kg_per_s, 5e-8);
        }
    }

    #[test]
    fn a_vessel_at_room_temperature_loses_no_dry_heat_and_a_colder_one_gains() {
        let rig = Rig::example();
        let at = |t_c| Losses::full(&rig.boil_kettle, &rig.site, 101_325.0, t_c);
        assert_eq!(at(rig.site.air_c).dry_w(0.3, true), 0.0);
        assert!(at(rig.site.air_c - 10.0).dry_w(0.3, true) < 0.0);
    }
}
