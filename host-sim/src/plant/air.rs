//! Air: pressure and boiling point at altitude, and the properties that free convection needs.

use super::water;

/// Pressure of the standard atmosphere at a geopotential altitude of -400 to 11,000 m, Pa.
///
/// US Standard Atmosphere 1976, layer 0: `101325 (1 - 0.0065 H / 288.15)^5.255876`. Weather moves it by about 3 %.
pub fn pressure_pa(altitude_m: f64) -> f64 {
    101_325.0 * (1.0 - 0.0065 * altitude_m / 288.15).powf(5.255876)
}

/// Boiling point of water at an altitude, degrees Celsius: standard atmosphere and the saturation curve. Wort's solute is ignored
/// (0.2 K at 12 P).
pub fn boiling_point_c(altitude_m: f64) -> f64 {
    water::saturation_temperature(pressure_pa(altitude_m))
}

/// Air at a film temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Kinematic viscosity, m2/s.
    pub nu: f64,
    /// Thermal diffusivity, m2/s.
    pub alpha: f64,
    /// Thermal conductivity, W/(m K).
    pub k: f64,
}

impl Air {
    /// Dry air at a temperature (degrees Celsius) and pressure (Pa).
    ///
    /// Sutherland's viscosity and the conductivity of the US Standard Atmosphere 1976; ideal gas; cp 1007 J/(kg K). From memory, checked.
    pub fn at(t_c: f64, pascals: f64) -> Air {
        let kelvin = t_c + 273.15;
        let power = kelvin * kelvin.sqrt();
        let density = pascals / (287.05 * kelvin);
        let viscosity = 1.458e-6 * power / (kelvin + 110.4);
        let k = 2.64638e-3 * power / (kelvin + 245.4 * 10f64.powf(-12.0 / kelvin));
        Air { nu: viscosity / density, alpha: k / (density * 1007.0), k }
    }

    /// Prandtl number.
    pub fn prandtl(&self) -> f64 {
        self.nu / self.alpha
    }

    /// Rayleigh number of a surface of size `length_m` that differs from the room by `difference_k`, both in still air:
    /// `g beta dT L^3 / (nu alpha)` with `beta = 1 / T_film`.
    pub fn rayleigh(&self, film_c: f64, difference_k: f64, length_m: f64) -> f64 {
        9.80665 / (film_c + 273.15) * difference_k.abs() * length_m.powi(3) / (self.nu * self.alpha)
    }
}
