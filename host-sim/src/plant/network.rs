//! The equations: three vessels, two elements, the coil, hoses, pumps, taps and the chiller, as one pure function of the state.
//!
//! | part | model |
//! | --- | --- |
//! | tank, kettle | one lump of liquid and wall; the thermometer's place follows it with the mixing lag |
//! | tun | three layers of equal mass; recirculated wort comes in at the top and leaves at the bottom; the thermometer is in the middle one |
//! | hoses | one lump from tun to coil, one from coil to tun, always full; run-off passes the first |
//! | coil | effectiveness-NTU with `Cr = 0` against the tank |
//! | chiller | effectiveness-NTU in counterflow, cooling water from the tap |
//! | pumps | constant flow that fades out over the last 0.2 L above dead space and what the grain holds |

use super::coil;
use super::state::*;
use super::vessel::{FILM_KG, Leaving, Lump, Pot, Sheath};
use super::{air, water};
use crate::rig::Rig;
use copperhold_core::vessel::{Element, PerElement, PerVessel, Pumps, Vessel};

/// Specific heat of malt at 4 % moisture, J/(kg K). Pauls and Whites Brewing Room Book 1984/85: 0.40 cal/(g C).
pub const GRAIN_J_PER_KG_K: f64 = 1674.0;
/// Liquid that drained grain holds back, L/kg. Common practice, no source: 0.96 to 1.1.
pub const GRAIN_HOLDS_L_PER_KG: f64 = 1.0;
/// Room that grain takes up in the mash, L/kg. Common practice, no source.
pub const GRAIN_DISPLACES_L_PER_KG: f64 = 0.67;

/// Last litres over which a pump's flow fades as it draws air.
const STARVING_L: f64 = 0.2;
/// Least hose volume, so that the coil's lumps have a temperature, L.
const LEAST_HOSE_L: f64 = 0.2;
/// Density and specific heat at which flows' capacity rates are rated, kg/L and J/(kg K): water near 70 C.
const RATED_KG_PER_L: f64 = 0.978;
const RATED_CP: f64 = 4190.0;
/// Exchange between layers with the pump at rest is slower than `mixing_s` by this factor: the grain bed hinders convection. Common
/// practice (a still mash keeps warm and cold places for many minutes), no source for the figure.
const STILL_BED: f64 = 20.0;
/// What one layer of the tun has of it.
const LAYER_SHARE: f64 = 1.0 / LAYERS as f64;
/// Exchange time between layers of liquid without grain, s.
const NO_BED_S: f64 = 10.0;

/// Where the mash pump's flow goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum MashReturn {
    /// Through the coil and back onto the mash.
    #[default]
    ToTun,
    /// Run-off to the kettle, at the run-off's flow.
    ToKettle,
}

/// Where the wort pump's flow goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum WortReturn {
    /// Back to the kettle: stirs, exchanges no heat.
    #[default]
    Whirlpool,
    /// Through the chiller and back to the kettle.
    Chiller,
    /// Through the chiller to the fermenter.
    Fermenter,
}

/// What the controller and the pumps do during a step.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Drive {
    /// Share of the step in which each element conducted, 0 to 1. Both may be set: a drill may weld a relay.
    pub element_on: PerElement<f64>,
    /// Which pumps run.
    pub pumps: Pumps,
}

/// Flow of each pump as a share of the rig's figure, 0 to 2; 0 is a blocked one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlowShare {
    /// Tank to tun.
    pub liquor: f64,
    /// Recirculation and run-off.
    pub mash: f64,
    /// Whirlpool and chiller.
    pub wort: f64,
}

/// The brewery's constants and what its valves, lids and voltage are set to.
#[derive(Debug, Clone, PartialEq)]
pub struct Network {
    pub(super) pots: PerVessel<Pot>,
    pub(super) sheaths: PerElement<Sheath>,
    pub(super) grain_kg: f64,
    pub(super) mash_return: MashReturn,
    pub(super) wort_return: WortReturn,
    pub(super) boiling_c: f64,
    pub(super) fastest_per_s: f64,
    rig: Rig,
    hose_kg: f64,
    tap_h: f64,
    flow: FlowShare,
    coil_effectiveness: f64,
    chiller_w_per_k: f64,
}

