//! The whole brewery: the equations stepped in time, the thermometers and the foam, and what is true in it.
//!
//! What the brewer's hands do is in [`super::hands`].

use super::energy::EnergyAccount;
use super::foam::Foam;
use super::integrate::midpoint;
use super::network::{Drive, GRAIN_DISPLACES_L_PER_KG, MashReturn, Network};
use super::probe::{RawReading, Thermometer};
use super::state::*;
use super::vessel::FILM_KG;
use super::water;
use crate::rig::Rig;
use copperhold_core::vessel::{Element, PerElement, PerVessel, Vessel};

/// Volumes are stated as measured at this temperature, degrees Celsius.
pub const COLD_C: f64 = 20.0;
/// Internal steps are short enough for the fastest rate times the step to stay below this.
const STEP_LIMIT: f64 = 0.3;
/// Full-power heat-ups are summed over this many slices.
const SLICES: usize = 256;

/// What is true now, seen by nobody in the brewery.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Truth {
    /// Bulk temperature of each vessel, degrees Celsius; the tun's is the mean of its layers.
    pub bulk_c: PerVessel<f64>,
    /// Temperature at the thermometer's place, degrees Celsius.
    pub seen_c: PerVessel<f64>,
    /// Temperature of each thermometer's sensing element, without noise and calibration error, degrees Celsius.
    pub sensor_c: PerVessel<f64>,
    /// Liquid in each vessel at its own temperature, L.
    pub volume_l: PerVessel<f64>,
    /// The same, as measured cold, L.
    pub cold_l: PerVessel<f64>,
    /// Level: liquid and grain, L.
    pub level_l: PerVessel<f64>,
    /// Grain in the tun, kg.
    pub grain_kg: f64,
    /// The tun's layers, top first, degrees Celsius.
    pub layers_c: [f64; LAYERS],
    /// Wort as it comes back to the tun, degrees Celsius.
    pub return_c: f64,
    /// Sheath of each element, degrees Celsius.
    pub sheath_c: PerElement<f64>,
    /// Mean electric power of each element over the last step, W.
    pub element_w: PerElement<f64>,
    /// Whether tank and kettle boil.
    pub boiling: PerElement<bool>,
    /// Vapour from the kettle over the last step, evaporation included, kg/s.
    pub kettle_vapour_kg_per_s: f64,
    /// Vapour that has left the kettle so far, kg.
    pub kettle_vapour_kg: f64,
    /// Heat from tank to mash through the coil over the last step, W.
    pub coil_w: f64,
    /// Foam in the kettle as a share of the headspace, 0 to 1.
    pub foam: f64,
    /// Whether foam has ever reached the kettle's rim.
    pub boiled_over: bool,
    /// Seconds since the start.
    pub t_s: f64,
}

/// A turbine stands still below this flow, L/min; common practice, no source.
const TURBINE_L_PER_MIN: f64 = 1.0;

/// A simulated brewery.
#[derive(Debug, Clone)]
pub struct Brewery {
    pub(super) network: Network,
    pub(super) state: State,
    pub(super) thermometers: PerVessel<Thermometer>,
    pub(super) foam: Foam,
    /// Litres still to come from the tap.
    pub(super) tap_left_l: PerVessel<f64>,
    t_s: f64,
    /// Turns of the meter behind the mash pump, as litres.
    metered_l: f64,
    /// Heat content and liquid at the start.
    pub(super) start: (f64, f64),
    /// What hands carried out less what they brought in: heat in J, liquid in kg.
    pub(super) by_hand: (f64, f64),
    last: LastStep,
}

#[derive(Debug, Clone, Copy, Default)]
struct LastStep {
    element_w: PerElement<f64>,
    kettle_vapour_kg_per_s: f64,
    coil_w: f64,
}

impl Brewery {
    /// An empty brewery at room temperature, hoses full of water.
    pub fn new(rig: &Rig, seed: u64) -> Brewery {
        let network = Network::new(rig);
        let air_c = rig.site.air_c;
        let mut state: State = [0.0; ENTRIES];
        state[TANK_J] = network.pots.liquor_tank.wall_j_per_k * air_c;
        state[KETTLE_J] = network.pots.boil_kettle.wall_j_per_k * air_c;
        state[TUN_J..TUN_J + LAYERS].fill(network.layer_solids() * air_c);
        for hose in [HOSE_OUT_J, HOSE_BACK_J] {
            state[hose] = network.hose_kg() * water::enthalpy(air_c);
        }
        for entry in [TANK_SHEATH_C, KETTLE_SHEATH_C, TANK_SEEN_C, KETTLE_SEEN_C] {
            state[entry] = air_c;
        }
        let thermometers = PerVessel::build(|v| Thermometer::new(&rig.vessel(v).probe, seed, v as u64, air_c));
        let mut brewery = Brewery {
            network,
            state,
            thermometers,
            foam: Foam::default(),
            tap_left_l: PerVessel::default(),
            t_s: 0.0,
            metered_l: 0.0,
            start: (0.0, 0.0),
            by_hand: (0.0, 0.0),
            last: LastStep::default(),
        };
        brewery.start = brewery.content();
        brewery
    }

