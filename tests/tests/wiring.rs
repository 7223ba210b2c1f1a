//! The wiring guide against the boards' sources: every pin that the code claims is in its table under the same name, and no other.

use copperhold_core::vessel::Element;
use copperhold_firmware::lines::Line as Output;
use copperhold_firmware::sense::{Fitted, Line};
use copperhold_tests::emulator::pins;
use std::collections::BTreeMap;

const GUIDE: &str = include_str!("../../firmware/WIRING.md");
const DIAGRAM: &str = include_str!("../../firmware/wiring.svg");

fn source(path: &str) -> String {
    let path = format!("{}/../firmware/boards/{path}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// The second board's table: pin to name.
fn second_board() -> BTreeMap<String, String> {
    let mut rows = BTreeMap::new();
    for line in GUIDE.lines() {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        let [_, pin, name, _] = cells[..] else { continue };
        let is_pin =
            ["PA", "PB", "PC"].iter().any(|port| pin.strip_prefix(port).is_some_and(|number| number.parse::<u8>().is_ok()));
        assert!(!is_pin || rows.insert(pin.to_owned(), name.to_owned()).is_none(), "{pin} is there twice");
    }
    rows
}

/// What follows `pins.` in a board's start, each pin once.
fn used(main: &str) -> Vec<String> {
    let name = |text: &str| text.chars().take_while(|c| c.is_ascii_alphanumeric() || *c == '_').collect::<String>();
    let mut names: Vec<String> = main.split("pins.").skip(1).map(name).collect();
    names.sort();
    names
}

#[test]
fn the_picos_pins_are_those_of_the_table() {
    let mut claimed = BTreeMap::new();
    for line in source("pico/pins.rs").lines().filter_map(|line| line.trim().strip_prefix("Gpio").map(str::to_owned)) {
        let (number, rest) = line.split_once(" { name: ").expect("a pin with a name");
        let name = rest.trim_end_matches(" },");
        assert!(claimed.insert(name.to_owned(), number.parse::<u8>().expect("a number")).is_none(), "{name} is claimed twice");
    }
    assert_eq!(claimed, pins());
    assert_eq!(used(&source("pico/main.rs")), pins().into_keys().collect::<Vec<_>>(), "each is used once");
}

#[test]
fn the_second_boards_pins_are_those_of_its_table_and_have_the_same_names() {
    let mut claimed = BTreeMap::new();
    let source_of_pins = source("stm32f4/pins.rs");
    let (_, list) = source_of_pins.split_once("pins! {").expect("the list");
    for line in list.lines().filter(|line| line.contains(" = ")) {
        let (name, field) = line.trim().trim_end_matches(',').split_once(" = ").expect("a name and a pin");
        let (name, _) = name.split_once(':').expect("a type");
        let (_, pin) = field.split_once('.').expect("a port");
        assert!(claimed.insert(pin.to_uppercase(), name.to_owned()).is_none(), "{pin} is claimed twice");
    }
    assert_eq!(claimed, second_board());
    let mut names: Vec<String> = claimed.into_values().collect();
    names.sort();
    // The Pico's USB has pins of its own, and its flow meter shares one.
    let more = ["flow_meter", "usb_minus", "usb_plus"].map(str::to_owned);
    let mut both: Vec<String> = pins().into_keys().chain(more).collect();
    both.sort();
    assert_eq!(names, both, "both boards have the same connections");
    assert_eq!(used(&source("stm32f4/main.rs")), names, "each is used once");
}

#[test]
fn the_lines_that_a_panic_lowers_are_the_lines_to_the_power_side() {
    let names = ["contactor", "tank_element", "kettle_element", "liquor_pump", "mash_pump", "wort_pump"];
    assert_eq!(names.len(), Output::ALL.len());
    let mask = |text: &str| {
        let (_, rest) = text.split_once("pub const LINES: u32 = ").expect("the mask");
        let (bits, shift) =
            rest.split_once(';').expect("its end").0.split_once(" << ").unwrap_or((rest.split(';').next().expect("text"), "0"));
        let bits = u32::from_str_radix(&bits.trim_start_matches("0b").replace('_', ""), 2).expect("bits");
        bits << shift.parse::<u32>().expect("a shift")
    };
    let pico = pins();
    let expected = names.iter().fold(0, |all, name| all | 1 << pico[*name]);
    assert_eq!(mask(&source("pico/last_resort.rs")), expected);
    let second: BTreeMap<String, String> = second_board().into_iter().map(|(pin, name)| (name, pin)).collect();
    let expected =
        names.iter().fold(0, |all, name| all | 1 << second[*name].trim_start_matches("PC").parse::<u32>().expect("a number"));
    assert_eq!(mask(&source("stm32f4/last_resort.rs")), expected);
}

#[test]
fn the_sense_expanders_pins_are_those_of_the_driver() {
    let (_, table) = GUIDE.split_once("| sense expander |").expect("its table");
    let table: Vec<&str> = table.lines().skip(2).take_while(|line| line.starts_with('|')).collect();
    for line in Line::ALL {
        let what = match line {
            Line::Contactor => "auxiliary contact",
            Line::Current(Element::LiquorTank) => "current switch of the tank",
            Line::Current(Element::BoilKettle) => "current switch of the kettle",
            Line::Level(Element::LiquorTank) => "level switch of the tank",
            Line::Level(Element::BoilKettle) => "level switch of the kettle",
        };
        let row = format!("| P{} | ", line.bit().trailing_zeros());
        let found = table.iter().find(|text| text.starts_with(&row)).unwrap_or_else(|| panic!("no row {row}"));
        assert!(found.contains(what), "{found} should be the {what}");
    }
    assert_eq!(Fitted::from_bits(1 << Line::ALL.len()), None, "and there is no other");
}

#[test]
fn the_diagram_names_every_pin_and_the_guide_its_cautions() {
    let drawn: Vec<u8> = DIAGRAM
        .lines()
        .filter(|line| line.contains("fill=\"#1f4e8c\""))
        .flat_map(|line| {
            let text = line.split('>').nth(1).and_then(|text| text.split('<').next()).unwrap_or_default();
            let number = |text: &str| text.trim().trim_start_matches("GP").parse::<u8>().unwrap_or_else(|_| panic!("{text}"));
            text.split(',')
                .flat_map(|part| match part.split_once(" to ") {
                    Some((first, last)) => (number(first)..=number(last)).collect::<Vec<_>>(),
                    None => vec![number(part)],
                })
                .collect::<Vec<_>>()
        })
        .collect();
    let mut drawn = drawn;
    drawn.sort_unstable();
    let mut numbers: Vec<u8> = pins().into_values().collect();
    numbers.sort_unstable();
    assert_eq!(drawn, numbers);
    for caution in
        ["licensed electrician", "local codes", "fail shorted", "independent thermal cut-out", "isolator", "No certification"]
    {
        assert!(GUIDE.contains(caution), "{caution}");
    }
}
