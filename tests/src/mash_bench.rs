//! A mash on the bench: random coils, flows, tuns and tanks, and what the whole controller makes of them.

use copperhold::bench::Bench;
use copperhold::day::Units;
use copperhold::files::RigFile;
use copperhold::fit;
use copperhold::plant::loss::Losses;
use copperhold::plant::rng::Pcg;
use copperhold::plant::{air, coil};
use copperhold::rig::{ProbeKind, Rig};
use copperhold_core::heat::{Demand, Learned};
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::{Slope, Span};
use copperhold_core::vessel::{PerElement, PerVessel, Pumps, Vessel};

/// Recirculation on.
pub const RECIRCULATE: Pumps = Pumps { liquor: false, mash: true, wort: false };

/// How far the tank may be above the rest, K.
const CEILING_K: f64 = 6.0;

/// A mash that has just been stirred in, and the rig it stands in.
#[derive(Debug, Clone)]
pub struct MashRig {
    /// The rig.
    pub rig: Rig,
    /// Grain, kg.
    pub grain_kg: f64,
    /// Water in the mash, L.
    pub water_l: f64,
    /// Water in the tank, L.
    pub tank_l: f64,
    /// Mash temperature after the dough-in, degrees Celsius.
    pub mash_c: f64,
    /// Tank temperature then, degrees Celsius.
    pub tank_c: f64,
    /// What the strike heat-up taught about the tank: its climb with another filling.
    pub learned: Learned,
    /// Rests, degrees Celsius.
    pub rests_c: [f64; 3],
    /// Seed of the thermometers' noise.
    pub seed: u64,
}

/// How one rest went, by the true mean temperature of the mash.
#[derive(Debug, Clone, Copy, Default)]
pub struct RestResult {
    /// Time until the mash is within 0.3 K, s.
    pub enters_s: f64,
    /// The least time in which the element could give what tank and mash take up on the way, s.
    pub least_s: f64,
    /// The least time when the coil and the tank's ceiling are counted too, s: full power up to the ceiling until the heat stored brings
    /// tank and mash to the rest together, with no loss and no lag.
    pub coil_least_s: f64,
    /// How far above the rest it came, K.
    pub overshoot_k: f64,
    /// How long it was out of the band after it had entered, s.
    pub left_s: f64,
    /// Furthest from the rest over the last ten minutes, K.
    pub late_error_k: f64,
}

/// Uniform between two bounds.
pub fn between(rng: &mut Pcg, low: f64, high: f64) -> f64 {
    low + (high - low) * rng.uniform()
}

/// A file that names every vessel of a rig.
pub fn file(rig: &Rig) -> RigFile {
    RigFile { rig: rig.clone(), has: PerVessel { liquor_tank: true, mash_tun: true, boil_kettle: true }, units: Units::Metric }
}

impl MashRig {
    /// The `n`th rig of a seed: coil 250 to 1000 W/K at 3 to 12 L/min, 3 to 12 kg of grain with 2.5 to 4 L/kg, tank of 15 to 45 L with 3 to
    /// 6 kW, dough-in 0 to 3 K below the first rest, two steps of 3 to 8 K, room at 10 to 25 C, tun insulated by 0 to 90 %, any probe.
    pub fn random(seed: u64, n: u64) -> MashRig {
        let mut rng = Pcg::new(seed, n);
        let r = &mut rng;
        let mut rig = Rig::example();
        rig.coil.ua_w_per_k = between(r, 250.0, 1000.0);
        rig.pumps.mash_l_per_min = between(r, 3.0, 12.0);
        rig.site.air_c = between(r, 10.0, 25.0);
        let grain_kg = between(r, 3.0, 12.0);
        let water_l = grain_kg * between(r, 2.5, 4.0);
        let tank_l = between(r, 15.0, 45.0);
        let size = |litres: f64| (litres * 1.2, (4.0 * litres * 1.2e-3 / std::f64::consts::PI).cbrt());
        (rig.mash_tun.capacity_l, rig.mash_tun.diameter_m) = size(water_l + 0.67 * grain_kg);
        (rig.liquor_tank.capacity_l, rig.liquor_tank.diameter_m) = size(1.2 * tank_l);
        rig.liquor_tank.element_top_l = 0.3 * tank_l;
        rig.mash_tun.insulation = between(r, 0.0, 0.9);
        rig.liquor_tank.insulation = between(r, 0.0, 0.9);
        if let Some(element) = &mut rig.liquor_tank.element {
            element.power_w = between(r, 3000.0, 6000.0);
        }
        let (kind, lag_s, noise_k) = match (r.uniform() * 3.0) as u32 {
            0 => (ProbeKind::Pt100, 5.0, 0.01),
            1 => (ProbeKind::Ntc10k, 8.0, 0.03),
            _ => (ProbeKind::Ds18b20, 12.0, 0.02),
        };
        for vessel in [&mut rig.liquor_tank, &mut rig.mash_tun, &mut rig.boil_kettle] {
            (vessel.probe.kind, vessel.probe.lag_s, vessel.probe.noise_k) = (kind, lag_s, noise_k);
        }
        let first_c = between(r, 50.0, 64.0);
        let second_c = first_c + between(r, 3.0, 8.0);
        let third_c = second_c + between(r, 3.0, 8.0);
        let mash_c = first_c - between(r, 0.0, 3.0);
        let tank_c = first_c + between(r, -10.0, 0.0);
        let power_w = rig.element_power_w().liquor_tank;
        let climb = power_w / (4180.0 * tank_l) * between(r, 0.6, 1.1);
        let slope = Slope::from_micro((climb * 1e6) as i32);
        let learned = Learned::new(slope, Span::from_secs(30), Slope::from_micro(1_000));
        MashRig { learned, rig, grain_kg, water_l, tank_l, mash_c, tank_c, rests_c: [first_c, second_c, third_c], seed: n }
    }

