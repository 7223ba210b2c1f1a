//! Expected values are products with the exact factors of NIST SP 811 (2008), appendix B, worked out by hand.

use super::*;

fn base(dimension: Dimension, text: &str) -> f64 {
    dimension.parse(text).unwrap_or_else(|e| panic!("{text:?}: {e:?}")).value
}

#[track_caller]
fn close(dimension: Dimension, text: &str, expected: f64) {
    let got = base(dimension, text);
    assert!((got - expected).abs() <= 1e-12 * expected.abs().max(1.0), "{text}: {got} is not {expected}");
}

#[test]
fn metric_and_us_units_agree_with_the_exact_factors() {
    close(Dimension::Volume, "10 gal", 37.854_117_84);
    close(Dimension::Volume, "38 L", 38.0);
    close(Dimension::Volume, "500 mL", 0.5);
    close(Dimension::Volume, "4 qt", 3.785_411_784);
    close(Dimension::Volume, "8 pt", 3.785_411_784);
    close(Dimension::Temperature, "160 F", 71.111_111_111_111_11);
    close(Dimension::Temperature, "-40 °F", -40.0);
    close(Dimension::Temperature, "71°C", 71.0);
    close(Dimension::Difference, "1 F", 0.555_555_555_555_555_6);
    close(Dimension::Difference, "0.5 K", 0.5);
    close(Dimension::Power, "5.5 kW", 5500.0);
    close(Dimension::Mass, "11 lb", 4.989_516_07);
    close(Dimension::Mass, "1 oz", 0.028_349_523_125);
    close(Dimension::Mass, "28 g", 0.028);
    close(Dimension::Length, "15 in", 0.381);
    close(Dimension::Length, "40 cm", 0.4);
    close(Dimension::Length, "5280 ft", 1609.344);
    close(Dimension::Flow, "2 gal/min", 7.570_823_568);
    close(Dimension::Flow, "60 L/h", 1.0);
    close(Dimension::Conductance, "600 W/K", 600.0);
    close(Dimension::Conductance, "10 W/F", 18.0);
    close(Dimension::Share, "60 %", 0.6);
    close(Dimension::Voltage, "240V", 240.0);
    close(Dimension::Frequency, "60 hz", 60.0);
    close(Dimension::HeatCapacity, "1.2 kJ/K", 1200.0);
}

#[test]
fn water_boils_at_exactly_100_c_and_freezes_at_exactly_0_c_in_fahrenheit() {
    assert_eq!(base(Dimension::Temperature, "212 F"), 100.0);
    assert_eq!(base(Dimension::Temperature, "32 F"), 0.0);
}

#[test]
fn time_comes_in_parts_or_as_an_iso_duration() {
    close(Dimension::Time, "60 min", 3600.0);
    close(Dimension::Time, "90 s", 90.0);
    close(Dimension::Time, "1 h 30 min", 5400.0);
    close(Dimension::Time, "1h30min 5s", 5405.0);
    close(Dimension::Time, "PT60M", 3600.0);
    close(Dimension::Time, "PT1H30M", 5400.0);
    close(Dimension::Time, "pt1.5h", 5400.0);
    for bad in ["PT", "P1D", "PT5M1H", "PTM", "30 min 1 h", "1 h -5 min", "5 min 5 min", "1 h and a bit"] {
        assert!(Dimension::Time.parse(bad).is_err(), "{bad:?} was taken");
    }
}

#[test]
fn a_wrong_unit_is_told_with_what_it_measures() {
    let wrong = |d: Dimension, t: &str| match d.parse(t) {
        Err(QuantityError::WrongUnit { unit, measures }) => (unit, measures),
        other => panic!("{t}: {other:?}"),
    };
    assert_eq!(wrong(Dimension::Power, "38 L"), ("L".to_owned(), Some(Dimension::Volume)));
    assert_eq!(wrong(Dimension::Volume, "5500 W"), ("W".to_owned(), Some(Dimension::Power)));
    assert_eq!(wrong(Dimension::Volume, "3 firkin"), ("firkin".to_owned(), None));
    assert_eq!(wrong(Dimension::Temperature, "344 K"), ("K".to_owned(), Some(Dimension::Difference)));
}

#[test]
fn no_unit_no_number_and_a_decimal_comma_are_told_apart() {
    assert_eq!(Dimension::Volume.parse("38"), Err(QuantityError::NoUnit));
    for bad in ["", "L", "- L", "..", "1.2.3 L", "inf L", "NaN L"] {
        assert_eq!(Dimension::Volume.parse(bad), Err(QuantityError::NotAQuantity), "{bad:?}");
    }
    assert_eq!(Dimension::Power.parse("5,5 kW"), Err(QuantityError::DecimalComma("5.5 kW".to_owned())));
    assert_eq!(Dimension::Volume.parse(&format!("{} L", "9".repeat(400))), Err(QuantityError::TooLong));
}

#[test]
fn the_unit_tells_whose_it_is() {
    assert_eq!(Dimension::Volume.parse("1 gal").map(|q| q.system), Ok(Some(Units::Us)));
    assert_eq!(Dimension::Volume.parse("1 L").map(|q| q.system), Ok(Some(Units::Metric)));
    assert_eq!(Dimension::Power.parse("1 W").map(|q| q.system), Ok(None));
}

#[test]
fn every_unit_and_dimension_is_offered_by_name() {
    assert_eq!(Dimension::Volume.unit_list(), "L, gal, mL, qt or pt");
    assert_eq!(Dimension::Voltage.unit_list(), "V");
}

#[test]
fn shows_in_the_readers_units() {
    assert_eq!(Dimension::Volume.show(37.854_117_84, Units::Us, 1), "10 gal");
    assert_eq!(Dimension::Temperature.show(71.111, Units::Us, 0), "160 F");
    assert_eq!(Dimension::Temperature.show(-0.01, Units::Metric, 1), "0 C");
}
