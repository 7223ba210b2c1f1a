//! One vessel of liquid and its element: the parts that tank, tun and kettle share.

use super::loss::{LossTable, Losses, STEFAN_BOLTZMANN};
use super::water;
use crate::rig::{ElementRig, Site, VesselRig};
use std::f64::consts::PI;

/// Specific heat of stainless steel 304, J/(kg K) (handbook value, from memory).
pub const STEEL_J_PER_KG_K: f64 = 500.0;
/// Time in which superheat turns into vapour, s: full power superheats a full kettle by about 0.1 K. Chosen, no source.
pub const BOIL_S: f64 = 2.0;
/// Liquid below which evaporation and boiling fade out, kg.
const DAMP_KG: f64 = 0.2;
/// The film that stays on a dry vessel, kg. Without it the liquid would fade for ever through numbers too small to compute with.
pub const FILM_KG: f64 = 0.01;
/// Time in which what stands above the brim runs off, s.
const SPILL_S: f64 = 2.0;
/// Least heat capacity of a wall, so that an empty vessel has a temperature, J/K.
const LEAST_WALL_J_PER_K: f64 = 200.0;
/// Heat flux of an element at rated power, W/m2, which gives its area. Common practice, no source: 5 to 15 W/cm2.
const ELEMENT_W_PER_M2: f64 = 1e5;
/// Free convection of a hot rod in air, W/(m2 K) (textbook range 5 to 25).
const ROD_IN_AIR_W_PER_M2_K: f64 = 10.0;
/// Emissivity of an oxidised sheath (textbook value, from memory).
const SHEATH_EMISSIVITY: f64 = 0.8;
/// The element sticks out fully at this share of the volume that just covers it.
const BARE_SHARE: f64 = 0.9;

/// A vessel's constants.
#[derive(Debug, Clone, PartialEq)]
pub struct Pot {
    /// Heat capacity of the wall, J/K.
    pub wall_j_per_k: f64,
    /// Brimful volume, L.
    pub capacity_l: f64,
    /// Volume that stays behind, L.
    pub dead_space_l: f64,
    /// Lag of the thermometer's place, s.
    pub mixing_s: f64,
    /// Lid on.
    pub lid: bool,
    /// Surface of the liquid, m2.
    pub surface_m2: f64,
    wall_m2_per_l: f64,
    losses: LossTable,
}

/// Liquid at one temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lump {
    /// Temperature, degrees Celsius.
    pub t_c: f64,
    /// Specific enthalpy of the liquid, J/kg.
    pub h: f64,
    /// Heat capacity of liquid and solids, J/K.
    pub j_per_k: f64,
}

impl Lump {
    /// The lump of `kg` and `solids_j_per_k` that holds `joules` above 0 C.
    #[inline(always)]
    pub fn of(kg: f64, solids_j_per_k: f64, joules: f64) -> Lump {
        let (t_c, h, cp) = water::temperature_of(kg, solids_j_per_k, joules);
        Lump { t_c, h, j_per_k: kg * cp + solids_j_per_k }
    }

    /// Density of the liquid, kg/L.
    #[inline]
    pub fn kg_per_l(&self) -> f64 {
        water::density(self.t_c) * 1e-3
    }
}

/// What leaves a vessel upwards and sideways.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Leaving {
    /// Convection and radiation, W.
    pub lost_w: f64,
    /// Vapour, kg/s.
    pub vapour_kg_per_s: f64,
    /// Its enthalpy, W.
    pub vapour_w: f64,
}

impl Pot {
    /// A vessel at its site.
    pub fn new(rig: &VesselRig, site: &Site, pascals: f64) -> Pot {
        Pot {
            wall_j_per_k: (rig.wall_kg * STEEL_J_PER_KG_K).max(LEAST_WALL_J_PER_K),
            capacity_l: rig.capacity_l,
            dead_space_l: rig.dead_space_l,
            mixing_s: rig.mixing_s.max(0.5),
            lid: rig.lid,
            surface_m2: PI / 4.0 * rig.diameter_m.powi(2),
            wall_m2_per_l: 4e-3 / rig.diameter_m,
            losses: LossTable::new(rig, site, pascals),
        }
    }

    /// The losses at a temperature.
    #[inline]
    pub fn losses(&self, t_c: f64) -> Losses {
        self.losses.at(t_c)
    }

    /// Loss to the room and evaporation below the boil, through the ring of the wall that `ring_l` wets and up to the lid or the air.
    /// Under a lid the `headspace_l` above is full of vapour, whose condensate keeps its wall as warm as the liquid.
    #[inline]
    pub fn leaving(&self, lump: &Lump, kg: f64, ring_l: f64, headspace_l: f64) -> Leaving {
        let losses = self.losses.at(lump.t_c);
        let vapour_kg_per_s = losses.vapour_kg_per_s(self.lid) * damp(kg);
        Leaving {
            lost_w: losses.dry_w(self.warm_wall_m2(ring_l, headspace_l), self.lid),
            vapour_kg_per_s,
            vapour_w: vapour_kg_per_s * (lump.h + water::latent_heat(lump.t_c)),
        }
    }

