//! What is true of a filled vessel, for those who are given it: rivals with perfect knowledge, and whoever checks an identification.

use super::Brewery;
use super::probe::ONE_WIRE_S;
use crate::rig::ProbeKind;
use copperhold_core::controller::CONTROL_PERIOD;
use copperhold_core::vessel::Element;

/// A vessel's true figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figures {
    /// Power at the present mains voltage, W.
    pub power_w: f64,
    /// Climb at full power before any loss, K/s: power over the heat capacity of liquid, wall and sheath.
    pub climb_k_per_s: f64,
    /// Total lag, s: sheath, mixing, delay, probe, and the mean age of a reading over the tick it is used for.
    pub lag_s: f64,
    /// Share of full power that makes good the loss at a temperature.
    pub standing_duty: f64,
}

impl Figures {
    /// Of an element's vessel as it is filled now, with the loss at `t_c`.
    pub fn of(brewery: &Brewery, element: Element, t_c: f64) -> Figures {
        let rig = brewery.network().rig();
        let vessel = rig.vessel(element.vessel());
        let power_w = *rig.element_power_w().get(element);
        let (sheath_j_per_k, sheath_s) =
            vessel.element.map_or((0.0, 0.0), |e| (e.sheath_j_per_k, e.sheath_j_per_k / e.sheath_w_per_k));
        let tick_s = CONTROL_PERIOD.as_micros() as f64 * 1e-6;
        let age_s = match vessel.probe.kind {
            ProbeKind::Ds18b20 => 0.5 * ONE_WIRE_S,
            ProbeKind::Pt100 | ProbeKind::Ntc10k => 0.5 * tick_s,
        };
        Figures {
            power_w,
            climb_k_per_s: power_w / (brewery.heat_capacity_j_per_k(element.vessel()) + sheath_j_per_k),
            lag_s: sheath_s + vessel.mixing_s + vessel.probe.delay_s + vessel.probe.lag_s + age_s,
            standing_duty: brewery.standing_loss_w(element, t_c) / power_w,
        }
    }
}
