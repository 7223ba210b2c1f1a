//! A whole brew day with every transfer in it: the energy account, the mass balance, repeatability, the step, and another solver.

use copperhold::plant::state::{self, State};
use copperhold::plant::{Brewery, Drive, MashReturn, Network, WortReturn};
use copperhold::rig::Rig;
use copperhold_core::vessel::{PerVessel, Pumps, Vessel};
use ode_solvers::{Dop853, SVector, System};

/// What is on during a stretch of the day: tank and kettle shares, pumps.
#[derive(Clone, Copy)]
struct Stretch {
    minutes: f64,
    tank: f64,
    kettle: f64,
    pumps: Pumps,
}

const NONE: Pumps = Pumps { liquor: false, mash: false, wort: false };
const LIQUOR: Pumps = Pumps { liquor: true, mash: false, wort: false };
const MASH: Pumps = Pumps { liquor: false, mash: true, wort: false };
const SPARGE: Pumps = Pumps { liquor: true, mash: true, wort: false };
const WORT: Pumps = Pumps { liquor: false, mash: false, wort: true };

fn stretch(minutes: f64, tank: f64, kettle: f64, pumps: Pumps) -> Stretch {
    Stretch { minutes, tank, kettle, pumps }
}

impl Stretch {
    fn drive(&self) -> Drive {
        let mut drive = Drive { pumps: self.pumps, ..Drive::default() };
        (drive.element_on.liquor_tank, drive.element_on.boil_kettle) = (self.tank, self.kettle);
        drive
    }

    fn run(&self, brewery: &mut Brewery, dt_s: f64, each: &mut impl FnMut(&Brewery)) {
        for _ in 0..(self.minutes * 60.0 / dt_s).round() as usize {
            brewery.step(dt_s, &self.drive());
            each(brewery);
        }
    }
}

/// Fill, strike, mash with recirculation, step, sparge, boil, chill, knock out, pour away: about six hours.
fn whole_day(dt_s: f64, mut each: impl FnMut(&Brewery)) -> Brewery {
    let mut b = Brewery::new(&Rig::example(), 7);
    b.fill_from_tap(Vessel::LiquorTank, 38.0);
    stretch(5.0, 0.0, 0.0, NONE).run(&mut b, dt_s, &mut each);
    stretch(30.0, 1.0, 0.0, NONE).run(&mut b, dt_s, &mut each);
    stretch(2.0, 0.2, 0.0, LIQUOR).run(&mut b, dt_s, &mut each);
    b.fill_from_tap(Vessel::LiquorTank, 15.0);
    b.add_grain(5.0, 18.0);
    stretch(60.0, 0.35, 0.0, MASH).run(&mut b, dt_s, &mut each);
    stretch(20.0, 1.0, 0.0, MASH).run(&mut b, dt_s, &mut each);
    b.set_mash_return(MashReturn::ToKettle);
    stretch(40.0, 0.0, 0.5, SPARGE).run(&mut b, dt_s, &mut each);
    stretch(20.0, 0.0, 1.0, MASH).run(&mut b, dt_s, &mut each);
    b.empty(Vessel::MashTun);
    b.set_mains_volts(230.0);
    stretch(40.0, 0.0, 1.0, NONE).run(&mut b, dt_s, &mut each);
    stretch(60.0, 0.0, 0.6, NONE).run(&mut b, dt_s, &mut each);
    stretch(10.0, 0.0, 0.0, WORT).run(&mut b, dt_s, &mut each);
    b.set_wort_return(WortReturn::Chiller);
    stretch(15.0, 0.0, 0.0, WORT).run(&mut b, dt_s, &mut each);
    b.set_wort_return(WortReturn::Fermenter);
    stretch(5.0, 0.0, 0.0, WORT).run(&mut b, dt_s, &mut each);
    // Overfill the tank on purpose: what runs over the brim is carried out too.
    b.fill_from_tap(Vessel::LiquorTank, 60.0);
    stretch(6.0, 0.0, 0.0, NONE).run(&mut b, dt_s, &mut each);
    stretch(10.0, 1.0, 0.0, NONE).run(&mut b, dt_s, &mut each);
    b
}

#[test]
fn the_energy_account_of_a_whole_day_closes() {
    let day = whole_day(0.25, |_| {});
    let account = day.energy();
    let share = account.unexplained_j() / account.electric_j();
    assert!(share.abs() < 1e-8, "{share:e} of {account:?}");
    assert!(day.energy().kwh().imbalance().abs() < 1e-8);
    // No part of it is empty: each would be missed.
    let kwh = account.kwh();
    assert!(kwh.element_kwh.liquor_tank > 3.0 && kwh.element_kwh.boil_kettle > 5.0, "{kwh:?}");
    assert!(kwh.lost_kwh > 0.5 && kwh.evaporated_kwh > 2.0 && kwh.carried_kwh > 1.0, "{kwh:?}");
    assert!(kwh.stored_kwh > 0.5, "{kwh:?}");
}