    #[inline]
    fn warm_wall_m2(&self, ring_l: f64, headspace_l: f64) -> f64 {
        (ring_l + if self.lid { headspace_l.max(0.0) } else { 0.0 }) * self.wall_m2_per_l
    }

    /// Loss through a ring of the side wall that holds `litres`, W.
    #[inline]
    pub fn side_loss_w(&self, t_c: f64, litres: f64) -> f64 {
        self.losses.at(t_c).side_w_per_m2 * litres * self.wall_m2_per_l
    }

    /// Adds what boils off: superheat turns into vapour with the time constant [`BOIL_S`], whatever the volume.
    #[inline]
    pub fn boil(&self, leaving: &mut Leaving, lump: &Lump, kg: f64, boiling_c: f64) {
        let superheat_k = lump.t_c - boiling_c;
        if superheat_k > 0.0 {
            let latent = water::latent_heat(lump.t_c);
            let vapour = superheat_k * lump.j_per_k / (BOIL_S * latent) * damp(kg);
            leaving.vapour_kg_per_s += vapour;
            leaving.vapour_w += vapour * (lump.h + latent);
        }
    }

    /// What runs over the brim, kg/s.
    #[inline]
    pub fn spill_kg_per_s(&self, kg_per_l: f64, level_l: f64) -> f64 {
        (level_l - self.capacity_l).max(0.0) * kg_per_l * (1.0 / SPILL_S)
    }

    /// Wall, bottom and top together at a temperature and level, evaporation included, W.
    pub fn standing_loss_w(&self, t_c: f64, level_l: f64) -> f64 {
        let losses = self.losses.at(t_c);
        losses.dry_w(self.warm_wall_m2(level_l, self.capacity_l - level_l), self.lid)
            + losses.vapour_kg_per_s(self.lid) * water::latent_heat(t_c)
    }
}

#[inline]
fn damp(kg: f64) -> f64 {
    ((kg - FILM_KG) * (1.0 / DAMP_KG)).clamp(0.0, 1.0)
}

/// An element as a lump of sheath and filling.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sheath {
    /// Power at the present mains voltage, W.
    pub power_w: f64,
    /// Heat capacity, J/K.
    pub j_per_k: f64,
    w_per_k: f64,
    area_m2: f64,
    bare_below_l: f64,
    covered_per_l: f64,
}

impl Sheath {
    /// An element at a mains voltage: `P = P_rated (V / V_rated)^2`. Without an element, a sheath that follows the liquid and has no power.
    pub fn new(element: Option<&ElementRig>, element_top_l: f64, volts: f64) -> Sheath {
        let covered_above_l = element_top_l.max(0.1);
        let bare_below_l = covered_above_l * BARE_SHARE;
        let covered_per_l = 1.0 / (covered_above_l - bare_below_l);
        match element {
            Some(e) => Sheath {
                power_w: e.power_w * (volts / e.rated_volts).powi(2),
                j_per_k: e.sheath_j_per_k.max(1.0),
                w_per_k: e.sheath_w_per_k,
                area_m2: e.power_w / ELEMENT_W_PER_M2,
                bare_below_l,
                covered_per_l,
            },
            None => Sheath { power_w: 0.0, j_per_k: 1.0, w_per_k: 1.0, area_m2: 0.0, bare_below_l, covered_per_l },
        }
    }

    /// Heat from the sheath to the vessel, W. The bare part gives it off to the vessel's air and walls by convection and radiation only.
    #[inline]
    pub fn heat_w(&self, sheath_c: f64, liquid_c: f64, litres: f64) -> f64 {
        let covered = ((litres - self.bare_below_l) * self.covered_per_l).clamp(0.0, 1.0);
        let above_k = sheath_c - liquid_c;
        let wet_w = covered * self.w_per_k * above_k;
        if covered == 1.0 {
            return wet_w;
        }
        let (s, l) = (sheath_c + 273.15, liquid_c + 273.15);
        let radiated = SHEATH_EMISSIVITY * STEFAN_BOLTZMANN * (s * s + l * l) * (s + l);
        wet_w + (1.0 - covered) * self.area_m2 * (ROD_IN_AIR_W_PER_M2_K + radiated) * above_k
    }

    /// How fast it follows the liquid, 1/s.
    pub fn rate_per_s(&self) -> f64 {
        self.w_per_k / self.j_per_k
    }
}