    /// Moves on by `dt_s`, up to 10 s; nothing happens in a step of no length. Longer steps than the equations bear are divided.
    pub fn step(&mut self, dt_s: f64, drive: &Drive) {
        if dt_s <= 0.0 {
            return;
        }
        let before = self.state;
        let pieces = (dt_s * self.network.fastest_per_s / STEP_LIMIT).ceil().max(1.0);
        let site = &self.network.rig().site;
        let tap_kg_per_l = water::density(site.tap_c) * 1e-3;
        let tap_l = PerVessel::build(|v| self.tap_left_l.get(v).min(site.tap_l_per_min / 60.0 * dt_s));
        let tap_kg_per_s = PerVessel::build(|v| tap_l.get(v) * tap_kg_per_l / dt_s);
        for _ in 0..pieces as usize {
            self.state = midpoint(&self.state, dt_s / pieces, |s| self.network.rates(s, drive, &tap_kg_per_s));
        }
        for v in Vessel::ALL {
            *self.tap_left_l.get_mut(v) -= tap_l.get(v);
        }
        self.t_s += dt_s;
        let mash_l_per_min = if drive.pumps.mash { self.network.mash_l_per_min(&self.state) } else { 0.0 };
        if mash_l_per_min >= TURBINE_L_PER_MIN {
            self.metered_l += mash_l_per_min * dt_s / 60.0;
        }

        let mean = |entry: usize| (self.state[entry] - before[entry]) / dt_s;
        self.last = LastStep {
            element_w: PerElement { liquor_tank: mean(TANK_ELECTRIC_J), boil_kettle: mean(KETTLE_ELECTRIC_J) },
            kettle_vapour_kg_per_s: mean(KETTLE_VAPOUR_KG),
            coil_w: mean(COIL_J),
        };
        let seen_c = self.seen_c();
        for v in Vessel::ALL {
            self.thermometers.get_mut(v).step(dt_s, *seen_c.get(v));
        }
        if drive.pumps.mash && self.network.mash_return == MashReturn::ToKettle && self.network.grain_kg > 0.0 {
            self.foam.freshen();
        }
        let kettle = self.network.kettle(&self.state);
        let vapour_w = self.last.kettle_vapour_kg_per_s * water::latent_heat(kettle.t_c);
        self.foam.step(dt_s, vapour_w, self.state[KETTLE_KG] / kettle.kg_per_l(), &self.network.pots.boil_kettle);
    }

    /// Litres that the turbine behind the mash pump has counted.
    pub fn metered_l(&self) -> f64 {
        self.metered_l
    }

    fn seen_c(&self) -> PerVessel<f64> {
        PerVessel {
            liquor_tank: self.state[TANK_SEEN_C],
            mash_tun: self.network.layer(&self.state, 1).t_c,
            boil_kettle: self.state[KETTLE_SEEN_C],
        }
    }

    /// True bulk temperature of each vessel, degrees Celsius; the tun's is the mean of its layers.
    pub fn bulk_c(&self) -> PerVessel<f64> {
        self.network.temperatures_c(&self.state)
    }

    /// What is true now.
    pub fn truth(&self) -> Truth {
        let s = &self.state;
        let (tank, kettle, layers) = (self.network.tank(s), self.network.kettle(s), self.network.layers(s));
        let bulk_c = self.bulk_c();
        let volume_l = PerVessel {
            liquor_tank: s[TANK_KG] / tank.kg_per_l(),
            mash_tun: s[TUN_KG] / layers[1].kg_per_l(),
            boil_kettle: s[KETTLE_KG] / kettle.kg_per_l(),
        };
        let mut level_l = volume_l;
        level_l.mash_tun += self.network.grain_kg * GRAIN_DISPLACES_L_PER_KG;
        let boils = |t_c: f64, kg: f64| kg > 2.0 * FILM_KG && t_c >= self.network.boiling_c;
        Truth {
            bulk_c,
            seen_c: self.seen_c(),
            sensor_c: PerVessel::build(|v| self.thermometers.get(v).sensor_c()),
            volume_l,
            cold_l: PerVessel::build(|v| s[kg_entry(v)] / (water::density(COLD_C) * 1e-3)),
            level_l,
            grain_kg: self.network.grain_kg,
            layers_c: layers.map(|layer| layer.t_c),
            return_c: self.network.hoses(s)[1].t_c,
            sheath_c: PerElement { liquor_tank: s[TANK_SHEATH_C], boil_kettle: s[KETTLE_SHEATH_C] },
            element_w: self.last.element_w,
            boiling: PerElement { liquor_tank: boils(tank.t_c, s[TANK_KG]), boil_kettle: boils(kettle.t_c, s[KETTLE_KG]) },
            kettle_vapour_kg_per_s: self.last.kettle_vapour_kg_per_s,
            kettle_vapour_kg: s[KETTLE_VAPOUR_KG],
            coil_w: self.last.coil_w,
            foam: self.foam.level(),
            boiled_over: self.foam.boiled_over(),
            t_s: self.t_s,
        }
    }

