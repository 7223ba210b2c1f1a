//! One random rig.

use super::ranges as r;
use crate::day::Units;
use crate::files::RigFile;
use crate::files::defaults;
use crate::fit;
use crate::plant::rng::Pcg;
use crate::plant::{Brewery, Figures};
use crate::rig::{ElementRig, Mains, Probe, Rig, VesselRig};
use copperhold_core::vessel::{Element, PerVessel, Vessel};

/// A rig, its filling, its mains and its water.
#[derive(Debug, Clone, PartialEq)]
pub struct Draw {
    /// What the controller is told. Its mains voltage is the rated one.
    pub file: RigFile,
    /// The true mains voltage, V.
    pub volts: f64,
    /// Water in the tank at its start temperature, L.
    pub litres: f64,
    /// Start, degrees Celsius.
    pub start_c: f64,
    /// Target, degrees Celsius.
    pub target_c: f64,
    /// Seed of the probe's noise.
    pub noise_seed: u64,
}

impl Draw {
    /// Rig `number` of the survey with `seed`. The same pair gives the same rig.
    pub fn of(number: u32, seed: u64) -> Draw {
        let mut pcg = Pcg::new(seed, u64::from(number));
        loop {
            let draw = Draw::any(&mut pcg);
            if draw.is_sound() {
                return draw;
            }
        }
    }

    fn any(pcg: &mut Pcg) -> Draw {
        let litres = r::LITRES.draw(pcg);
        let capacity_l = litres / r::FILL.draw(pcg);
        let power_w = r::POWER_W.draw(pcg);
        let volts = r::MAINS_V.draw(pcg);
        let lag_s = r::LAG_S.draw(pcg);
        let [sheath, mixing, delay, probe] =
            [r::SHEATH_WEIGHT.draw(pcg), r::OTHER_WEIGHT.draw(pcg), r::OTHER_WEIGHT.draw(pcg), r::OTHER_WEIGHT.draw(pcg)];
        let per_weight = lag_s / (sheath + mixing + delay + probe);
        let sheath_w_per_k = power_w / r::SHEATH_RISE_K.draw(pcg);
        let kind = r::PROBES[(pcg.next_u32() % 3) as usize].0;
        let diameter_m = defaults::diameter_m(capacity_l) * r::WIDTH.draw(pcg);
        let tank = VesselRig {
            capacity_l,
            diameter_m,
            wall_kg: defaults::wall_kg(capacity_l, diameter_m),
            emissivity: r::EMISSIVITY.draw(pcg),
            insulation: r::INSULATION.draw(pcg),
            lid: pcg.uniform() < r::LIDDED,
            element_top_l: defaults::element_top_l(capacity_l),
            dead_space_l: defaults::dead_space_l(capacity_l),
            mixing_s: (mixing * per_weight).max(0.5),
            element: Some(ElementRig {
                power_w,
                rated_volts: defaults::MAINS_V,
                sheath_j_per_k: (sheath * per_weight).max(0.5) * sheath_w_per_k,
                sheath_w_per_k,
            }),
            probe: Probe {
                kind,
                lag_s: probe * per_weight,
                delay_s: delay * per_weight,
                noise_k: r::NOISE_K.draw(pcg),
                offset_k: 0.0,
            },
            limit_c: None,
            boil_loss_w: None,
        };
        let mut rig = Rig { name: "drawn at random".to_owned(), liquor_tank: tank, ..Rig::example() };
        rig.mains = Mains { volts: defaults::MAINS_V, hertz: if pcg.uniform() < 0.5 { 50 } else { 60 }, measured: false };
        rig.site.air_c = r::AIR_C.draw(pcg);
        rig.site.humidity = r::HUMIDITY.draw(pcg);
        let start = if pcg.uniform() < r::WARM { r::WARM_START_C } else { r::START_C };
        Draw {
            file: RigFile { rig, has: PerVessel { liquor_tank: true, mash_tun: false, boil_kettle: false }, units: Units::Metric },
            volts,
            litres,
            start_c: start.draw(pcg),
            target_c: r::TARGET_C.draw(pcg),
            noise_seed: u64::from(pcg.next_u32()),
        }
    }

    fn is_sound(&self) -> bool {
        fit::settings(&self.file).is_ok()
            && self.target_c - self.start_c >= r::LEAST_RISE_K
            && self.figures().standing_duty <= r::MOST_LOSS
    }

    /// The tank.
    pub fn tank(&self) -> &VesselRig {
        &self.file.rig.liquor_tank
    }

    /// Time constant of the element's sheath, s.
    pub fn sheath_s(&self) -> f64 {
        self.tank().element.map_or(0.0, |element| element.sheath_j_per_k / element.sheath_w_per_k)
    }

    /// Filled, under its true mains, at its start temperature.
    pub fn fill(&self, brewery: &mut Brewery) {
        brewery.set_mains_volts(self.volts);
        brewery.preset(Vessel::LiquorTank, self.litres, self.start_c);
    }

    /// The plant's true figures.
    pub fn figures(&self) -> Figures {
        let mut brewery = Brewery::new(&self.file.rig, 0);
        self.fill(&mut brewery);
        Figures::of(&brewery, Element::LiquorTank, self.target_c)
    }
}
