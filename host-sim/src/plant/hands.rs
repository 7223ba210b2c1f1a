//! What the brewer's hands do: taps, valves, lids, grain, a paddle; and what a test or a drill sets.

use super::brewery::Brewery;
use super::network::{FlowShare, GRAIN_J_PER_KG_K, MashReturn, WortReturn};
use super::state::*;
use super::water;
use copperhold_core::vessel::Vessel;

/// Heat that dry malt gives off when it takes up water, J/kg. Derived: the slaking correction of Pauls and Whites (Brewing Room Book
/// 1984/85) for 4 % moisture, 1.5 K, times the heat capacity of the mash in its worked example, (0.40 + 2.68) x 4184 J/K per kg of malt.
pub const SLAKING_J_PER_KG: f64 = 19_300.0;
impl Brewery {
    /// Opens the tap over a vessel until `litres` more have come, on top of what is still to come.
    pub fn fill_from_tap(&mut self, vessel: Vessel, litres: f64) {
        *self.tap_left_l.get_mut(vessel) += litres.max(0.0);
    }

    /// Closes the tap over a vessel.
    pub fn close_tap(&mut self, vessel: Vessel) {
        *self.tap_left_l.get_mut(vessel) = 0.0;
    }

    /// Litres still to come from the tap.
    pub fn tap_left_l(&self, vessel: Vessel) -> f64 {
        *self.tap_left_l.get(vessel)
    }

    /// Turns the valve behind the mash pump.
    pub fn set_mash_return(&mut self, to: MashReturn) {
        self.network.mash_return = to;
    }

    /// Turns the valve behind the wort pump. Cooling water runs while wort passes the chiller.
    pub fn set_wort_return(&mut self, to: WortReturn) {
        self.network.wort_return = to;
    }

    /// Puts a lid on or takes it off.
    pub fn set_lid(&mut self, vessel: Vessel, on: bool) {
        self.network.pots.get_mut(vessel).lid = on;
    }

    /// Changes the mains voltage, V RMS.
    pub fn set_mains_volts(&mut self, volts: f64) {
        self.network.set_volts(volts);
    }

    /// Changes the pumps' flows, as shares of the rig's figures. The coil's conductance follows the mash pump's.
    pub fn set_flow(&mut self, share: FlowShare) {
        self.network.set_flow(share);
    }

    /// The pumps' flows, as shares of the rig's figures.
    pub fn flow(&self) -> FlowShare {
        self.network.flow()
    }

    /// Changes the mixing lag of a vessel, s, 0.5 or more: a paddle makes it short, a still tank long.
    pub fn set_mixing_s(&mut self, vessel: Vessel, seconds: f64) {
        self.network.set_mixing_s(vessel, seconds);
    }

    /// One good stir: the layers of the tun, or the place of the thermometer and the bulk, become one temperature.
    pub fn stir(&mut self, vessel: Vessel) {
        match vessel {
            Vessel::LiquorTank => self.state[TANK_SEEN_C] = self.network.tank(&self.state).t_c,
            Vessel::BoilKettle => self.state[KETTLE_SEEN_C] = self.network.kettle(&self.state).t_c,
            Vessel::MashTun => {
                let layers = &mut self.state[TUN_J..TUN_J + LAYERS];
                let mean = layers.iter().sum::<f64>() / LAYERS as f64;
                layers.fill(mean);
            }
        }
    }

    /// Doughs in: grain of a temperature, evenly stirred in, with its slaking heat.
    pub fn add_grain(&mut self, kg: f64, t_c: f64) {
        let brought_j = kg * (GRAIN_J_PER_KG_K * t_c + SLAKING_J_PER_KG);
        self.network.grain_kg += kg;
        for layer in &mut self.state[TUN_J..TUN_J + LAYERS] {
            *layer += brought_j / LAYERS as f64;
        }
        self.stir(Vessel::MashTun);
        self.by_hand.0 -= brought_j;
    }

    /// Pours a vessel out: liquid, and the tun's grain with it. The wall stays.
    pub fn empty(&mut self, vessel: Vessel) {
        let before = self.content();
        let t_c = *self.bulk_c().get(vessel);
        let (kg, wall) = (self.state[kg_entry(vessel)], self.network.pots.get(vessel).wall_j_per_k);
        self.state[kg_entry(vessel)] = 0.0;
        match vessel {
            Vessel::LiquorTank => self.state[TANK_J] = wall * t_c,
            Vessel::BoilKettle => self.state[KETTLE_J] = wall * t_c,
            Vessel::MashTun => {
                self.network.grain_kg = 0.0;
                self.state[TUN_J..TUN_J + LAYERS].fill(wall * t_c / LAYERS as f64);
            }
        }
        self.by_hand.0 += before.0 - self.content().0;
        self.by_hand.1 += kg;
    }

    /// Starts a vessel with `litres` (at that temperature) of liquid, wall and element at `t_c`, its thermometer settled; the energy account
    /// starts again from here. For tests and for days that begin in the middle.
    pub fn preset(&mut self, vessel: Vessel, litres: f64, t_c: f64) {
        let kg = litres * water::density(t_c) * 1e-3;
        let joules = kg * water::enthalpy(t_c) + self.network.pots.get(vessel).wall_j_per_k * t_c;
        self.state[kg_entry(vessel)] = kg;
        match vessel {
            Vessel::LiquorTank => {
                self.state[TANK_J] = joules;
                (self.state[TANK_SHEATH_C], self.state[TANK_SEEN_C]) = (t_c, t_c);
            }
            Vessel::BoilKettle => {
                self.state[KETTLE_J] = joules;
                (self.state[KETTLE_SHEATH_C], self.state[KETTLE_SEEN_C]) = (t_c, t_c);
            }
            Vessel::MashTun => {
                let grain_j = self.network.grain_kg * GRAIN_J_PER_KG_K * t_c;
                self.state[TUN_J..TUN_J + LAYERS].fill((joules + grain_j) / LAYERS as f64);
            }
        }
        self.thermometers.get_mut(vessel).settle(t_c);
        self.state[FIRST_SUM..].fill(0.0);
        self.by_hand = (0.0, 0.0);
        self.start = self.content();
    }

    /// Makes the kettle's content fresh wort, whose first boil foams. Run-off from grain does it by itself.
    pub fn make_wort(&mut self) {
        self.foam.freshen();
    }
}