impl Network {
    /// The network of a rig, with the pumps at their rated flow.
    pub fn new(rig: &Rig) -> Network {
        let pascals = air::pressure_pa(rig.site.altitude_m);
        let mut network = Network {
            pots: PerVessel::build(|v| Pot::new(rig.vessel(v), &rig.site, pascals)),
            sheaths: PerElement::build(|e| {
                let vessel = rig.vessel(e.vessel());
                Sheath::new(vessel.element.as_ref(), vessel.element_top_l, rig.mains.volts)
            }),
            grain_kg: 0.0,
            mash_return: MashReturn::ToTun,
            wort_return: WortReturn::Whirlpool,
            boiling_c: air::boiling_point_c(rig.site.altitude_m),
            fastest_per_s: 0.0,
            hose_kg: 0.5 * rig.pumps.hose_l.max(LEAST_HOSE_L) * RATED_KG_PER_L,
            tap_h: water::enthalpy(rig.site.tap_c),
            flow: FlowShare { liquor: 1.0, mash: 1.0, wort: 1.0 },
            coil_effectiveness: 0.0,
            chiller_w_per_k: 0.0,
            rig: rig.clone(),
        };
        network.set_flow(network.flow);
        network
    }

    /// The rig it was built from, with the mains voltage of now.
    pub fn rig(&self) -> &Rig {
        &self.rig
    }

    /// Boiling point at the site, degrees Celsius.
    pub fn boiling_c(&self) -> f64 {
        self.boiling_c
    }

    pub(super) fn set_volts(&mut self, volts: f64) {
        self.rig.mains.volts = volts;
        self.sheaths = PerElement::build(|e| {
            let vessel = self.rig.vessel(e.vessel());
            Sheath::new(vessel.element.as_ref(), vessel.element_top_l, volts)
        });
    }

    pub(super) fn set_flow(&mut self, flow: FlowShare) {
        self.flow = flow;
        self.fastest_per_s = self.fastest();
        let rate = |l_per_min: f64| l_per_min / 60.0 * RATED_KG_PER_L * RATED_CP;
        let through_coil = rate(self.rig.pumps.mash_l_per_min * flow.mash);
        let ua = coil::conductance_at(self.rig.coil.ua_w_per_k, flow.mash);
        self.coil_effectiveness = if through_coil > 0.0 { coil::effectiveness_in_tank(ua / through_coil) } else { 0.0 };
        let (wort, cooling) = (rate(self.rig.pumps.wort_l_per_min * flow.wort), rate(self.rig.chiller.water_l_per_min));
        let (least, most) = (wort.min(cooling), wort.max(cooling));
        self.chiller_w_per_k = if least > 0.0 {
            least * coil::effectiveness_counterflow(self.rig.chiller.ua_w_per_k / least, least / most)
        } else {
            0.0
        };
    }

    pub(super) fn set_mixing_s(&mut self, vessel: Vessel, seconds: f64) {
        self.pots.get_mut(vessel).mixing_s = seconds.max(0.5);
        self.fastest_per_s = self.fastest();
    }

    pub(super) fn flow(&self) -> FlowShare {
        self.flow
    }

    /// The fastest rate in the equations, 1/s: what limits the step. For a change of flow or mixing to take note of.
    fn fastest(&self) -> f64 {
        let (pumps, flow) = (&self.rig.pumps, &self.flow);
        let mash = pumps.mash_l_per_min.max(pumps.run_off_l_per_min) * flow.mash;
        let litres = mash.max(pumps.liquor_l_per_min * flow.liquor).max(pumps.wort_l_per_min * flow.wort) / 60.0;
        let hose = litres * RATED_KG_PER_L / self.hose_kg;
        let sheaths = self.sheaths.liquor_tank.rate_per_s().max(self.sheaths.boil_kettle.rate_per_s());
        let mixing = 1.0 / self.pots.liquor_tank.mixing_s.min(self.pots.boil_kettle.mixing_s);
        let layers = 4.0 / self.pots.mash_tun.mixing_s.min(NO_BED_S);
        [hose, litres / STARVING_L, sheaths, mixing, layers, 1.0 / super::vessel::BOIL_S].into_iter().fold(0.0, f64::max)
    }

    /// Heat capacity of wall and grain of one layer of the tun, J/K.
    pub(super) fn layer_solids(&self) -> f64 {
        (self.pots.mash_tun.wall_j_per_k + self.grain_kg * GRAIN_J_PER_KG_K) * LAYER_SHARE
    }

    pub(super) fn tank(&self, state: &State) -> Lump {
        Lump::of(state[TANK_KG], self.pots.liquor_tank.wall_j_per_k, state[TANK_J])
    }

