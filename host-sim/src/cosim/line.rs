//! One line of a co-simulation, read field by field so that an error can name the field.

use copperhold_core::heat::Demand;
use copperhold_core::units::Duty;
use copperhold_core::vessel::{PerVessel, Vessel};
use serde_json::{Map, Value};

/// A line that was understood.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Time, s.
    pub t_s: f64,
    /// Probe readings, degrees Celsius; `None` is a probe fault.
    pub probes_c: PerVessel<Option<f64>>,
    /// Switches that changed.
    pub switches: SwitchChanges,
    /// Voltage at the elements, V, where it is measured.
    pub mains_v: Option<f64>,
    /// Commands, in order.
    pub commands: Vec<Command>,
}

/// Switches that a line sets; the others keep their value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct SwitchChanges {
    /// The stop loop is closed.
    pub stop_loop: Option<bool>,
    /// The key is on.
    pub key: Option<bool>,
}

/// What a person at the simulated panel does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Command {
    /// Presses and holds the arm button.
    Arm,
    /// Presses the acknowledge button.
    Acknowledge,
    /// Sets a vessel's demand.
    Demand(Vessel, Demand),
}

/// Why a line was refused: the field, and what was expected there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BadLine(pub String);

fn bad<T>(field: &str, expected: &str) -> Result<T, BadLine> {
    Err(BadLine(format!("{field}: expected {expected}")))
}

/// Temperatures beyond these are a mistake in the plant, not a reading.
const PROBE_RANGE_C: std::ops::RangeInclusive<f64> = -100.0..=300.0;

impl Line {
    /// Reads one line of JSON.
    ///
    /// # Errors
    /// Not JSON, not an object, an unknown key, a missing or ill-typed field. The message names the field.
    pub fn parse(text: &str) -> Result<Line, BadLine> {
        let value: Value = serde_json::from_str(text).map_err(|error| BadLine(format!("line: not JSON: {error}")))?;
        let object = as_object(&value, "line")?;
        known(object, "", &["t_s", "probes_c", "switches", "commands", "mains_v"])?;
        let t_s = match object.get("t_s").and_then(Value::as_f64) {
            Some(t_s) if (0.0..=1e9).contains(&t_s) => t_s,
            Some(_) | None => return bad("t_s", "a number of seconds, 0 to 1e9"),
        };
        let Some(probes) = object.get("probes_c") else { return bad("probes_c", "an object with a number or null per vessel") };
        Ok(Line {
            t_s,
            probes_c: read_probes(probes)?,
            switches: object.get("switches").map_or_else(|| Ok(SwitchChanges::default()), read_switches)?,
            mains_v: read_mains(object.get("mains_v"))?,
            commands: object.get("commands").map_or_else(|| Ok(Vec::new()), read_commands)?,
        })
    }
}

fn as_object<'v>(value: &'v Value, field: &str) -> Result<&'v Map<String, Value>, BadLine> {
    value.as_object().map_or_else(|| bad(field, "an object"), Ok)
}

fn known(object: &Map<String, Value>, path: &str, keys: &[&str]) -> Result<(), BadLine> {
    match object.keys().find(|key| !keys.contains(&key.as_str())) {
        Some(key) => Err(BadLine(format!("{path}{key}: unknown key; known here: {}", keys.join(", ")))),
        None => Ok(()),
    }
}

fn read_probes(value: &Value) -> Result<PerVessel<Option<f64>>, BadLine> {
    let object = as_object(value, "probes_c")?;
    known(object, "probes_c.", &Vessel::ALL.map(Vessel::key))?;
    let mut probes = PerVessel::default();
    for vessel in Vessel::ALL {
        *probes.get_mut(vessel) = match object.get(vessel.key()) {
            None | Some(Value::Null) => None,
            Some(value) => match value.as_f64() {
                Some(c) if PROBE_RANGE_C.contains(&c) => Some(c),
                Some(_) | None => return bad(&format!("probes_c.{}", vessel.key()), "null or degrees Celsius, -100 to 300"),
            },
        };
    }
    Ok(probes)
}

fn read_mains(value: Option<&Value>) -> Result<Option<f64>, BadLine> {
    match value {
        None | Some(Value::Null) => Ok(None),
        Some(value) => match value.as_f64() {
            Some(volts) if (0.0..=1000.0).contains(&volts) => Ok(Some(volts)),
            Some(_) | None => bad("mains_v", "null or volts, 0 to 1000"),
        },
    }
}

fn read_switches(value: &Value) -> Result<SwitchChanges, BadLine> {
    let object = as_object(value, "switches")?;
    known(object, "switches.", &["stop_loop", "key"])?;
    let switch = |name: &str| match object.get(name) {
        None => Ok(None),
        Some(Value::Bool(on)) => Ok(Some(*on)),
        Some(_) => bad(&format!("switches.{name}"), "true or false"),
    };
    Ok(SwitchChanges { stop_loop: switch("stop_loop")?, key: switch("key")? })
}

fn read_commands(value: &Value) -> Result<Vec<Command>, BadLine> {
    let Some(list) = value.as_array() else { return bad("commands", "an array") };
    list.iter().enumerate().map(|(index, command)| read_command(command, &format!("commands[{index}]"))).collect()
}

fn read_command(value: &Value, path: &str) -> Result<Command, BadLine> {
    let object = as_object(value, path)?;
    let mut entries = object.iter();
    let (Some((key, value)), None) = (entries.next(), entries.next()) else {
        return bad(path, "one of {\"arm\":true}, {\"acknowledge\":true}, {\"demand\":{...}}");
    };
    match (key.as_str(), value) {
        ("arm", Value::Bool(true)) => Ok(Command::Arm),
        ("acknowledge", Value::Bool(true)) => Ok(Command::Acknowledge),
        ("demand", value) => read_demand(value, &format!("{path}.demand")),
        ("arm" | "acknowledge", _) => bad(&format!("{path}.{key}"), "true"),
        (key, _) => Err(BadLine(format!("{path}.{key}: unknown command; known: arm, acknowledge, demand"))),
    }
}

fn read_demand(value: &Value, path: &str) -> Result<Command, BadLine> {
    let object = as_object(value, path)?;
    known(object, &format!("{path}."), &["vessel", "hold_c", "percent", "off"])?;
    let key = object.get("vessel").and_then(Value::as_str);
    let Some(vessel) = Vessel::ALL.into_iter().find(|vessel| Some(vessel.key()) == key) else {
        return bad(&format!("{path}.vessel"), "liquor_tank, mash_tun or boil_kettle");
    };
    let demand = match (object.get("hold_c"), object.get("percent"), object.get("off")) {
        (Some(value), None, None) => match value.as_f64() {
            Some(c) if PROBE_RANGE_C.contains(&c) => Demand::Hold(crate::fit::celsius(c)),
            Some(_) | None => return bad(&format!("{path}.hold_c"), "degrees Celsius"),
        },
        (None, Some(value), None) => match value.as_f64() {
            Some(percent) if (0.0..=100.0).contains(&percent) => {
                Demand::Percent(Duty::from_basis_points((percent * 100.0).round() as u32))
            }
            Some(_) | None => return bad(&format!("{path}.percent"), "0 to 100"),
        },
        (None, None, Some(Value::Bool(true))) => Demand::Off,
        (None, None, Some(_)) => return bad(&format!("{path}.off"), "true"),
        (None, None, None) | (Some(_), _, _) | (_, Some(_), _) => {
            return bad(path, "exactly one of hold_c, percent, off");
        }
    };
    Ok(Command::Demand(vessel, demand))
}