    /// The bench, armed, with the mash stirred in.
    ///
    /// # Panics
    /// The controller refuses the rig.
    pub fn bench(&self) -> Bench {
        let vessels = PerElement { liquor_tank: Some(self.learned), boil_kettle: None };
        self.bench_with(Knowledge { vessels, ..Knowledge::default() })
    }

    /// The same with what an earlier day taught.
    ///
    /// # Panics
    /// The controller refuses the rig.
    pub fn bench_with(&self, knowledge: Knowledge) -> Bench {
        let mut bench = Bench::new(&file(&self.rig), self.seed, knowledge).expect("a rig within range");
        bench.brewery.add_grain(self.grain_kg, 20.0);
        bench.brewery.preset(Vessel::MashTun, self.water_l, self.mash_c);
        bench.brewery.preset(Vessel::LiquorTank, self.tank_l, self.tank_c);
        bench.brewery.preset(Vessel::BoilKettle, 20.0, 20.0);
        bench.arm();
        bench.controller.supervisor_mut().pump(RECIRCULATE);
        bench
    }
}

/// Holds the mash at a rest for some minutes.
///
/// # Panics
/// The controller refuses the demand.
pub fn rest(bench: &mut Bench, at_c: f64, minutes: f64, mut watch: impl FnMut(&mut Bench)) -> RestResult {
    let power_w = bench.brewery.network().rig().element_power_w().liquor_tank;
    let (began_s, before) = (bench.t_s(), bench.brewery.truth().bulk_c);
    let takes = |vessel: Vessel, from_c: f64| bench.brewery.heat_capacity_j_per_k(vessel) * (at_c - from_c).max(0.0);
    let heat_j = takes(Vessel::MashTun, before.mash_tun + 0.3) + takes(Vessel::LiquorTank, before.liquor_tank);
    let mut result = RestResult { enters_s: f64::INFINITY, least_s: heat_j / power_w, ..RestResult::default() };
    result.coil_least_s = coil_least_s(bench, at_c, power_w);
    let mut able = false;
    let offset_k = 0.9 * return_above_k(bench, at_c);
    bench.controller.supervisor_mut().demand(Vessel::MashTun, Demand::Hold(fit::celsius(at_c))).expect("a rest in range");
    bench.run(minutes * 60.0, |bench| {
        let whole = bench.brewery.truth();
        let truth = whole.bulk_c;
        let (t_s, error_k) = (bench.t_s() - began_s, truth.mash_tun - at_c);
        // A mash that starts in the band sags until warm wort comes back: cold hoses and a cold tank are no one's fault.
        able |= whole.return_c >= truth.mash_tun + offset_k;
        if !able {
        } else if error_k.abs() <= 0.3 {
            result.enters_s = result.enters_s.min(t_s);
        } else if result.enters_s.is_finite() {
            result.left_s += 0.25;
        }
        result.overshoot_k = result.overshoot_k.max(error_k);
        if t_s > minutes * 60.0 - 600.0 {
            result.late_error_k = result.late_error_k.max(error_k.abs());
        }
        watch(bench);
    });
    result
}

fn coil_least_s(bench: &Bench, at_c: f64, power_w: f64) -> f64 {
    let capacity = |vessel| bench.brewery.heat_capacity_j_per_k(vessel);
    let (tank_j, mash_j) = (capacity(Vessel::LiquorTank), capacity(Vessel::MashTun));
    let rig = bench.brewery.network().rig();
    let duty = coil::coil_duty(rig.coil.ua_w_per_k, rig.pumps.mash_l_per_min, at_c + 1.0, at_c);
    let now = bench.brewery.truth().bulk_c;
    let (mut tank_c, mut mash_c, mut t_s) = (now.liquor_tank, now.mash_tun, 0.0);
    while mash_c < at_c - 0.3 && t_s < 20_000.0 {
        let enough = tank_j * (tank_c - at_c) + mash_j * (mash_c - at_c) >= 0.0;
        let through_w = duty.heat_w * (tank_c - mash_c).max(0.0);
        let element_w = if enough {
            0.0
        } else if tank_c < at_c + CEILING_K {
            power_w
        } else {
            power_w.min(through_w)
        };
        tank_c += (element_w - through_w) / tank_j;
        mash_c += through_w / mash_j;
        t_s += 1.0;
    }
    t_s
}

/// How far the wort must come back above the mash to make good what the tun loses, K.
fn return_above_k(bench: &Bench, at_c: f64) -> f64 {
    let rig = bench.brewery.network().rig();
    let losses = Losses::full(&rig.mash_tun, &rig.site, air::pressure_pa(rig.site.altitude_m), at_c);
    let wet_m2 = 4e-3 / rig.mash_tun.diameter_m * bench.brewery.truth().level_l.mash_tun;
    losses.dry_w(wet_m2, rig.mash_tun.lid) / (rig.pumps.mash_l_per_min / 60.0 * 0.98 * 4190.0)
}
