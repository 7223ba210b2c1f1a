//! Strike, infusion and decoction: heat balances.
//!
//! The balance: what water gives up is what grain and tun take up, less the heat of slaking that dry malt gives off by itself. Nothing is
//! lost to the room; with the lid on, a tun loses about 0.1 K in the minutes it takes to stir.

use super::grain;
use crate::plant::hands::SLAKING_J_PER_KG;
use crate::plant::water;

/// The trade's specific heat of water, J/(kg K).
pub const TRADE_WATER_J_PER_KG_K: f64 = 4184.0;
/// Grain's heat capacity over water's, in Palmer's equations: quarts per pound with fahrenheit, or L/kg with any degrees (0.2 qt/lb is
/// 0.417 L/kg). Palmer, How to Brew.
pub const PALMER_QT_PER_LB: f64 = 0.2;
/// The same in the metric form of those equations, L/kg. From memory.
pub const PALMER_L_PER_KG: f64 = 0.41;
/// Litres per kilogram of one US quart per pound.
pub const L_PER_KG_PER_QT_PER_LB: f64 = 3.785_411_784 / 4.0 / 0.453_592_37;

/// How water's heat is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WaterHeat {
    /// 4184 J/(kg K) throughout, as the trade's formulas do.
    Constant,
    /// The enthalpy of IAPWS-95: 0.01 K from the other in a usual mash.
    Iapws,
}

impl WaterHeat {
    /// Enthalpy above 0 C, J/kg.
    fn enthalpy(self, t_c: f64) -> f64 {
        match self {
            WaterHeat::Constant => TRADE_WATER_J_PER_KG_K * t_c,
            WaterHeat::Iapws => water::enthalpy(t_c),
        }
    }

    /// Temperature of `kg` of water with `solids_j_per_k` beside it that hold `joules` above 0 C.
    fn temperature(self, kg: f64, solids_j_per_k: f64, joules: f64) -> f64 {
        match self {
            WaterHeat::Constant => joules / (kg * TRADE_WATER_J_PER_KG_K + solids_j_per_k),
            WaterHeat::Iapws => water::temperature_of(kg, solids_j_per_k, joules).0,
        }
    }
}

/// What goes into the tun.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strike {
    /// Malt, kg.
    pub grain_kg: f64,
    /// Its temperature, degrees Celsius.
    pub grain_c: f64,
    /// Its specific heat, J/(kg K).
    pub grain_j_per_kg_k: f64,
    /// Heat it gives off on taking up water, J/kg.
    pub slaking_j_per_kg: f64,
    /// Strike water, kg.
    pub water_kg: f64,
    /// Heat capacity of the tun and whatever else warms with it, J/K.
    pub tun_j_per_k: f64,
    /// Temperature of the tun beforehand, degrees Celsius.
    pub tun_c: f64,
}

impl Strike {
    /// Malt at 4 % moisture without the heat of slaking, nothing else yet: the trade's balance.
    pub fn dry() -> Strike {
        Strike {
            grain_kg: 0.0,
            grain_c: 20.0,
            grain_j_per_kg_k: grain::specific_heat(grain::MOISTURE),
            slaking_j_per_kg: 0.0,
            water_kg: 0.0,
            tun_j_per_k: 0.0,
            tun_c: 20.0,
        }
    }

    /// As [`Strike::dry`], with malt's heat of slaking: what happens in a tun.
    pub fn real() -> Strike {
        Strike { slaking_j_per_kg: SLAKING_J_PER_KG, ..Strike::dry() }
    }

    /// How warm the strike water must be so that the mash comes to `mash_c`, degrees Celsius. Not a number without water.
    ///
    /// `m_w (h(T_w) - h(T)) = m_g c_g (T - T_g) + C_tun (T - T_tun) - m_g q_slaking`. First law of thermodynamics.
    pub fn water_c(&self, mash_c: f64, heat: WaterHeat) -> f64 {
        let warmed_j = self.grain_kg * (self.grain_j_per_kg_k * (mash_c - self.grain_c) - self.slaking_j_per_kg)
            + self.tun_j_per_k * (mash_c - self.tun_c);
        heat.temperature(self.water_kg, 0.0, self.water_kg * heat.enthalpy(mash_c) + warmed_j)
    }

    /// Where the mash comes to with water at `water_c`, degrees Celsius: the inverse of [`Strike::water_c`].
    pub fn mash_c(&self, water_c: f64, heat: WaterHeat) -> f64 {
        let solids = self.grain_kg * self.grain_j_per_kg_k + self.tun_j_per_k;
        let joules = self.water_kg * heat.enthalpy(water_c)
            + self.grain_kg * (self.grain_j_per_kg_k * self.grain_c + self.slaking_j_per_kg)
            + self.tun_j_per_k * self.tun_c;
        heat.temperature(self.water_kg, solids, joules)
    }

