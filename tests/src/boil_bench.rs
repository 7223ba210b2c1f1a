//! A kettle of fresh wort on the bench: random kettles, altitudes and probes, and how the controller brings them to the boil.

use crate::mash_bench::{between, file};
use copperhold::bench::Bench;
use copperhold::plant::rng::Pcg;
use copperhold::rig::{ProbeKind, Rig};
use copperhold_core::boil::Phase;
use copperhold_core::guard::Trip;
use copperhold_core::sheet::{Sheet, Step};
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::{Duty, Span};
use copperhold_core::vessel::Vessel;

/// A kettle of fresh wort.
#[derive(Debug, Clone)]
pub struct Wort {
    /// The rig.
    pub rig: Rig,
    /// Wort, L.
    pub litres: f64,
    /// Its temperature, degrees Celsius.
    pub from_c: f64,
    /// Seed of the thermometers' noise.
    pub seed: u64,
}

/// How it came to the boil, by what is true.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BreakResult {
    /// When it boils: vapour takes most of what the element gives, s.
    pub boils_s: f64,
    /// When the controller says so, s.
    pub told_s: f64,
    /// How far the bulk was below the boil then, K.
    pub early_k: f64,
    /// Highest foam as a share of the headspace.
    pub foam: f64,
    /// Foam reached the rim.
    pub boiled_over: bool,
    /// When the hot break was over, s.
    pub rolling_s: f64,
    /// Still at the boil then.
    pub boiling_then: bool,
    /// Share of full power that losses and evaporation take at the boil.
    pub loss_share: f64,
    /// What the guard tripped on.
    pub trip: Option<Trip>,
}

impl Wort {
    /// The `n`th kettle of a seed: 15 to 80 L filled by 50 to 85 %, 2 to 8 kW but at least 60 W/L of wort, sea level to 3000 m, probes off
    /// by up to 1 K and with noise, no lid.
    pub fn random(seed: u64, n: u64) -> Wort {
        let mut rng = Pcg::new(seed, 1_000 + n);
        let r = &mut rng;
        let mut rig = Rig::example();
        rig.site.altitude_m = between(r, 0.0, 3_000.0);
        rig.site.air_c = between(r, 10.0, 25.0);
        let fill = between(r, 0.5, 0.85);
        let power_w = between(r, 2_000.0, 8_000.0);
        let litres = between(r, 10.0, (power_w / 60.0).min(65.0));
        let kettle = &mut rig.boil_kettle;
        kettle.capacity_l = litres / fill;
        kettle.diameter_m = (4e-3 * kettle.capacity_l / std::f64::consts::PI).cbrt();
        kettle.element_top_l = 0.2 * kettle.capacity_l;
        kettle.insulation = between(r, 0.0, 0.8);
        if let Some(element) = &mut kettle.element {
            element.power_w = power_w;
        }
        let (kind, lag_s, noise_k) = match (r.uniform() * 3.0) as u32 {
            0 => (ProbeKind::Pt100, 5.0, between(r, 0.01, 0.05)),
            1 => (ProbeKind::Ntc10k, 8.0, 0.03),
            _ => (ProbeKind::Ds18b20, 12.0, 0.02),
        };
        (kettle.probe.kind, kettle.probe.lag_s, kettle.probe.noise_k) = (kind, lag_s, noise_k);
        kettle.probe.offset_k = between(r, -1.0, 1.0);
        let from_c = between(r, 55.0, 75.0);
        Wort { rig, litres, from_c, seed: n }
    }

    /// Brings it to the boil.
    ///
    /// # Panics
    /// The controller refuses the rig.
    pub fn bring_to_boil(&self, mut watch: impl FnMut(&mut Bench)) -> BreakResult {
        let mut bench = Bench::new(&file(&self.rig), self.seed, Knowledge::default()).expect("a rig within range");
        bench.brewery.preset(Vessel::BoilKettle, self.litres, self.from_c);
        bench.brewery.preset(Vessel::LiquorTank, 20.0, 20.0);
        bench.brewery.make_wort();
        bench.arm();
        let power_w = bench.brewery.network().rig().element_power_w().boil_kettle;
        let boiling_c = bench.brewery.boiling_c();
        let loss_w = bench.brewery.standing_loss_w(copperhold_core::vessel::Element::BoilKettle, boiling_c);
        let mut steps = Sheet::default();
        let boil = Step::Boil { duty: Duty::FULL, lasts: Span::from_mins(30), additions: Default::default() };
        steps.steps.extend([Step::BringToBoil, boil]);
        bench.controller.supervisor_mut().start(steps);
        let mut result = BreakResult {
            boils_s: f64::INFINITY,
            told_s: f64::INFINITY,
            early_k: 0.0,
            foam: 0.0,
            boiled_over: false,
            rolling_s: f64::INFINITY,
            boiling_then: false,
            loss_share: loss_w / power_w,
            trip: None,
        };
        let mut last = Phase::Approach;
        while bench.t_s() < 3.0 * 3600.0 {
            bench.advance();
            let (t_s, truth) = (bench.t_s(), bench.brewery.truth());
            let Some(boil) = bench.controller.supervisor().boil() else { break };
            let phase = boil.phase();
            result.trip = bench.controller.supervisor().guard().latch().map(|latch| latch.trip);
            if result.trip.is_some() {
                break;
            }
            if truth.boiling.boil_kettle {
                result.boils_s = result.boils_s.min(t_s);
            }
            if matches!(phase, Phase::HotBreak { .. }) && !matches!(last, Phase::HotBreak { .. }) {
                result.told_s = t_s;
                result.early_k = (boiling_c - truth.bulk_c.boil_kettle).max(0.0);
            }
            result.foam = result.foam.max(truth.foam);
            result.boiled_over |= truth.boiled_over;
            if matches!(phase, Phase::Rolling { .. }) {
                (result.rolling_s, result.boiling_then) = (t_s, truth.boiling.boil_kettle);
                break;
            }
            last = phase;
            watch(&mut bench);
        }
        result
    }
}
