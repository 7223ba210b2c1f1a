//! The JSON document keeps the interface that other programs rely on.

use copperhold::day::{Day, HeatUp};
use copperhold::report::json;
use copperhold_tests::sample_day::{good_day, short_day, tripped_day, us_day};
use serde_json::Value;

fn parsed(day: &Day) -> Value {
    serde_json::from_str(&json::document(day)).expect("the document is JSON")
}

#[test]
fn every_key_of_the_interface_is_there_with_its_type() {
    for day in [good_day(), tripped_day(), us_day(), short_day(), Day::default()] {
        let document = parsed(&day);
        assert_eq!(document["schema"], 1);
        assert!(document["energy_kwh"].is_f64());
        assert_eq!(document["two_elements_ticks"].as_u64(), Some(0));
        let steps = document["steps"].as_array().expect("steps is an array");
        assert_eq!(steps.len(), day.steps.len());
        for (step, record) in steps.iter().zip(&day.steps) {
            assert_eq!(step["name"].as_str(), Some(record.name.as_str()));
            assert_eq!(step["started_s"].as_f64(), Some(record.started_s));
            assert_eq!(step["ended_s"].as_f64(), Some(record.ended_s));
        }
        let heat_ups = document["vessels"]["liquor_tank"]["heat_ups"].as_array().expect("heat_ups is an array");
        assert_eq!(heat_ups.len(), day.heat_ups.liquor_tank.len());
        for (heat_up, record) in heat_ups.iter().zip(&day.heat_ups.liquor_tank) {
            let figures = ["from_c", "to_c", "seconds", "least_seconds", "overshoot_c"].map(|key| heat_up[key].as_f64());
            let recorded = [record.from_c, record.to_c, record.seconds, record.least_seconds, record.overshoot_c];
            assert_eq!(figures, recorded.map(Some));
        }
        assert_eq!(document["trips"].as_array().map(Vec::len), Some(day.trips.len()));
    }
}

#[test]
fn the_keys_come_in_a_fixed_order() {
    let text = json::document(&good_day());
    let place = |key: &str| text.find(&format!("\n  \"{key}\":")).unwrap_or_else(|| panic!("{key} is missing"));
    let order = ["schema", "steps", "vessels", "energy_kwh", "trips", "two_elements_ticks"].map(place);
    assert!(order.is_sorted(), "{order:?}");
    assert_eq!(text, json::document(&good_day()));
}

#[test]
fn trips_are_strings_that_name_cause_and_remedy() {
    let document = parsed(&tripped_day());
    let first = document["trips"][0].as_str().expect("a trip is a string");
    assert_eq!(
        first,
        "cause: The liquor tank's thermometer gave no reading for 2 s; remedy: Check its plug and cable, then acknowledge at the panel"
    );
    assert_eq!(document["trip_records"][1]["t_s"].as_f64(), Some(7390.0));
}

#[test]
fn figures_stay_celsius_and_litres_whatever_the_reader_prefers() {
    let (metric, us) = (parsed(&good_day()), parsed(&us_day()));
    assert_eq!(metric["units"], "metric");
    assert_eq!(us["units"], "us");
    assert_eq!(metric["steps"], us["steps"]);
    assert_eq!(metric["volumes"], us["volumes"]);
}

#[test]
fn floats_are_rounded_and_never_negative_zero() {
    let mut day = short_day();
    day.heat_ups.liquor_tank =
        vec![HeatUp { from_c: 0.1 + 0.2, to_c: -0.000_01, seconds: 1.0 / 3.0, least_seconds: 2.0, overshoot_c: 0.0 }];
    let text = json::document(&day);
    for expected in ["\"from_c\": 0.3,", "\"to_c\": 0.0,", "\"seconds\": 0.33,"] {
        assert!(text.contains(expected), "{expected} is not in {text}");
    }
}

#[test]
fn what_is_not_a_number_becomes_null() {
    let mut day = short_day();
    day.volumes.strike_l = f64::NAN;
    day.steps[0].to_c = Some(f64::INFINITY);
    let document = parsed(&day);
    assert!(document["volumes"]["strike_l"].is_null());
    assert!(document["steps"][0]["to_c"].is_null());
}

#[test]
fn both_elements_on_is_told() {
    let day = Day { two_elements_ticks: 3, ..good_day() };
    assert_eq!(parsed(&day)["two_elements_ticks"].as_u64(), Some(3));
}