#[test]
fn the_water_of_a_whole_day_is_all_accounted_for() {
    let day = whole_day(0.25, |_| {});
    let s = day.state();
    let here_kg = s[state::TANK_KG] + s[state::KETTLE_KG] + s[state::TUN_KG];
    let before_pouring =
        |s: &State| s[state::TANK_KG] + s[state::KETTLE_KG] + s[state::TUN_KG] + s[state::VAPOUR_KG] + s[state::CARRIED_KG];
    // The tun was poured out by hand once; its content just before is the difference.
    let mut poured_kg: f64 = 0.0;
    let mut last_tun_kg = 0.0;
    whole_day(0.25, |b| {
        let tun_kg = b.state()[state::TUN_KG];
        if tun_kg == 0.0 && last_tun_kg > 0.0 {
            poured_kg = last_tun_kg;
        }
        last_tun_kg = tun_kg;
    });
    assert!(poured_kg > 4.0 && here_kg > 30.0);
    assert!((before_pouring(s) + poured_kg).abs() < 1e-9, "{}", before_pouring(s) + poured_kg);
}

#[test]
fn no_vessel_ever_holds_less_than_nothing() {
    let mut least_kg: f64 = 0.0;
    whole_day(0.25, |b| {
        least_kg = [state::TANK_KG, state::KETTLE_KG, state::TUN_KG].into_iter().map(|n| b.state()[n]).fold(least_kg, f64::min);
    });
    assert_eq!(least_kg, 0.0);
}

#[test]
fn a_kettle_boiled_dry_stays_finite_and_accounted() {
    let mut b = Brewery::new(&Rig::example(), 1);
    b.preset(Vessel::BoilKettle, 8.0, 95.0);
    stretch(180.0, 0.0, 1.0, NONE).run(&mut b, 0.25, &mut |_| {});
    let truth = b.truth();
    assert!(truth.volume_l.boil_kettle < 0.1 && truth.volume_l.boil_kettle > 0.0, "{}", truth.volume_l.boil_kettle);
    assert!(!truth.boiling.boil_kettle && truth.bulk_c.boil_kettle > 150.0);
    assert!(b.state().iter().all(|x| x.is_finite()));
    let account = b.energy();
    assert!((account.unexplained_j() / account.electric_j()).abs() < 1e-5, "{account:?}");
}

#[test]
fn a_step_of_no_length_changes_nothing() {
    let mut b = Brewery::new(&Rig::example(), 1);
    b.preset(Vessel::LiquorTank, 20.0, 50.0);
    b.fill_from_tap(Vessel::LiquorTank, 5.0);
    let before = *b.state();
    b.step(0.0, &stretch(0.0, 1.0, 1.0, SPARGE).drive());
    assert_eq!(*b.state(), before);
    assert_eq!(b.tap_left_l(Vessel::LiquorTank), 5.0);
}

#[test]
fn the_same_seed_gives_the_same_day_to_the_last_bit() {
    let codes = |seed: u64| {
        let mut b = Brewery::new(&Rig::example(), seed);
        b.preset(Vessel::LiquorTank, 20.0, 50.0);
        let drive = stretch(0.0, 0.7, 0.0, MASH).drive();
        let samples: Vec<_> = (0..2000)
            .map(|_| {
                b.step(0.25, &drive);
                b.sample(Vessel::LiquorTank)
            })
            .collect();
        (samples, *b.state())
    };
    assert_eq!(codes(5), codes(5));
    assert_ne!(codes(5).0, codes(6).0, "another seed, other noise");
    assert_eq!(codes(5).1, codes(6).1, "the seed moves the noise, not the liquid");
}

