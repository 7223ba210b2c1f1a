//! Every code a converter can send, against the published curves.

use crate::curves::{centiohm, coefficients, pt100_ohm, solve, steinhart_hart_c, thermistor_ohm};
use crate::degrees;
use copperhold_core::probe::thermistor::{Curve, Divider};
use copperhold_core::probe::{Limits, Plausibility, ProbeFault, ProbeSetup, RawReading, Reading, convert, rtd, thermistor};
use copperhold_core::units::Instant;

#[test]
fn t3_open_short_and_one_count_from_each_rail_is_a_fault_never_a_temperature() {
    let (short, open) = (Err(ProbeFault::Shorted), Err(ProbeFault::Open));
    let check = |setup: ProbeSetup, raw: RawReading, expected: Reading| {
        let reading = convert(&setup, raw);
        assert_eq!(reading, expected, "{setup:?} {raw:?}");
        // Nor does the filter make one of it, first sample or not.
        let mut filter = Plausibility::new(Limits::EVERY_TICK);
        assert_eq!(filter.check(Instant::START, reading), expected);
    };
    for r_ref in [400_000, 430_000] {
        let setup = ProbeSetup::Rtd(rtd::Pt100::new(r_ref).unwrap());
        for (code, expected) in [(0, short), (1, short), (32_766, open), (32_767, open)] {
            check(setup, RawReading::Rtd { code, fault: false }, expected);
            check(setup, RawReading::Rtd { code, fault: true }, Err(ProbeFault::FrontEnd));
        }
    }
    for curve in Curve::ALL {
        for series in [1_000, 10_000, 20_000] {
            let setup = ProbeSetup::Thermistor(Divider::new(series, curve).unwrap());
            for (code, expected) in [(0, short), (1, short), (4_094, open), (4_095, open)] {
                check(setup, RawReading::Thermistor { code }, expected);
            }
        }
    }
    check(ProbeSetup::OneWire, RawReading::OneWire { scratchpad: [0; 9] }, short);
    check(ProbeSetup::OneWire, RawReading::OneWire { scratchpad: [0xFF; 9] }, open);
}

#[test]
fn every_rtd_code_is_within_5_millidegrees_of_the_standard_or_a_fault() {
    let mut worst: f64 = 0.0;
    for r_ref in [400_000, 401_337, 415_000, 430_000] {
        let setup = ProbeSetup::Rtd(rtd::Pt100::new(r_ref).unwrap());
        let mut before = None;
        for code in 0..32_768_u16 {
            let ohm = f64::from(code) / 32_768.0 * f64::from(r_ref) / 1_000.0;
            match convert(&setup, RawReading::Rtd { code, fault: false }) {
                Ok(celsius) => {
                    let t = solve(pt100_ohm, ohm, -250.0, 900.0);
                    worst = worst.max((degrees(celsius) - t).abs());
                    assert!(t > -10.001 && t < 130.001, "code {code}");
                    assert!(before.is_none_or(|before| celsius > before), "code {code} is not warmer");
                    before = Some(celsius);
                }
                Err(fault) => {
                    let expected = match ohm {
                        _ if code <= 1 || ohm < 50.0 => ProbeFault::Shorted,
                        _ if code >= 32_766 || ohm > 200.0 => ProbeFault::Open,
                        _ => ProbeFault::OutOfRange,
                    };
                    assert_eq!(fault, expected, "code {code}");
                    assert!(ohm < pt100_ohm(-9.999) || ohm > pt100_ohm(129.999), "code {code} is in range");
                }
            }
        }
    }
    println!("worst RTD error: {worst:.6} C");
    assert!(worst < 0.000_5, "the module's own promise: {worst}");
}

#[test]
fn every_thermistor_code_is_within_5_hundredths_of_the_curve_or_a_fault() {
    for curve in Curve::ALL {
        let (mut worst, mut worst_in_use): (f64, f64) = (0.0, 0.0);
        let [coldest, hottest] = [-9.99, 129.99].map(|t| thermistor_ohm(curve, t));
        for series in [1_000, 4_700, 10_000, 20_000] {
            let setup = ProbeSetup::Thermistor(Divider::new(series, curve).unwrap());
            let mut before = None;
            for code in 0..4_096_u16 {
                let ohm = f64::from(code) * f64::from(series) / f64::from(4_095 - code);
                match convert(&setup, RawReading::Thermistor { code }) {
                    Ok(celsius) => {
                        let t = steinhart_hart_c(coefficients(curve), ohm);
                        let error = (degrees(celsius) - t).abs();
                        worst = worst.max(error);
                        if (0.0..=110.0).contains(&t) {
                            worst_in_use = worst_in_use.max(error);
                        }
                        assert!(before.is_none_or(|before| celsius < before), "code {code} is not colder");
                        if let Some(before) = before.filter(|_| (0.0..=110.0).contains(&t)) {
                            assert!(degrees(before) - degrees(celsius) < 0.5, "code {code}: coarse");
                        }
                        before = Some(celsius);
                    }
                    Err(fault) => {
                        let expected = match ohm {
                            _ if code <= 1 || ohm < 99.995 => ProbeFault::Shorted,
                            _ if code >= 4_094 || ohm > 1_000_000.005 => ProbeFault::Open,
                            _ => ProbeFault::OutOfRange,
                        };
                        assert_eq!(fault, expected, "code {code}");
                        assert!(ohm > coldest || ohm < hottest, "code {code} is in range");
                    }
                }
            }
        }
        println!("worst {curve:?} error: {worst_in_use:.5} C over 0 to 110, {worst:.5} C over the working range");
        assert!(worst < 0.01, "the module's own promise: {worst}");
    }
}

#[test]
fn every_entry_of_the_thermistor_tables_is_what_the_published_coefficients_give() {
    for curve in Curve::ALL {
        for degree in -10..=130 {
            let exact = centiohm(thermistor_ohm(curve, f64::from(degree)));
            // An entry reads its whole degree; one that were off would not, by more than the type's resolution.
            let read = thermistor::celsius_at(exact, curve).unwrap();
            let off = (degrees(read) - f64::from(degree)).abs();
            assert!(off <= 1.0 / 65_536.0, "{curve:?} at {degree}: {read:?}");
        }
    }
}