    pub(super) fn kettle(&self, state: &State) -> Lump {
        Lump::of(state[KETTLE_KG], self.pots.boil_kettle.wall_j_per_k, state[KETTLE_J])
    }

    #[inline(always)]
    pub(super) fn layer(&self, state: &State, n: usize) -> Lump {
        Lump::of(state[TUN_KG] * LAYER_SHARE, self.layer_solids(), state[TUN_J + n])
    }

    #[inline(always)]
    pub(super) fn layers(&self, state: &State) -> [Lump; LAYERS] {
        [self.layer(state, 0), self.layer(state, 1), self.layer(state, 2)]
    }

    #[inline(always)]
    pub(super) fn hoses(&self, state: &State) -> [Lump; 2] {
        [Lump::of(self.hose_kg, 0.0, state[HOSE_OUT_J]), Lump::of(self.hose_kg, 0.0, state[HOSE_BACK_J])]
    }

    pub(super) fn hose_kg(&self) -> f64 {
        self.hose_kg
    }

    /// Rate of change of every entry of the state. `tap_kg_per_s` is what taps run into each vessel.
    #[inline]
    pub fn rates(&self, state: &State, drive: &Drive, tap_kg_per_s: &PerVessel<f64>) -> State {
        let mut d: State = [0.0; ENTRIES];
        let (tank, kettle, layers) = (self.tank(state), self.kettle(state), self.layers(state));
        let tap_h = self.tap_h;
        let air_c = self.rig.site.air_c;
        let pumps = &self.rig.pumps;

        // Levels, and flows in kg/s.
        let (tank_kg_per_l, kettle_kg_per_l, tun_kg_per_l) = (tank.kg_per_l(), kettle.kg_per_l(), layers[1].kg_per_l());
        let tank_l = state[TANK_KG] / tank_kg_per_l;
        let kettle_l = state[KETTLE_KG] / kettle_kg_per_l;
        let bottom = layers[LAYERS - 1];
        let tun_liquid_l = state[TUN_KG] / tun_kg_per_l;
        let tun_l = tun_liquid_l + self.grain_kg * GRAIN_DISPLACES_L_PER_KG;
        let tun_free_l = self.tun_free_l(tun_liquid_l);
        let pumped = |on: bool, l_per_min: f64, kg_per_l: f64, free_l: f64| {
            if on { l_per_min * (1.0 / 60.0) * kg_per_l * fed(free_l) } else { 0.0 }
        };
        let liquor_l_per_min = pumps.liquor_l_per_min * self.flow.liquor;
        let liquor = pumped(drive.pumps.liquor, liquor_l_per_min, tank_kg_per_l, tank_l - self.pots.liquor_tank.dead_space_l);
        let recirculates = self.mash_return == MashReturn::ToTun;
        let mash = pumped(drive.pumps.mash, self.mash_pump_l_per_min(), tun_kg_per_l, tun_free_l);
        let wort_l_per_min = pumps.wort_l_per_min * self.flow.wort;
        let wort = pumped(drive.pumps.wort, wort_l_per_min, kettle_kg_per_l, kettle_l - self.pots.boil_kettle.dead_space_l);

        // Elements.
        let mut element = |e: Element, lump: &Lump, litres: f64, sheath: usize, electric: usize| {
            let body = self.sheaths.get(e);
            let electric_w = body.power_w * *drive.element_on.get(e);
            let heat_w = body.heat_w(state[sheath], lump.t_c, litres);
            d[sheath] = (electric_w - heat_w) / body.j_per_k;
            d[electric] = electric_w;
            heat_w
        };
        let tank_heat_w = element(Element::LiquorTank, &tank, tank_l, TANK_SHEATH_C, TANK_ELECTRIC_J);
        let kettle_heat_w = element(Element::BoilKettle, &kettle, kettle_l, KETTLE_SHEATH_C, KETTLE_ELECTRIC_J);

        // Hoses and coil.
        let [out, back] = self.hoses(state);
        let hose_loss = |hose: &Lump| 0.5 * pumps.hose_w_per_k * (hose.t_c - air_c);
        let (through_coil, run_off) = if recirculates { (mash, 0.0) } else { (0.0, mash) };
        // A starved pump wets the coil in proportion, so the effectiveness stays.
        let coil_w = self.coil_effectiveness * through_coil * out.j_per_k / self.hose_kg * (tank.t_c - out.t_c);
        let (out_loss, back_loss) = (hose_loss(&out), hose_loss(&back));
        d[HOSE_OUT_J] = mash * (bottom.h - out.h) - out_loss;
        d[HOSE_BACK_J] = through_coil * (out.h - back.h) + coil_w - back_loss;
        d[COIL_J] = coil_w;

        // Tank.
        let mut tank_gone = self.pots.liquor_tank.leaving(&tank, state[TANK_KG], tank_l, self.pots.liquor_tank.capacity_l - tank_l);
        self.pots.liquor_tank.boil(&mut tank_gone, &tank, state[TANK_KG], self.boiling_c);
        let tank_spill = self.pots.liquor_tank.spill_kg_per_s(tank_kg_per_l, tank_l);
        d[TANK_KG] = tap_kg_per_s.liquor_tank - liquor - tank_spill - tank_gone.vapour_kg_per_s;
        d[TANK_J] = tank_heat_w - coil_w + tap_kg_per_s.liquor_tank * tap_h
            - (liquor + tank_spill) * tank.h
            - tank_gone.lost_w
            - tank_gone.vapour_w;
        d[TANK_SEEN_C] = (tank.t_c - state[TANK_SEEN_C]) / self.pots.liquor_tank.mixing_s;

        // Kettle. Cooling water runs only while wort passes the chiller.
        let mut kettle_gone =
            self.pots.boil_kettle.leaving(&kettle, state[KETTLE_KG], kettle_l, self.pots.boil_kettle.capacity_l - kettle_l);
        self.pots.boil_kettle.boil(&mut kettle_gone, &kettle, state[KETTLE_KG], self.boiling_c);
        let kettle_spill = self.pots.boil_kettle.spill_kg_per_s(kettle_kg_per_l, kettle_l);
        let (chilled, knocked_out) = match self.wort_return {
            WortReturn::Whirlpool => (0.0, 0.0),
            WortReturn::Chiller => (wort, 0.0),
            WortReturn::Fermenter => (0.0, wort),
        };
        let rated_wort = (wort_l_per_min / 60.0 * RATED_KG_PER_L).max(1e-9);
        let chiller_w = self.chiller_w_per_k * chilled / rated_wort * (kettle.t_c - self.rig.site.tap_c);
        d[KETTLE_KG] = tap_kg_per_s.boil_kettle + run_off - knocked_out - kettle_spill - kettle_gone.vapour_kg_per_s;
        d[KETTLE_J] = kettle_heat_w + tap_kg_per_s.boil_kettle * tap_h + run_off * out.h
            - (knocked_out + kettle_spill) * kettle.h
            - chiller_w
            - kettle_gone.lost_w
            - kettle_gone.vapour_w;
        d[KETTLE_SEEN_C] = (kettle.t_c - state[KETTLE_SEEN_C]) / self.pots.boil_kettle.mixing_s;

        // Tun.
        let tun = TunFlows {
            in_kg_per_s: liquor + through_coil + tap_kg_per_s.mash_tun,
            in_w: liquor * tank.h + through_coil * back.h + tap_kg_per_s.mash_tun * tap_h,
            out_kg_per_s: mash,
            bed_mixes: mash > 0.0,
            kg_per_l: tun_kg_per_l,
        };
        let (tun_gone, tun_spill) = self.tun_rates(state, &layers, tun_l, &tun, &mut d);

        d[LOST_J] = tank_gone.lost_w + kettle_gone.lost_w + tun_gone.lost_w + out_loss + back_loss;
        d[VAPOUR_J] = tank_gone.vapour_w + kettle_gone.vapour_w + tun_gone.vapour_w;
        d[VAPOUR_KG] = tank_gone.vapour_kg_per_s + kettle_gone.vapour_kg_per_s + tun_gone.vapour_kg_per_s;
        d[KETTLE_VAPOUR_KG] = kettle_gone.vapour_kg_per_s;
        let taps = tap_kg_per_s.liquor_tank + tap_kg_per_s.mash_tun + tap_kg_per_s.boil_kettle;
        let spills = tank_spill + kettle_spill + tun_spill;
        d[CARRIED_KG] = knocked_out + spills - taps;
        d[CARRIED_J] = knocked_out * kettle.h + chiller_w - taps * tap_h
            + tank_spill * tank.h
            + kettle_spill * kettle.h
            + tun_spill * layers[0].h;
        d
    }

