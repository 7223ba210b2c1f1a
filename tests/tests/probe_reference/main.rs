//! Probe conversion against published tables and formulas: every row, every code.

use copperhold_core::probe::{ProbeFault, Reading};
use copperhold_core::units::Celsius;
use copperhold_tests::reference::{Row, rows};
use std::collections::BTreeMap;

mod curves;
mod every_code;
mod one_wire;
mod platinum;
mod thermistor;

/// What was done with one row.
pub(crate) enum Outcome {
    /// It was compared with the code under test.
    Checked,
    /// It is about something that is not in the code under test: the reason.
    Excluded(&'static str),
}
pub(crate) use Outcome::{Checked, Excluded};

/// Checks every row of a file; the rows left out must be exactly as many, for the same reasons, as stated.
pub(crate) fn check_all(file: &str, checked: usize, excluded: &[(&str, usize)], judge: fn(&Row) -> Outcome) {
    let mut done = 0;
    let mut left_out: BTreeMap<&str, usize> = BTreeMap::new();
    for row in &rows(file) {
        match judge(row) {
            Checked => done += 1,
            Excluded(reason) => *left_out.entry(reason).or_default() += 1,
        }
    }
    assert_eq!(done, checked, "{file}: rows checked");
    assert_eq!(left_out, excluded.iter().copied().collect(), "{file}: rows left out");
}

pub(crate) fn agree(row: &Row, x: f64) -> Outcome {
    row.check(x).unwrap_or_else(|why| panic!("{why}"));
    Checked
}

pub(crate) fn near(row: &Row, reading: Reading, expected_c: f64, within_c: f64) -> Outcome {
    let got = reading.unwrap_or_else(|fault| panic!("{}: {fault:?}", row.case_id));
    let error = (degrees(got) - expected_c).abs();
    assert!(error <= within_c, "{}: {got:?} instead of {expected_c}", row.case_id);
    Checked
}

pub(crate) fn refused(row: &Row, reading: Reading, fault: ProbeFault) -> Outcome {
    assert_eq!(reading, Err(fault), "{}", row.case_id);
    Checked
}

/// Exact: 16 fractional bits fit an f64.
pub(crate) fn degrees(celsius: Celsius) -> f64 {
    f64::from(celsius.fixed().to_bits()) / 65_536.0
}

/// Inside the working range. The ends themselves are tested apart: a rounded table value may fall on either side.
pub(crate) fn works_at(celsius: f64) -> bool {
    celsius > -10.0 && celsius < 130.0
}
