//! The wiring guide's pin table.

use std::collections::BTreeMap;

/// Names and numbers of the pins, as the wiring guide has them.
///
/// # Panics
/// A row that cannot be read, or a pin or a name that is there twice.
pub fn pins() -> BTreeMap<String, u8> {
    let guide = include_str!("../../../firmware/WIRING.md");
    let mut pins = BTreeMap::new();
    for line in guide.lines().filter(|line| line.starts_with("| ")) {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        let Ok(number) = cells[1].parse::<u8>() else { continue };
        assert!(pins.values().all(|&other| other != number), "GP{number} is in the table twice");
        assert!(pins.insert(cells[2].to_owned(), number).is_none(), "{} is in the table twice", cells[2]);
    }
    assert_eq!(pins.len(), 26, "every pin of the board's edge has a row");
    pins
}