#[test]
fn halving_the_step_moves_no_temperature_by_two_hundredths_of_a_kelvin() {
    let trace = |dt_s: f64| {
        let mut seconds = 0.0;
        let mut next = 10.0;
        let mut points: Vec<[f64; 6]> = Vec::new();
        whole_day(dt_s, |b| {
            seconds += dt_s;
            if seconds >= next - 1e-6 {
                next += 10.0;
                let t = b.truth();
                let (bulk, sensor) = (t.bulk_c, t.sensor_c);
                points.push([
                    bulk.liquor_tank,
                    bulk.mash_tun,
                    bulk.boil_kettle,
                    sensor.liquor_tank,
                    sensor.mash_tun,
                    sensor.boil_kettle,
                ]);
            }
        });
        points
    };
    let (whole, half) = (trace(0.25), trace(0.125));
    assert!(whole.len() > 1800 && whole.len() == half.len());
    let worst = whole.iter().zip(&half).flat_map(|(a, b)| a.iter().zip(b).map(|(x, y)| (x - y).abs())).fold(0.0, f64::max);
    println!("halving the step moves temperatures by at most {worst:.2e} K");
    assert!(worst < 0.02, "{worst} K");
}

/// The plant's equations for the other solver.
struct Equations<'a> {
    network: &'a Network,
    drive: Drive,
}

impl System<f64, SVector<f64, { state::ENTRIES }>> for Equations<'_> {
    fn system(&self, _t: f64, y: &SVector<f64, { state::ENTRIES }>, dy: &mut SVector<f64, { state::ENTRIES }>) {
        let state: State = std::array::from_fn(|n| y[n]);
        let rates = self.network.rates(&state, &self.drive, &PerVessel::default());
        for (n, rate) in rates.into_iter().enumerate() {
            dy[n] = rate;
        }
    }
}

#[test]
fn a_general_purpose_solver_finds_the_same_temperatures() {
    // Heat-up, hold, recirculation through the coil, strike and run-off into a boiling kettle; Dormand-Prince 8(5,3) at 1e-9.
    let mut b = Brewery::new(&Rig::example(), 1);
    b.preset(Vessel::LiquorTank, 35.0, 45.0);
    b.preset(Vessel::MashTun, 16.0, 55.0);
    b.add_grain(5.0, 20.0);
    b.preset(Vessel::BoilKettle, 12.0, 90.0);
    let pattern = [
        stretch(8.0, 1.0, 0.0, NONE),
        stretch(10.0, 0.1, 0.0, MASH),
        stretch(15.0, 1.0, 0.0, MASH),
        stretch(12.0, 0.08, 0.0, MASH),
        stretch(2.0, 0.0, 0.3, LIQUOR),
        stretch(15.0, 0.0, 1.0, NONE),
    ];
    let mut other = SVector::<f64, { state::ENTRIES }>::from_column_slice(b.state());
    let mut worst: f64 = 0.0;
    let mut worst_sheath: f64 = 0.0;
    for (n, part) in pattern.iter().enumerate() {
        let equations = Equations { network: b.network(), drive: part.drive() };
        let mut solver = Dop853::new(equations, 0.0, part.minutes * 60.0, 10.0, other, 1e-9, 1e-9);
        solver.integrate().unwrap();
        other = *solver.y_out().last().unwrap();
        part.run(&mut b, 0.25, &mut |_| {});
        let theirs: State = std::array::from_fn(|n| other[n]);
        let (ours, theirs) = (b.network().temperatures_c(b.state()), b.network().temperatures_c(&theirs));
        for v in Vessel::ALL {
            let difference = (ours.get(v) - theirs.get(v)).abs();
            assert!(difference < 0.02, "part {n}, {v:?}: {} {}", ours.get(v), theirs.get(v));
            worst = worst.max(difference);
        }
        for sheath in [state::TANK_SHEATH_C, state::KETTLE_SHEATH_C] {
            worst_sheath = worst_sheath.max((b.state()[sheath] - other[sheath]).abs());
        }
    }
    println!("bulk temperatures differ by at most {worst:.2e} K, sheaths by {worst_sheath:.2e} K");
    assert!(worst_sheath < 0.02, "{worst_sheath} K");
    // The pattern did something: the kettle boils, the tank has passed heat to the mash.
    assert!(b.truth().boiling.boil_kettle && b.state()[state::COIL_J] > 1e6);
}

#[test]
fn half_a_second_and_a_whole_second_are_divided_until_they_are_as_good() {
    let end = |dt_s: f64| {
        let mut b = Brewery::new(&Rig::example(), 1);
        b.preset(Vessel::LiquorTank, 30.0, 30.0);
        b.preset(Vessel::MashTun, 16.0, 50.0);
        stretch(20.0, 1.0, 0.0, MASH).run(&mut b, dt_s, &mut |_| {});
        b.truth().bulk_c
    };
    let fine = end(0.05);
    for dt_s in [0.25, 0.5, 1.0] {
        for v in Vessel::ALL {
            assert!((end(dt_s).get(v) - fine.get(v)).abs() < 0.002, "{dt_s} s, {v:?}");
        }
    }
}
