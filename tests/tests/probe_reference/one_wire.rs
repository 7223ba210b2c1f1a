//! Every row of the DS18B20 table.

use crate::Outcome::{self, Checked, Excluded};
use crate::{agree, check_all, degrees, refused, works_at};
use copperhold_core::probe::{ProbeFault, ProbeSetup, RawReading, convert, one_wire};
use copperhold_tests::reference::Row;

fn hex_bytes(text: &str) -> Vec<u8> {
    text.split(' ').map(|byte| u8::from_str_radix(byte, 16).unwrap()).collect()
}

/// A scratchpad as after a conversion, with a good CRC.
fn scratchpad(word: u16, config: u8) -> [u8; 9] {
    let [low, high] = word.to_le_bytes();
    let mut bytes = [low, high, 0x4B, 0x46, config, 0xFF, 0x10, 0x10, 0];
    bytes[8] = one_wire::crc8(&bytes[..8]);
    bytes
}

fn one_wire_row(row: &Row) -> Outcome {
    let hex = |text: &str| u16::from_str_radix(text.trim_start_matches("0x"), 16).unwrap();
    let resolution = |row: &Row| match row.inputs.get("bits").map(String::as_str) {
        Some("9") => one_wire::Resolution::Bits9,
        Some("10") => one_wire::Resolution::Bits10,
        Some("11") => one_wire::Resolution::Bits11,
        Some("12") | None => one_wire::Resolution::Bits12,
        Some(other) => panic!("{other} bits"),
    };
    match row.quantity.as_str() {
        "temperature_from_word" | "temperature_masked" => {
            let word = hex(&row.inputs["word"]);
            let resolution = resolution(row);
            let _ = agree(row, f64::from(resolution.mask(word.cast_signed())) / 16.0);
            let raw = RawReading::OneWire { scratchpad: scratchpad(word, resolution.config()) };
            let reading = convert(&ProbeSetup::OneWire, raw);
            match works_at(row.num()) {
                true => agree(row, degrees(reading.unwrap())),
                false => refused(row, reading, ProbeFault::OutOfRange),
            }
        }
        "max_conversion_time" => agree(row, resolution(row).conversion_time().as_micros() as f64 / 1_000.0),
        "crc8_maxim" | "crc8_residue" => {
            let crc = one_wire::crc8(&hex_bytes(&row.inputs["bytes"]));
            assert_eq!(u16::from(crc), hex(&row.value), "{}", row.case_id);
            Checked
        }
        "accuracy" => Excluded("accuracy of the part as bought"),
        other => panic!("{}: {other}", row.case_id),
    }
}

#[test]
fn every_row_of_the_one_wire_table() {
    check_all("ds18b20.csv", 33, &[("accuracy of the part as bought", 1)], one_wire_row);
}