    /// Liquid in the tun that its pump can reach, L.
    #[inline]
    fn tun_free_l(&self, liquid_l: f64) -> f64 {
        liquid_l - self.grain_kg * GRAIN_HOLDS_L_PER_KG - self.pots.mash_tun.dead_space_l
    }

    #[inline]
    fn mash_pump_l_per_min(&self) -> f64 {
        let pumps = &self.rig.pumps;
        self.flow.mash
            * match self.mash_return {
                MashReturn::ToTun => pumps.mash_l_per_min,
                MashReturn::ToKettle => pumps.run_off_l_per_min,
            }
    }

    /// What the mash pump moves while it runs, L/min.
    pub(super) fn mash_l_per_min(&self, state: &State) -> f64 {
        let liquid_l = state[TUN_KG] / self.layers(state)[1].kg_per_l();
        self.mash_pump_l_per_min() * fed(self.tun_free_l(liquid_l))
    }

    /// The tun's layers: flow from top to bottom, exchange between neighbours, loss at the wall. Lid and bottom are charged to the first.
    #[inline]
    fn tun_rates(&self, state: &State, layers: &[Lump; LAYERS], level_l: f64, flows: &TunFlows, d: &mut State) -> (Leaving, f64) {
        let pot = &self.pots.mash_tun;
        let kg = state[TUN_KG];
        let gone = pot.leaving(&layers[0], kg, level_l * LAYER_SHARE, pot.capacity_l - level_l);
        let spill = pot.spill_kg_per_s(flows.kg_per_l, level_l);
        let down = flows.in_kg_per_s - gone.vapour_kg_per_s - spill;
        let each = (down - flows.out_kg_per_s) * LAYER_SHARE;
        let (first, second) = (down - each, flows.out_kg_per_s + each);
        let upwind = |rate: f64, above: &Lump, below: &Lump| rate * if rate >= 0.0 { above.h } else { below.h };
        let exchange_s = if self.grain_kg == 0.0 {
            pot.mixing_s.min(NO_BED_S)
        } else if flows.bed_mixes {
            pot.mixing_s
        } else {
            pot.mixing_s * STILL_BED
        };
        let exchange_per_s = 1.0 / exchange_s;
        let exchange = |above: &Lump, below: &Lump| above.j_per_k * exchange_per_s * (above.t_c - below.t_c);
        let first_w = upwind(first, &layers[0], &layers[1]) + exchange(&layers[0], &layers[1]);
        let second_w = upwind(second, &layers[1], &layers[2]) + exchange(&layers[1], &layers[2]);
        let side = |lump: &Lump| pot.side_loss_w(lump.t_c, level_l * LAYER_SHARE);
        let (middle_w, bottom_w) = (side(&layers[1]), side(&layers[2]));
        d[TUN_KG] = down - flows.out_kg_per_s;
        d[TUN_J] = flows.in_w - spill * layers[0].h - gone.vapour_w - gone.lost_w - first_w;
        d[TUN_J + 1] = first_w - second_w - middle_w;
        d[TUN_J + 2] = second_w - flows.out_kg_per_s * layers[2].h - bottom_w;
        (Leaving { lost_w: gone.lost_w + middle_w + bottom_w, ..gone }, spill)
    }

