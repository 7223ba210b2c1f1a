//! The keys of a sheet file.

use super::key::{Form, Key, quantity, text};
use super::quantity::Dimension as D;

pub const NAME: Key = text("name", "`unnamed sheet`", "what you call the beer or the day");
pub const NOTES: Key = text("notes", "none", "anything worth keeping");
pub const GRAIN: Key = quantity("grain", D::Mass, (0.1, 500.0), "required with a dough in", "mass of the dry grain");
pub const GRAIN_AT: Key = quantity("grain_at", D::Temperature, (-20.0, 40.0), "20 C", "temperature of the dry grain");
pub const STEP: Key = Key { name: "step", form: Form::Tables(&[&DO]), default: "required", about: "the steps, in order" };

/// What a step does, in the order of a brew day.
pub const WORDS: [&str; 10] =
    ["heat strike", "dough in", "rest", "mash out", "sparge", "bring to boil", "boil", "knock out", "whirlpool", "chill"];
pub const DO: Key = Key { name: "do", form: Form::Word(&WORDS), default: "required", about: "what the step does" };
pub const STEP_NAME: Key = text("name", "what the step does", "what the step is called in the day's record");

const TARGET_C: (f64, f64) = (0.0, 120.0);
const LITRES: (f64, f64) = (0.0, 1000.0);
const HOURS_6: (f64, f64) = (1.0, 6.0 * 3600.0);
const HOURS_2: (f64, f64) = (1.0, 2.0 * 3600.0);

pub const FILL: Key = quantity("fill", D::Volume, (1.0, 1000.0), "required", "water in the tank beforehand");
pub const TO: Key = quantity("to", D::Temperature, TARGET_C, "required", "temperature to reach");
pub const STRIKE: Key = quantity("strike", D::Volume, (0.5, 1000.0), "required", "strike water to run to the tun");
pub const REFILL: Key = quantity("refill", D::Volume, LITRES, "0 L", "cold water to refill the tank with");
pub const AT: Key = quantity("at", D::Temperature, TARGET_C, "required", "temperature to hold");
pub const REST_FOR: Key = quantity("for", D::Time, HOURS_6, "required", "how long, from when the mash is there");
pub const WATER: Key = quantity("water", D::Volume, (0.5, 1000.0), "required", "sparge water to run to the tun");
pub const HOLD: Key = Key {
    name: "hold",
    form: Form::YesNo,
    default: "false",
    about: "the tank is held at its temperature while its water runs; half of it must stay, well over its element",
};
pub const BOIL_FOR: Key = quantity("for", D::Time, HOURS_6, "required", "how long the boil lasts");
pub const BOIL_SHARE: Key = quantity("at", D::Share, (0.05, 1.0), "required", "share of the kettle element's full power");
pub const BOIL_POWER: Key = quantity("at", D::Power, (50.0, 20_000.0), "required", "power of the boil");
pub const BOIL_OFF: Key = quantity("at", D::Flow, (0.1 / 60.0, 0.5), "required", "boil-off of the boil");
pub const BOIL_AT: Key =
    Key { name: "at", form: Form::OneOf(&[&BOIL_SHARE, &BOIL_POWER, &BOIL_OFF]), default: "required", about: "how hard to boil" };
pub const WHIRLPOOL_FOR: Key = quantity("for", D::Time, HOURS_2, "required", "how long");

pub const ADD: Key = text("add", "required", "what to add");
pub const AMOUNT: Key = text("amount", "none", "how much, in your own words");
pub const LEFT: Key = quantity("left", D::Time, (0.0, 6.0 * 3600.0), "required", "time left on the boil timer");
pub const ADDITION: &[&Key] = &[&ADD, &AMOUNT, &LEFT];
pub const ADDITIONS: Key =
    Key { name: "additions", form: Form::Tables(ADDITION), default: "none", about: "what goes into the boil, and when" };

/// Keys of the file itself.
pub const SHEET: &[&Key] = &[&NAME, &super::rig_keys::UNITS, &NOTES, &GRAIN, &GRAIN_AT, &STEP];

/// Keys of a step by its word in `do`.
pub fn of_step(word: &str) -> &'static [&'static Key] {
    match word {
        "heat strike" => &[&DO, &STEP_NAME, &FILL, &TO],
        "dough in" => &[&DO, &STEP_NAME, &STRIKE, &REFILL],
        "rest" | "mash out" => &[&DO, &STEP_NAME, &AT, &REST_FOR],
        "sparge" => &[&DO, &STEP_NAME, &WATER, &AT, &HOLD],
        "boil" => &[&DO, &STEP_NAME, &BOIL_AT, &BOIL_FOR, &ADDITIONS],
        "whirlpool" => &[&DO, &STEP_NAME, &WHIRLPOOL_FOR],
        "chill" => &[&DO, &STEP_NAME, &TO],
        _ => &[&DO, &STEP_NAME],
    }
}
