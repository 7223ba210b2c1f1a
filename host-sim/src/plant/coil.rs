//! Heat exchangers by effectiveness and number of transfer units (Kays and London; Incropera ch. 11).

use super::water;
use std::f64::consts::PI;

/// How the coil's conductance follows its flow: `UA ~ flow^0.3`. The inside film alone would go with flow^0.8 (Gnielinski), but the still
/// liquor outside carries most of the resistance. Common practice, no source.
const UA_EXPONENT: f64 = 0.3;

/// Effectiveness against a well-mixed tank, `Cr = 0`: `1 - exp(-NTU)`.
pub fn effectiveness_in_tank(ntu: f64) -> f64 {
    -(-ntu).exp_m1()
}

/// Effectiveness in counterflow; `cr` is the smaller capacity rate over the larger, 0 to 1.
pub fn effectiveness_counterflow(ntu: f64, cr: f64) -> f64 {
    if (1.0 - cr).abs() < 1e-9 {
        return ntu / (1.0 + ntu);
    }
    let e = (-ntu * (1.0 - cr)).exp();
    (1.0 - e) / (1.0 - cr * e)
}

/// Conductance of a coil at a share of its rated flow, W/K: `UA (share)^0.3`.
pub fn conductance_at(ua_w_per_k: f64, share_of_rated_flow: f64) -> f64 {
    ua_w_per_k * share_of_rated_flow.max(0.0).powf(UA_EXPONENT)
}

/// A stream through a coil in a tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoilDuty {
    /// Number of transfer units.
    pub ntu: f64,
    /// Effectiveness, 0 to 1.
    pub effectiveness: f64,
    /// Temperature at the outlet, degrees Celsius.
    pub outlet_c: f64,
    /// Heat taken from the tank, W.
    pub heat_w: f64,
}

/// Steady duty of a coil of `ua_w_per_k` in a tank at `tank_c` for water that enters at `inlet_c` with `l_per_min`.
///
/// Mass flow from the density at the inlet, specific heat at the mean of the two temperatures.
pub fn coil_duty(ua_w_per_k: f64, l_per_min: f64, tank_c: f64, inlet_c: f64) -> CoilDuty {
    let rate = l_per_min / 60e3 * water::density(inlet_c) * water::specific_heat(0.5 * (tank_c + inlet_c));
    let ntu = ua_w_per_k / rate;
    let effectiveness = effectiveness_in_tank(ntu);
    let rise = effectiveness * (tank_c - inlet_c);
    CoilDuty { ntu, effectiveness, outlet_c: inlet_c + rise, heat_w: rate * rise }
}

/// Reynolds number of water in a tube.
pub fn reynolds(l_per_min: f64, inner_m: f64, t_c: f64) -> f64 {
    let speed = l_per_min / 60e3 / (PI / 4.0 * inner_m * inner_m);
    speed * inner_m * water::density(t_c) / water::viscosity(t_c)
}

/// Film coefficient inside a straight tube in turbulent flow, W/(m2 K): Gnielinski 1976, Reynolds 3000 to 5e6.
pub fn inside_film(l_per_min: f64, inner_m: f64, t_c: f64) -> f64 {
    let re = reynolds(l_per_min, inner_m, t_c);
    let k = water::conductivity(t_c);
    let pr = water::viscosity(t_c) * water::specific_heat(t_c) / k;
    let f = (0.790 * re.ln() - 1.64).powi(-2);
    let nusselt = f / 8.0 * (re - 1000.0) * pr / (1.0 + 12.7 * (f / 8.0).sqrt() * (pr.powf(2.0 / 3.0) - 1.0));
    nusselt * k / inner_m
}