    /// Heat capacity of the mash, J/K, with water at the trade's constant heat; without the tun.
    pub fn mash_j_per_k(&self) -> f64 {
        self.grain_kg * self.grain_j_per_kg_k + self.water_kg * TRADE_WATER_J_PER_KG_K
    }

    /// The mash's temperature when `add_kg` of water at `add_c` joins it at `mash_c`, degrees Celsius. The tun warms with it.
    pub fn infused_c(&self, mash_c: f64, add_kg: f64, add_c: f64) -> f64 {
        let mash = self.mash_j_per_k() + self.tun_j_per_k;
        let added = add_kg * TRADE_WATER_J_PER_KG_K;
        (mash * mash_c + added * add_c) / (mash + added)
    }

    /// Energy to bring the mash (and tun) from one temperature to another, J. Nothing lost on the way.
    pub fn step_j(&self, from_c: f64, to_c: f64) -> f64 {
        (self.mash_j_per_k() + self.tun_j_per_k) * (to_c - from_c)
    }
}

/// Strike temperature by Palmer's equation: `T_w = (k / r)(T_2 - T_1) + T_2`. Any temperature scale; `coefficient` and `ratio` in one unit
/// ([`PALMER_QT_PER_LB`] or [`PALMER_L_PER_KG`]). Knows neither the tun nor slaking.
pub fn palmer_strike(coefficient: f64, ratio: f64, grain_t: f64, mash_t: f64) -> f64 {
    coefficient / ratio * (mash_t - grain_t) + mash_t
}

/// Boiling water to add by Palmer's equation: `W_a = (T_2 - T_1)(k G + W_m) / (T_w - T_2)`. Units as in [`palmer_strike`].
pub fn palmer_infusion(coefficient: f64, grain: f64, water: f64, (from_t, to_t): (f64, f64), add_t: f64) -> f64 {
    (to_t - from_t) * (coefficient * grain + water) / (add_t - to_t)
}

/// Mash at dough-in by the Brewing Room Book's formula, degrees Celsius: `(S T_g + M T) / (S + M) + S_c`, with malt's heat relative to water
/// `S`, liquor in hL per 100 kg `M` (L/kg) and the slaking correction `S_c` in K. Pauls and Whites 1984/85; form inferred from its
/// variables.
pub fn initial_heat(malt_heat: f64, grain_c: f64, liquor_l_per_kg: f64, liquor_c: f64, slaking_k: f64) -> f64 {
    (malt_heat * grain_c + liquor_l_per_kg * liquor_c) / (malt_heat + liquor_l_per_kg) + slaking_k
}

/// Two waters together, degrees Celsius, by IAPWS enthalpy.
pub fn mixed_c(one: (f64, f64), other: (f64, f64)) -> f64 {
    let heat = |(kg, t_c): (f64, f64)| kg * water::enthalpy(t_c);
    water::temperature_of(one.0 + other.0, 0.0, heat(one) + heat(other)).0
}

/// Mash to take out, boil and return, L: `V (T_2 - T_1) / (T_b - T_1)`. An even mash, no losses.
pub fn decoction_l(mash_l: f64, from_c: f64, to_c: f64, boiling_c: f64) -> f64 {
    mash_l * (to_c - from_c) / (boiling_c - from_c)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn usual() -> Strike {
        Strike { grain_kg: 6.8, grain_c: 18.0, water_kg: 20.4, tun_j_per_k: 2400.0, tun_c: 19.0, ..Strike::real() }
    }

    #[test]
    fn the_mash_comes_to_where_the_strike_was_reckoned_for() {
        for heat in [WaterHeat::Constant, WaterHeat::Iapws] {
            for target_c in [45.0, 64.0, 72.0] {
                let there = usual().mash_c(usual().water_c(target_c, heat), heat);
                assert!((there - target_c).abs() < 1e-4, "{there}");
            }
        }
    }

    #[test]
    fn a_cold_tun_asks_for_hotter_water_and_slaking_for_cooler() {
        let bare = Strike { tun_j_per_k: 0.0, ..usual() };
        let dry = Strike { slaking_j_per_kg: 0.0, ..usual() };
        let water = |strike: Strike| strike.water_c(66.0, WaterHeat::Iapws);
        assert!(water(usual()) - water(bare) > 1.0);
        // 19.3 kJ/kg on 6.8 kg into 20.4 kg of water: 1.54 K.
        assert!((water(dry) - water(usual()) - 1.54).abs() < 0.01);
    }
}