    /// Bulk temperature of each vessel in a state, degrees Celsius; the tun's is the mean of its layers.
    pub fn temperatures_c(&self, state: &State) -> PerVessel<f64> {
        PerVessel {
            liquor_tank: self.tank(state).t_c,
            mash_tun: self.layers(state).iter().map(|layer| layer.t_c).sum::<f64>() * LAYER_SHARE,
            boil_kettle: self.kettle(state).t_c,
        }
    }

    /// Heat capacity of a vessel now: liquid, wall and grain, without the element, J/K.
    pub(super) fn heat_capacity(&self, state: &State, vessel: Vessel) -> f64 {
        match vessel {
            Vessel::LiquorTank => self.tank(state).j_per_k,
            Vessel::MashTun => self.layers(state).iter().map(|layer| layer.j_per_k).sum(),
            Vessel::BoilKettle => self.kettle(state).j_per_k,
        }
    }
}

/// What enters and leaves the tun.
struct TunFlows {
    in_kg_per_s: f64,
    in_w: f64,
    out_kg_per_s: f64,
    bed_mixes: bool,
    kg_per_l: f64,
}

/// Share of its flow that a pump makes of what it can reach: it fades as it draws air.
#[inline]
fn fed(free_l: f64) -> f64 {
    ((free_l - FILM_KG) * (1.0 / STARVING_L)).clamp(0.0, 1.0)
}
