//! The files that ship parse, fit each other, and say what they ought to.

use copperhold::day::Units;
use copperhold::files::{self, RigFile, SheetFile};
use copperhold::plant::{Brewery, Drive};
use copperhold_core::sheet::{Sheet, Step};
use copperhold_core::units::{Celsius, Duty, Litres, Span};
use copperhold_core::vessel::{Pumps, Vessel};
use std::path::{Path, PathBuf};

const THREE_LINES: &str = "liquor_tank = { element = \"5500 W\", probe = \"pt100\" }
mash_tun    = { probe = \"ds18b20\" }
boil_kettle = { element = \"5500 W\", probe = \"pt100\" }
";

fn shipped(folder: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim").join(folder);
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths
}

fn load(rig: &str, sheet: &str) -> (RigFile, SheetFile) {
    let base = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim");
    let rig = files::load_rig(&base.join("rigs").join(rig)).unwrap_or_else(|e| panic!("{e}"));
    let sheet = files::load_sheet(&base.join("sheets").join(sheet)).unwrap_or_else(|e| panic!("{e}"));
    (rig, sheet)
}

fn compile(rig: &str, sheet: &str) -> (RigFile, SheetFile, Sheet) {
    let (rig, sheet) = load(rig, sheet);
    let compiled = sheet.compile(&rig).unwrap_or_else(|e| panic!("{e}"));
    (rig, sheet, compiled)
}

#[test]
fn every_shipped_file_parses_and_carries_the_cautions() {
    let rigs = shipped("rigs");
    assert_eq!(rigs.len(), 3);
    for path in rigs {
        files::load_rig(&path).unwrap_or_else(|e| panic!("{e}"));
        let text = std::fs::read_to_string(&path).unwrap();
        for word in ["Mains voltage", "licensed electrician", "local code", "RCD", "GFCI", "independent thermal cut-out"] {
            assert!(text.contains(word), "{path:?} does not speak of {word}");
        }
    }
    let sheets = shipped("sheets");
    assert_eq!(sheets.len(), 3);
    for path in sheets {
        files::load_sheet(&path).unwrap_or_else(|e| panic!("{e}"));
    }
}

#[test]
fn the_demo_compiles_to_these_very_steps() {
    let (_, sheet, compiled) = compile("demo.toml", "demo.toml");
    let c = |degrees: i32| Celsius::from_milli(degrees * 1000);
    let l = Litres::from_millilitres;
    let expected = [
        Step::HeatStrike { fill: l(36_000), to: c(71) },
        Step::DoughIn { strike: l(20_500), refill: l(12_000) },
        Step::Rest { at: c(64), lasts: Span::from_mins(40) },
        Step::Rest { at: c(69), lasts: Span::from_mins(20) },
        Step::MashOut { at: c(76), lasts: Span::from_mins(10) },
        Step::Sparge { water: l(19_000), at: c(77), hold: false },
        Step::BringToBoil,
        Step::Boil {
            duty: Duty::from_basis_points(6000),
            lasts: Span::from_mins(60),
            additions: [60, 15, 10, 0].into_iter().map(Span::from_mins).collect(),
        },
        Step::KnockOut,
        Step::Whirlpool { lasts: Span::from_mins(20) },
        Step::Chill { to: c(20) },
    ];
    assert_eq!(compiled.steps.as_slice(), expected.as_slice());
    assert_eq!((sheet.grain_kg, sheet.grain_c, sheet.units), (6.8, 18.0, Units::Metric));
    assert_eq!(sheet.steps[2].name, "Low rest");
    assert_eq!(sheet.steps[0].name, "Heat strike");
    assert_eq!(sheet.steps[2].planned_s, Some(2400.0));
    assert_eq!(sheet.steps[5].planned_s, None);
    assert_eq!(sheet.steps[7].additions[1].name, "Kettle finings");
    assert_eq!(sheet.steps[7].additions[1].amount, "half a tablet");
}

#[test]
fn the_built_in_files_are_the_shipped_ones() {
    let (rig, sheet) = load("demo.toml", "demo.toml");
    assert_eq!(files::demo_rig().unwrap(), rig);
    let built_in = files::demo_sheet().unwrap();
    assert_eq!((built_in.name.as_str(), &built_in.steps), (sheet.name.as_str(), &sheet.steps));
}

#[test]
fn each_rig_has_a_sheet_that_fits_it_and_refuses_one_that_is_too_large() {
    let (small, _, boil) = compile("small-230v.toml", "small.toml");
    compile("large-240v.toml", "large.toml");
    let Some(Step::Boil { duty, .. }) = boil.steps.iter().find(|s| matches!(s, Step::Boil { .. })) else { panic!("no boil") };
    // 2000 W of 2800 W.
    assert_eq!(duty.basis_points(), 7143);
    let (_, large) = load("large-240v.toml", "large.toml");
    let refusal = large.compile(&small).unwrap_err().to_string();
    assert!(refusal.contains("liquor tank holds"), "{refusal}");
}

#[test]
fn the_small_rig_is_metric_and_the_large_one_us() {
    let (small, _) = load("small-230v.toml", "small.toml");
    let (large, sheet) = load("large-240v.toml", "large.toml");
    assert_eq!((small.units, large.units, sheet.units), (Units::Metric, Units::Us, Units::Us));
    assert_eq!((small.rig.mains.volts, small.rig.mains.hertz), (230.0, 50));
    assert_eq!(small.rig.mash_tun.probe.offset_k, -0.2);
    assert!((large.rig.liquor_tank.capacity_l - 113.562_353_52).abs() < 1e-9);
    assert!((large.rig.site.altitude_m - 274.32).abs() < 1e-9);
    assert!((sheet.grain_kg - 19.958_064_28).abs() < 1e-9);
}

#[test]
fn three_lines_make_a_rig() {
    let file = files::parse_rig("three.toml", THREE_LINES).unwrap_or_else(|e| panic!("{e}"));
    let rig = file.rig;
    assert_eq!((rig.mains.volts, rig.mains.hertz), (240.0, 60));
    assert_eq!(rig.liquor_tank.capacity_l, 55.0);
    assert_eq!(rig.mash_tun.capacity_l, 55.0);
    assert_eq!((rig.liquor_tank.probe.lag_s, rig.mash_tun.probe.lag_s), (5.0, 12.0));
    assert!(rig.mash_tun.element.is_none());
    assert!((rig.element_power_w().liquor_tank - 5500.0).abs() < 1e-9);
    assert!((rig.liquor_tank.element_top_l - 8.25).abs() < 1e-9);
    // 500 W/K and 8 L/min at 40 L, times (55/40)^(2/3) = 1.2365.
    assert!((rig.coil.ua_w_per_k - 618.3).abs() < 0.1);
    assert!((rig.pumps.mash_l_per_min - 9.892).abs() < 0.001);
    let element = rig.boil_kettle.element.unwrap();
    assert_eq!((element.sheath_w_per_k, element.sheath_j_per_k, element.rated_volts), (220.0, 880.0, 240.0));
    assert_eq!(file.units, Units::Metric);
}

#[test]
fn a_rig_written_in_us_units_is_the_same_rig() {
    let metric =
        "name = \"x\"\nunits = \"metric\"\n[liquor_tank]\nelement = \"5500 W\"\ncapacity = \"37.85411784 L\"\nlimit = \"85 C\"\n";
    let us = "name = \"x\"\nunits = \"metric\"\n[liquor_tank]\nelement = \"5.5 kW\"\ncapacity = \"10 gal\"\nlimit = \"185 F\"\n";
    assert_eq!(files::parse_rig("a", metric).unwrap(), files::parse_rig("a", us).unwrap());
}

#[test]
fn units_are_those_most_of_the_file_is_written_in_unless_it_says() {
    let us = "[liquor_tank]\nelement = \"5500 W\"\ncapacity = \"15 gal\"\ndead_space = \"1 qt\"\nlimit = \"90 C\"\n";
    assert_eq!(files::parse_rig("a", us).unwrap().units, Units::Us);
    assert_eq!(files::parse_rig("a", &format!("units = \"metric\"\n{us}")).unwrap().units, Units::Metric);
}

/// Three hours with the tank held at 68 C by topping its heat up, the mash pump running: the offset that is left, K.
fn steady_offset_k(rig: &copperhold::rig::Rig, tank_l: f64, mash_l: f64, grain_kg: f64) -> f64 {
    let mut brewery = Brewery::new(rig, 1);
    brewery.preset(Vessel::LiquorTank, tank_l, 68.0);
    brewery.preset(Vessel::MashTun, mash_l, 67.0);
    brewery.add_grain(grain_kg, 67.0);
    let mut drive = Drive { pumps: Pumps { mash: true, ..Pumps::default() }, ..Drive::default() };
    let mut total = 0.0;
    for second in 0..3 * 3600 {
        let truth = brewery.truth();
        drive.element_on.liquor_tank = ((68.0 - truth.bulk_c.liquor_tank) * 2.0 + 0.1).clamp(0.0, 1.0);
        brewery.step(1.0, &drive);
        if second >= 2 * 3600 {
            total += truth.bulk_c.liquor_tank - truth.bulk_c.mash_tun;
        }
    }
    total / 3600.0
}

#[test]
fn in_a_steady_hold_the_mash_sits_1_to_2_5_k_below_the_tank_at_any_size() {
    let rigs = [("demo.toml", "demo.toml"), ("small-230v.toml", "small.toml"), ("large-240v.toml", "large.toml")];
    let mut offsets = Vec::new();
    for (rig, sheet) in rigs {
        let (rig, sheet, compiled) = compile(rig, sheet);
        let (Step::HeatStrike { fill, .. }, Step::DoughIn { strike, refill }) = (&compiled.steps[0], &compiled.steps[1]) else {
            panic!("{:?}", compiled.steps)
        };
        let litres = |v: &Litres| f64::from(v.millilitres()) / 1000.0;
        let tank_l = litres(fill) - litres(strike) + litres(refill);
        offsets.push((rig.rig.name.clone(), steady_offset_k(&rig.rig, tank_l, litres(strike), sheet.grain_kg)));
    }
    let three = files::parse_rig("three.toml", THREE_LINES).unwrap_or_else(|e| panic!("{e}")).rig;
    offsets.push(("three lines".to_owned(), steady_offset_k(&three, 35.0, 24.0, 8.0)));
    assert!(offsets.iter().all(|(_, k)| (1.0..=2.5).contains(k)), "{offsets:?}");
}
