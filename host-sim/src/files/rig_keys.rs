//! The keys of a rig file.

use super::key::{Form, Key, Range, quantity, table, text};
use super::quantity::Dimension as D;

pub const NAME: Key = text("name", "`unnamed rig`", "what you call the rig");
pub const UNITS: Key = Key {
    name: "units",
    form: Form::Word(&["metric", "us"]),
    default: "those most quantities in the file are written in",
    about: "units to show",
};

pub const VOLTAGE: Key = quantity("voltage", D::Voltage, (90.0, 260.0), "240 V", "voltage at the elements");
pub const FREQUENCY: Key =
    quantity("frequency", D::Frequency, (50.0, 60.0), "50 Hz for 220 V to 235 V, else 60 Hz", "mains frequency, 50 Hz or 60 Hz");
pub const MEASURED: Key = Key {
    name: "measured",
    form: Form::YesNo,
    default: "false",
    about: "the controller measures the voltage at the elements and makes shares of full power good for it",
};
pub const MAINS: Key = table("mains", &[&VOLTAGE, &FREQUENCY, &MEASURED], "the supply");

pub const ALTITUDE: Key = quantity("altitude", D::Length, (-400.0, 4000.0), "0 m", "height above sea level");
pub const AIR: Key = quantity("air", D::Temperature, (-20.0, 50.0), "20 C", "air temperature");
pub const HUMIDITY: Key = quantity("humidity", D::Share, (0.0, 1.0), "50 %", "relative humidity");
pub const TAP: Key = quantity("tap", D::Temperature, (0.5, 35.0), "12 C", "temperature of tap water");
pub const TAP_FLOW: Key = quantity("tap_flow", D::Flow, (1.0, 100.0), "12 L/min", "flow of the tap");
pub const SITE: Key = table("site", &[&ALTITUDE, &AIR, &HUMIDITY, &TAP, &TAP_FLOW], "the place it stands in");

pub const POWER: Key = quantity("power", D::Power, (100.0, 20_000.0), "required", "rated power of the element");
pub const RATED: Key = quantity("rated", D::Voltage, (90.0, 480.0), "the mains voltage", "voltage of the element's rating");
pub const SHEATH_CAPACITY: Key = quantity(
    "sheath_capacity",
    D::HeatCapacity,
    (10.0, 50_000.0),
    "4 s x sheath_conductance",
    "heat capacity of sheath and filling",
);
pub const SHEATH_CONDUCTANCE: Key =
    quantity("sheath_conductance", D::Conductance, (2.0, 5000.0), "power / 25 K", "conductance from sheath to liquid");
pub const ELEMENT: Key = Key {
    name: "element",
    form: Form::QuantityOrTable(
        Range { dimension: D::Power, least: 100.0, most: 20_000.0 },
        &[&POWER, &RATED, &SHEATH_CAPACITY, &SHEATH_CONDUCTANCE],
    ),
    default: "no element",
    about: "rated power of the electric element",
};

pub const PROBE_WORDS: [&str; 3] = ["pt100", "ntc10k", "ds18b20"];
pub const KIND: Key = Key { name: "kind", form: Form::Word(&PROBE_WORDS), default: "pt100", about: "kind of thermometer" };
pub const LAG: Key = quantity("lag", D::Time, (0.1, 120.0), "5 s pt100, 8 s ntc10k, 12 s ds18b20", "time constant in its well");
pub const DELAY: Key = quantity("delay", D::Time, (0.0, 60.0), "1 s", "time before it sees the liquid");
pub const NOISE: Key =
    quantity("noise", D::Difference, (0.0, 2.0), "0.01 K pt100, 0.03 K ntc10k, 0.02 K ds18b20", "standard deviation of its noise");
pub const OFFSET: Key = quantity("offset", D::Difference, (-5.0, 5.0), "0 K", "calibration error");
pub const PROBE: Key = Key {
    name: "probe",
    form: Form::WordOrTable(&PROBE_WORDS, &[&KIND, &LAG, &DELAY, &NOISE, &OFFSET]),
    default: "pt100",
    about: "the thermometer",
};

pub const CAPACITY: Key =
    quantity("capacity", D::Volume, (2.0, 1000.0), "1 L per 100 W of element; the tun as the tank", "brimful volume");
pub const DIAMETER: Key = quantity("diameter", D::Length, (0.08, 2.0), "as wide as high", "inner diameter");
pub const WALL: Key =
    quantity("wall", D::Mass, (0.1, 200.0), "1 mm of stainless steel", "mass of the steel that follows the liquid");
pub const EMISSIVITY: Key = quantity("emissivity", D::Share, (0.0, 1.0), "25 %", "emissivity of the outside");
pub const INSULATION: Key = quantity(
    "insulation",
    D::Share,
    (0.0, 0.95),
    "50 % tank, 20 % tun, 0 % kettle",
    "share of the bare loss that insulation stops",
);
pub const LID: Key =
    Key { name: "lid", form: Form::YesNo, default: "true", about: "lid on while heating and holding; off in the boil in any case" };