    /// What the front end of a vessel's thermometer gives now.
    pub fn sample(&mut self, vessel: Vessel) -> RawReading {
        self.thermometers.get_mut(vessel).sample()
    }

    /// The energy account since the start, or since the last [`Brewery::preset`].
    pub fn energy(&self) -> EnergyAccount {
        let s = &self.state;
        let (heat_j, liquid_kg) = self.content();
        // Streams are counted from the tap's temperature. Mass is conserved, so the shift cancels in the sum.
        let datum = water::enthalpy(self.network.rig().site.tap_c);
        EnergyAccount {
            element_j: PerElement { liquor_tank: s[TANK_ELECTRIC_J], boil_kettle: s[KETTLE_ELECTRIC_J] },
            stored_j: heat_j - self.start.0 - datum * (liquid_kg - self.start.1),
            lost_j: s[LOST_J],
            evaporated_j: s[VAPOUR_J] - datum * s[VAPOUR_KG],
            carried_j: s[CARRIED_J] + self.by_hand.0 - datum * (s[CARRIED_KG] + self.by_hand.1),
        }
    }

    /// Electric energy into both elements so far, J.
    pub fn electric_j(&self) -> f64 {
        self.state[TANK_ELECTRIC_J] + self.state[KETTLE_ELECTRIC_J]
    }

    /// Heat above 0 C (J) and liquid (kg) of everything, from temperatures and masses.
    pub(super) fn content(&self) -> (f64, f64) {
        let (n, s) = (&self.network, &self.state);
        let lump = |kg: f64, solids: f64, t_c: f64| kg * water::enthalpy(t_c) + solids * t_c;
        let tun_kg = s[TUN_KG] / LAYERS as f64;
        let layers: f64 = n.layers(s).iter().map(|layer| lump(tun_kg, n.layer_solids(), layer.t_c)).sum();
        let hoses: f64 = n.hoses(s).iter().map(|hose| lump(n.hose_kg(), 0.0, hose.t_c)).sum();
        let heat_j = lump(s[TANK_KG], n.pots.liquor_tank.wall_j_per_k, n.tank(s).t_c)
            + lump(s[KETTLE_KG], n.pots.boil_kettle.wall_j_per_k, n.kettle(s).t_c)
            + layers
            + hoses
            + n.sheaths.liquor_tank.j_per_k * s[TANK_SHEATH_C]
            + n.sheaths.boil_kettle.j_per_k * s[KETTLE_SHEATH_C];
        (heat_j, s[TANK_KG] + s[KETTLE_KG] + s[TUN_KG] + 2.0 * n.hose_kg())
    }

    /// The equations with their present settings, for another solver.
    pub fn network(&self) -> &Network {
        &self.network
    }

    /// The flat state, for another solver.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// Boiling point at the site, degrees Celsius.
    pub fn boiling_c(&self) -> f64 {
        self.network.boiling_c()
    }

    /// True heat capacity of a vessel now: liquid, wall and grain, without the element, J/K.
    pub fn heat_capacity_j_per_k(&self, vessel: Vessel) -> f64 {
        self.network.heat_capacity(&self.state, vessel)
    }

    /// What an element's vessel loses at a temperature with its present filling and lid, evaporation included, W.
    pub fn standing_loss_w(&self, element: Element, t_c: f64) -> f64 {
        let kg = self.state[kg_entry(element.vessel())];
        let litres = kg / (water::density(t_c) * 1e-3);
        self.network.pots.get(element.vessel()).standing_loss_w(t_c, litres)
    }

    /// What all vessels and hoses lose to the room just now, evaporation included, W.
    pub fn losing_w(&self) -> f64 {
        let rates = self.network.rates(&self.state, &Drive::default(), &PerVessel::default());
        rates[LOST_J] + rates[VAPOUR_J]
    }

    /// Least possible time to heat a vessel's present filling at full power, with its true heat capacity (sheath included) and loss, s.
    ///
    /// `integral of C(t) / (P - loss(t)) dt`. The time the sheath takes to warm up at the start is left out, so no heat-up can be faster.
    /// Zero if it is already there, infinite if the power does not suffice or the target lies above the boil.
    pub fn least_seconds(&self, element: Element, from_c: f64, to_c: f64) -> f64 {
        if to_c <= from_c {
            return 0.0;
        }
        if to_c > self.network.boiling_c {
            return f64::INFINITY;
        }
        let sheath = self.network.sheaths.get(element);
        let solids = self.network.pots.get(element.vessel()).wall_j_per_k + sheath.j_per_k;
        let kg = self.state[kg_entry(element.vessel())];
        let slice_k = (to_c - from_c) / SLICES as f64;
        let seconds = |n: usize| {
            let t_c = from_c + (n as f64 + 0.5) * slice_k;
            let surplus_w = sheath.power_w - self.standing_loss_w(element, t_c);
            if surplus_w > 0.0 { (kg * water::specific_heat(t_c) + solids) * slice_k / surplus_w } else { f64::INFINITY }
        };
        (0..SLICES).map(seconds).sum()
    }
}
