//! The phases of a day in which faults are injected: each is a bench brought to that point by the controller itself.

use crate::bench::{Bench, Honest};
use crate::files::RigFile;
use crate::fit;
use crate::plant::rng::Pcg;
use copperhold_core::heat::Demand;
use copperhold_core::settings::SettingsError;
use copperhold_core::sheet::{Sheet, Step};
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::{Duty, Span};
use copperhold_core::vessel::{Element, Pumps, Vessel};

/// A phase of the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Phase {
    /// Armed, warm water in the tank, nothing demanded.
    Idle,
    /// The tank at full power, far from its target.
    HeatUp,
    /// The tank at its target.
    Hold,
    /// The mash on a rest, through the coil.
    Mash,
    /// The kettle at full power, a few kelvin below the boil.
    NearBoil,
    /// The kettle at a fixed share of full power.
    Boil,
    /// Tank and kettle both want heat: the element goes to and fro.
    Changeover,
}

impl Phase {
    /// All of them.
    pub const ALL: [Phase; 7] =
        [Phase::Idle, Phase::HeatUp, Phase::Hold, Phase::Mash, Phase::NearBoil, Phase::Boil, Phase::Changeover];

    /// In words.
    pub const fn name(self) -> &'static str {
        match self {
            Phase::Idle => "idle",
            Phase::HeatUp => "heat-up",
            Phase::Hold => "hold",
            Phase::Mash => "mash",
            Phase::NearBoil => "near boil",
            Phase::Boil => "boil",
            Phase::Changeover => "changeover",
        }
    }

    /// The element that is in use.
    pub const fn element(self) -> Element {
        match self {
            Phase::Idle | Phase::HeatUp | Phase::Hold | Phase::Mash | Phase::Changeover => Element::LiquorTank,
            Phase::NearBoil | Phase::Boil => Element::BoilKettle,
        }
    }
}

/// Brings a bench to a phase. The seed decides fillings, targets and the moment.
///
/// # Errors
/// The controller does not accept the rig.
pub fn scene(rig: &RigFile, phase: Phase, seed: u64) -> Result<Bench<Honest>, SettingsError> {
    let mut rng = Pcg::new(seed, 7 + phase as u64);
    let mut between = |low: f64, high: f64| low + (high - low) * rng.uniform();
    let mut bench = Bench::new(rig, seed, Knowledge::default())?;
    let (tank, kettle, tun) = (&rig.rig.liquor_tank, &rig.rig.boil_kettle, &rig.rig.mash_tun);
    let tank_l = tank.capacity_l * between(0.45, 0.9);
    let kettle_l = kettle.capacity_l * between(0.45, 0.75);
    let boiling_c = bench.brewery.boiling_c();
    let hold_c = between(60.0, 76.0);
    let moment_s = between(20.0, 200.0);
    let demand = |bench: &mut Bench, vessel: Vessel, demand: Demand| {
        // A refused demand would leave the phase without its heat, which the campaign's evidence shows.
        let _ = bench.controller.supervisor_mut().demand(vessel, demand);
    };
    match phase {
        Phase::Idle => {
            bench.brewery.preset(Vessel::LiquorTank, tank_l, 55.0);
            bench.brewery.preset(Vessel::BoilKettle, kettle_l, 40.0);
            bench.arm();
            bench.run(moment_s, |_| ());
        }
        Phase::HeatUp => {
            bench.brewery.preset(Vessel::LiquorTank, tank_l, 12.0);
            bench.brewery.preset(Vessel::BoilKettle, kettle_l, 19.0);
            bench.arm();
            demand(&mut bench, Vessel::LiquorTank, Demand::Hold(fit::celsius(hold_c)));
            bench.run(moment_s + 200.0, |_| ());
        }
        Phase::Hold => {
            bench.brewery.preset(Vessel::LiquorTank, tank_l, hold_c - 12.0);
            bench.brewery.preset(Vessel::BoilKettle, kettle_l, 19.0);
            bench.arm();
            demand(&mut bench, Vessel::LiquorTank, Demand::Hold(fit::celsius(hold_c)));
            bench.run(2400.0 + moment_s, |_| ());
        }
        Phase::Mash => {
            let mash_l = tun.capacity_l * 0.5;
            bench.brewery.preset(Vessel::LiquorTank, tank_l, 62.0);
            bench.brewery.preset(Vessel::MashTun, mash_l, 68.0);
            bench.brewery.add_grain(mash_l / 3.5, 18.0);
            bench.arm();
            demand(&mut bench, Vessel::MashTun, Demand::Hold(fit::celsius(66.0)));
            bench.controller.supervisor_mut().pump(Pumps { mash: true, ..Pumps::default() });
            bench.run(1800.0 + moment_s, |_| ());
        }
        Phase::NearBoil | Phase::Boil => {
            bench.brewery.preset(Vessel::BoilKettle, kettle_l, boiling_c - 14.0);
            bench.brewery.preset(Vessel::LiquorTank, tank_l, 55.0);
            bench.brewery.set_lid(Vessel::BoilKettle, false);
            bench.arm();
            let mut sheet = Sheet::default();
            let boil =
                Step::Boil { duty: Duty::from_basis_points(6_000), lasts: Span::from_mins(120), additions: heapless::Vec::new() };
            // The list has room for both.
            let _ = sheet.steps.push(Step::BringToBoil);
            let _ = sheet.steps.push(boil);
            bench.controller.supervisor_mut().start(sheet);
            if phase == Phase::NearBoil {
                bench.run(30.0 + moment_s / 10.0, |_| ());
            } else {
                let boils = |bench: &Bench| bench.controller.supervisor().sequencer().is_some_and(|s| s.step() == 1);
                while !boils(&bench) && bench.t_s() < 7200.0 {
                    bench.advance();
                }
                bench.run(300.0 + moment_s, |_| ());
            }
        }
        Phase::Changeover => {
            // So far below that it is still heating when its turn is over.
            bench.brewery.preset(Vessel::LiquorTank, tank_l, hold_c - 12.0);
            bench.brewery.preset(Vessel::BoilKettle, kettle_l, 30.0);
            bench.arm();
            demand(&mut bench, Vessel::LiquorTank, Demand::Hold(fit::celsius(hold_c)));
            demand(&mut bench, Vessel::BoilKettle, Demand::Hold(fit::celsius(boiling_c - 5.0)));
            bench.run(600.0 + moment_s, |_| ());
        }
    }
    Ok(bench)
}
