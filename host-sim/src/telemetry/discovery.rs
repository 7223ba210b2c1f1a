//! What a home automation hub needs to show the brewery by itself: retained descriptions in the discovery convention that such hubs share,
//! one JSON document for each figure at `<prefix>/<component>/<device>/<object>/config`.

use copperhold_core::vessel::{Element, Vessel};
use serde_json::{Value, json};

/// The usual prefix of the convention.
pub const PREFIX: &str = "homeassistant";

/// One figure of the state document, as the convention describes it.
struct Figure {
    component: &'static str,
    /// Its name in the state document.
    object: String,
    name: String,
    unit: Option<&'static str>,
    class: Option<&'static str>,
    /// How it adds up: a measurement, a total.
    adds: Option<&'static str>,
}

fn figures() -> Vec<Figure> {
    let sensor = |object: String, name: String, unit, class, adds| Figure { component: "sensor", object, name, unit, class, adds };
    let mut all = Vec::new();
    for vessel in Vessel::ALL {
        let (key, label) = (vessel.key(), vessel.label());
        for (what, words) in [("temperature", "temperature"), ("target", "target")] {
            let (unit, class) = (Some("\u{b0}C"), Some("temperature"));
            all.push(sensor(format!("{key}_{what}"), format!("{label} {words}"), unit, class, Some("measurement")));
        }
    }
    for element in Element::ALL {
        let (key, label) = (element.vessel().key(), element.vessel().label());
        all.push(sensor(format!("{key}_duty"), format!("{label} duty"), Some("%"), None, Some("measurement")));
    }
    let word = |object: &str, name: &str| sensor(object.to_owned(), name.to_owned(), None, None, None);
    all.extend([
        word("grant", "element with power"),
        word("step", "step"),
        word("waiting_for", "waiting for"),
        word("trip", "trip"),
    ]);
    all.push(sensor("timer_left".into(), "timer left".into(), Some("s"), Some("duration"), None));
    all.push(sensor("energy".into(), "energy".into(), Some("kWh"), Some("energy"), Some("total_increasing")));
    for (object, name, class) in [("armed", "armed", None), ("tripped", "tripped", Some("problem"))] {
        let (object, name) = (object.to_owned(), name.to_owned());
        all.push(Figure { component: "binary_sensor", object, name, unit: None, class, adds: None });
    }
    all
}

/// Topic and document of every description. `base`: where the device's own topics are; `device`: its name there; `rehearsal`: it heats no
/// water, and says so in its name.
pub fn documents(prefix: &str, base: &str, device: &str, rehearsal: bool) -> Vec<(String, Value)> {
    let title = if rehearsal { format!("Copperhold rehearsal ({device})") } else { format!("Copperhold ({device})") };
    let about = json!({ "identifiers": [format!("copperhold_{device}")], "name": title, "sw_version": env!("CARGO_PKG_VERSION") });
    let document = |figure: Figure| {
        let mut doc = json!({
            "name": figure.name,
            "unique_id": format!("copperhold_{device}_{}", figure.object),
            "state_topic": format!("{base}/state"),
            "value_template": format!("{{{{ value_json.{} }}}}", figure.object),
            "availability_topic": format!("{base}/availability"),
            "device": about,
        });
        if figure.component == "binary_sensor" {
            doc["payload_on"] = json!("on");
            doc["payload_off"] = json!("off");
        }
        for (key, value) in [("unit_of_measurement", figure.unit), ("device_class", figure.class), ("state_class", figure.adds)] {
            if let Some(value) = value {
                doc[key] = json!(value);
            }
        }
        (format!("{prefix}/{}/copperhold_{device}/{}/config", figure.component, figure.object), doc)
    };
    figures().into_iter().map(document).collect()
}
