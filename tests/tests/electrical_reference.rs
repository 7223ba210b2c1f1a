//! Burst-fire and the elements' arithmetic against `reference/electrical.csv`.

use copperhold::rig::Rig;
use copperhold_core::burst::{Burst, Mains};
use copperhold_core::units::{Duty, Span};
use copperhold_tests::reference::{Row, rows};
use fixed::types::I16F16;
use std::collections::BTreeMap;

/// Rows that say nothing about this program: wiring rules, parts and flicker limits are decided by people.
const EXCLUDED: [(&str, usize); 11] = [
    ("Pst1_relative_voltage_change", 12),
    ("Pst_analytical", 4),
    ("ceiling_150_percent_next_size", 2),
    ("continuous_load_125_percent", 2),
    ("ground_fault_trip_class_A", 1),
    ("limit", 4),
    ("max_supply_resistance_for_Pst1", 1),
    ("next_standard_rating_for_125_percent", 2),
    ("ssr_heat", 2),
    ("typical_conductor", 1),
    ("voltage_change_reference_impedance", 1),
];

fn of(quantity: &str) -> Vec<Row> {
    let rows: Vec<Row> = rows("electrical.csv").into_iter().filter(|row| row.quantity == quantity).collect();
    assert!(!rows.is_empty(), "no rows of {quantity}");
    rows
}

fn check(quantity: &str, count: usize, value: impl Fn(&Row) -> f64) {
    let rows = of(quantity);
    assert_eq!(rows.len(), count, "{quantity}");
    let wrong: Vec<String> = rows.iter().filter_map(|row| row.check(value(row)).err()).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Mains voltage of a row: its own, or the rated one.
fn volts(row: &Row) -> f64 {
    row.inputs.get("V_V").map_or(240.0, |_| row.input("V_V"))
}

fn power_w(rated_w: f64, volts: f64) -> f64 {
    let mut rig = Rig::example();
    rig.mains.volts = volts;
    let element = rig.boil_kettle.element.as_mut().expect("the kettle has an element");
    (element.power_w, element.rated_volts) = (rated_w, 240.0);
    rig.element_power_w().boil_kettle
}

/// The smallest duty that is not below `part / whole`: a duty has steps of 1/65536, the table counts in exact fractions.
fn duty(part: u32, whole: u32) -> Duty {
    let bits = (u64::from(part) * 65_536).div_ceil(u64::from(whole));
    Duty::from_fixed(I16F16::from_bits(i32::try_from(bits).unwrap()))
}

/// For each of `windows` burst windows, whether the element conducted.
fn fired(mains: Mains, duty: Duty, windows: u32) -> Vec<bool> {
    let mut burst = Burst::new(mains);
    let mut elapsed = Span::ZERO;
    (0..windows)
        .map(|_| {
            let on = burst.tick(elapsed, duty);
            elapsed = mains.window();
            on
        })
        .collect()
}

/// Mains frequency of a row, and the cycles in one of our windows.
fn mains(row: &Row) -> (Mains, f64) {
    match row.input("f_Hz") as u32 {
        50 => (Mains::Hz50, 1.0),
        60 => (Mains::Hz60, 3.0),
        other => panic!("{}: {other} Hz", row.case_id),
    }
}

#[test]
fn element_power_and_current_follow_the_mains_voltage() {
    check("element_power", 28, |row| power_w(row.input("P_rated_W"), volts(row)));
    check("element_current", 28, |row| power_w(row.input("P_rated_W"), volts(row)) / volts(row));
    check("element_resistance", 2, |row| 200.0 * 200.0 / power_w(row.input("P_rated_W"), 200.0));
    check("load_fraction_of_30A", 2, |row| power_w(row.input("P_W"), 240.0) / 240.0 / 30.0 * 100.0);
}

#[test]
fn two_elements_at_once_would_draw_half_again_what_the_circuit_carries() {
    check("two_elements_at_once", 1, |row| {
        let mut rig = Rig::example();
        rig.boil_kettle.element.as_mut().unwrap().power_w = row.input("P1_W");
        rig.liquor_tank.element.as_mut().unwrap().power_w = row.input("P2_W");
        let power = rig.element_power_w();
        (power.boil_kettle + power.liquor_tank) / rig.mains.volts
    });
}

#[test]
fn bursts_follow_the_error_accumulator_window_by_window() {
    let rows = of("sigma_delta_pattern");
    assert_eq!(rows.len(), 10);
    for row in rows {
        let (part, whole) = row.inputs["duty"].split_once('/').unwrap();
        let steps: u32 = row.inputs["steps"].parse().unwrap();
        for mains in [Mains::Hz50, Mains::Hz60] {
            let fired = fired(mains, duty(part.parse().unwrap(), whole.parse().unwrap()), steps);
            let pattern: String = fired.into_iter().map(|on| if on { '1' } else { '0' }).collect();
            assert_eq!(pattern, row.value, "{} at {mains:?}", row.case_id);
        }
    }
}

#[test]
fn mean_power_over_whole_cycles_is_the_share_of_cycles() {
    check("mean_power_integer_cycles", 7, |row| {
        let (on, all) = (row.input("n_on") as u32, row.input("N") as u32);
        // At 50 Hz a window is one cycle.
        let fired = fired(Mains::Hz50, duty(on, all), all).into_iter().filter(|&on| on).count();
        row.input("P_W") * fired as f64 / f64::from(all)
    });
}

#[test]
fn rms_current_goes_with_the_root_of_the_share_of_cycles() {
    check("rms_current_fraction", 1, |row| {
        let quarter = duty((row.input("duty") * 100.0) as u32, 100);
        let on = fired(Mains::Hz60, quarter, 1_200).into_iter().filter(|&on| on).count();
        (on as f64 / 1_200.0).sqrt()
    });
}

#[test]
fn a_window_is_whole_cycles_so_its_resolution_is_a_whole_multiple_of_the_half_cycles() {
    check("half_cycle", 2, |row| {
        let (mains, cycles) = mains(row);
        mains.window().as_micros() as f64 / 1_000.0 / (2.0 * cycles)
    });
    check("duty_resolution_half_cycle", 8, |row| {
        let (mains, cycles) = mains(row);
        let step = mains.window().as_micros() as f64 / (row.input("window_s") * 1e6) * 100.0;
        step / (2.0 * cycles)
    });
}

#[test]
fn every_row_is_checked_here_or_excluded_by_name() {
    const CHECKED: [(&str, usize); 10] = [
        ("duty_resolution_half_cycle", 8),
        ("element_current", 28),
        ("element_power", 28),
        ("element_resistance", 2),
        ("half_cycle", 2),
        ("load_fraction_of_30A", 2),
        ("mean_power_integer_cycles", 7),
        ("rms_current_fraction", 1),
        ("sigma_delta_pattern", 10),
        ("two_elements_at_once", 1),
    ];
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    for row in rows("electrical.csv") {
        *counts.entry(row.quantity).or_default() += 1;
    }
    let known = CHECKED.iter().chain(&EXCLUDED).map(|&(name, n)| (name.to_owned(), n)).collect();
    assert_eq!(counts, known);
}