pub const ELEMENT_TOP: Key =
    quantity("element_top", D::Volume, (0.1, 1000.0), "15 % of capacity", "volume that covers the element");
pub const DEAD_SPACE: Key = quantity("dead_space", D::Volume, (0.0, 100.0), "3 % of capacity", "volume left when drained");
pub const MIXING: Key = quantity("mixing", D::Time, (0.0, 300.0), "18 s, tun 25 s", "lag from element or inlet to thermometer");
pub const LIMIT: Key =
    quantity("limit", D::Temperature, (30.0, 115.0), "90 C; kettle 4 C over boiling", "the guard trips above it");
pub const BOIL_LOSS: Key = quantity(
    "boil_loss",
    D::Power,
    (0.0, 3000.0),
    "derived",
    "power of the boil that does not become vapour; a day's report gives it from its two volumes",
);

/// Keys of a vessel with an element.
pub const HEATED: &[&Key] =
    &[&ELEMENT, &PROBE, &CAPACITY, &DIAMETER, &WALL, &EMISSIVITY, &INSULATION, &LID, &ELEMENT_TOP, &DEAD_SPACE, &MIXING, &LIMIT];
/// Keys of the kettle.
pub const KETTLE: &[&Key] = &[
    &ELEMENT,
    &PROBE,
    &CAPACITY,
    &DIAMETER,
    &WALL,
    &EMISSIVITY,
    &INSULATION,
    &LID,
    &ELEMENT_TOP,
    &DEAD_SPACE,
    &MIXING,
    &LIMIT,
    &BOIL_LOSS,
];
/// Keys of the tun.
pub const TUN: &[&Key] = &[&PROBE, &CAPACITY, &DIAMETER, &WALL, &EMISSIVITY, &INSULATION, &LID, &DEAD_SPACE, &MIXING, &LIMIT];

pub const LIQUOR_TANK: Key = vessel("liquor_tank", HEATED, "the hot liquor tank");
pub const MASH_TUN: Key = vessel("mash_tun", TUN, "the mash tun, heated through the coil");
pub const BOIL_KETTLE: Key = vessel("boil_kettle", KETTLE, "the boil kettle");

const fn vessel(name: &'static str, keys: &'static [&'static Key], about: &'static str) -> Key {
    Key { name, form: Form::Table(keys), default: "the rig lacks it", about }
}

pub const COIL_CONDUCTANCE: Key =
    quantity("conductance", D::Conductance, (10.0, 20_000.0), "500 W/K at 40 L, by size^(2/3)", "overall conductance");
pub const COIL: Key = table("coil", &[&COIL_CONDUCTANCE], "the heat-exchange coil in the tank");

pub const MASH_FLOW: Key =
    quantity("mash", D::Flow, (0.5, 100.0), "8 L/min at 40 L, by size^(2/3)", "recirculation through the coil");
pub const LIQUOR_FLOW: Key = quantity("liquor", D::Flow, (0.5, 100.0), "8 L/min at 40 L, by size^(2/3)", "tank to tun");
pub const RUN_OFF_FLOW: Key =
    quantity("run_off", D::Flow, (0.05, 50.0), "0.6 L/min at 40 L, by size", "tun to kettle in the sparge");
pub const WORT_FLOW: Key = quantity("wort", D::Flow, (0.5, 100.0), "8 L/min at 40 L, by size^(2/3)", "whirlpool and chiller");
pub const HOSE_VOLUME: Key = quantity("hose_volume", D::Volume, (0.0, 50.0), "1 L at 40 L, by size", "held in hoses and coil");
pub const HOSE_LOSS: Key =
    quantity("hose_loss", D::Conductance, (0.0, 200.0), "9 W/K at 40 L, by size^(2/3)", "heat loss of the recirculation hoses");
pub const FLOW_METER: Key = Key {
    name: "flow_meter",
    form: Form::YesNo,
    default: "false",
    about: "a turbine behind the mash pump tells the controller whether anything flows through the coil",
};
pub const PUMPS: Key = table(
    "pumps",
    &[&MASH_FLOW, &LIQUOR_FLOW, &RUN_OFF_FLOW, &WORT_FLOW, &HOSE_VOLUME, &HOSE_LOSS, &FLOW_METER],
    "pumps and hoses",
);

pub const CHILLER_CONDUCTANCE: Key =
    quantity("conductance", D::Conductance, (10.0, 50_000.0), "1200 W/K at 40 L, by size^(2/3)", "overall conductance");
pub const CHILLER_WATER: Key = quantity("water", D::Flow, (0.5, 200.0), "10 L/min at 40 L, by size^(2/3)", "cooling water");
pub const CHILLER: Key = table("chiller", &[&CHILLER_CONDUCTANCE, &CHILLER_WATER], "the wort chiller");

/// Keys of the file itself.
pub const RIG: &[&Key] = &[&NAME, &UNITS, &LIQUOR_TANK, &MASH_TUN, &BOIL_KETTLE, &MAINS, &SITE, &COIL, &PUMPS, &CHILLER];
