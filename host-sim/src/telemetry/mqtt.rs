//! Messages over MQTT 3.1.1, out only.
//!
//! | topic | retained | what |
//! | --- | --- | --- |
//! | `copperhold/<device>/availability` | yes | `online`, or `offline` while the link is lost; the broker says `offline` by itself (last will) when this program is gone |
//! | `copperhold/<device>/state` | yes | one JSON document, once a second, and at once when something other than a figure changes |
//! | `<prefix>/...` | yes | descriptions for home automation, see [`super::discovery`] |
//!
//! It subscribes to nothing: no message can ask for anything. Plain TCP, so a password is not safe on a network of strangers.

use super::discovery;
use crate::watch::hub::Hub;
use crate::watch::state::{DemandNow, Link, Now};
use copperhold_core::vessel::{Element, Vessel};
use rumqttc::{AsyncClient, Event, EventLoop, LastWill, MqttOptions, Packet, QoS};
use serde_json::{Map, Value, json};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::watch;

/// The usual port.
pub const PORT: u16 = 1883;
/// How often figures are sent at least.
pub const EVERY: Duration = Duration::from_secs(1);
/// A silent connection is given up by the broker after one and a half of this.
const KEEP_ALIVE: Duration = Duration::from_secs(5);
/// Waits between attempts to connect.
const RETRY: (Duration, Duration) = (Duration::from_millis(500), Duration::from_secs(15));
/// Messages that may wait for the connection: more than all descriptions.
const WAITING: usize = 64;

/// Where to send to.
#[derive(Clone)]
pub struct Options {
    /// The broker's host.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// User and password, where the broker asks for them.
    pub login: Option<(String, String)>,
    /// Name of this brewery in the topics.
    pub device: String,
    /// Prefix of the descriptions; `None` sends none.
    pub discovery: Option<String>,
}

impl std::fmt::Debug for Options {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}:{}, device {}", self.host, self.port, self.device)
    }
}

/// Splits `HOST` or `HOST:PORT`.
///
/// # Errors
/// What was expected.
pub fn broker(text: &str) -> Result<(String, u16), String> {
    let expected = || format!("{text:?} is no broker's address; write HOST or HOST:PORT, for example 192.168.1.5:{PORT}");
    let (host, port) = match text.rsplit_once(':') {
        Some((host, port)) => (host, port.parse().ok().filter(|&port| port != 0).ok_or_else(expected)?),
        None => (text, PORT),
    };
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_' | '[' | ']' | ':');
    if host.is_empty() || !host.chars().all(plain) {
        return Err(expected());
    }
    Ok((host.to_owned(), port))
}

/// A name that can stand in a topic.
///
/// # Errors
/// What was expected.
pub fn device(text: &str) -> Result<String, String> {
    let fits = !text.is_empty() && text.len() <= 32 && text.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '_'));
    if fits { Ok(text.to_owned()) } else { Err("write 1 to 32 letters, digits, - or _".to_owned()) }
}

/// Sends until the future is dropped; connects again by itself.
pub async fn run(hub: Arc<Hub>, options: Options) {
    let base = format!("copperhold/{}", options.device);
    let mut mqtt = MqttOptions::new(format!("copperhold-{}", options.device), options.host.clone(), options.port);
    mqtt.set_keep_alive(KEEP_ALIVE);
    mqtt.set_last_will(LastWill::new(format!("{base}/availability"), "offline", QoS::AtLeastOnce, true));
    if let Some((user, password)) = &options.login {
        mqtt.set_credentials(user, password);
    }
    let (client, events) = AsyncClient::new(mqtt, WAITING);
    let (connected, connection) = watch::channel(None);
    tokio::select! {
        () = drive(events, connected) => {}
        () = feed(&hub, &client, connection, &options, &base) => {}
    }
}

/// Keeps the connection; counts how often it was made, `None` while there is none.
async fn drive(mut events: EventLoop, connected: watch::Sender<Option<u64>>) {
    let mut times = 0;
    let mut wait = RETRY.0;
    let mut told = false;
    loop {
        match events.poll().await {
            Ok(Event::Incoming(Packet::ConnAck(_))) => {
                times += 1;
                wait = RETRY.0;
                told = false;
                connected.send_replace(Some(times));
            }
            Ok(_) => {}
            Err(error) => {
                connected.send_replace(None);
                if !told {
                    eprintln!("caution: the MQTT broker is not there ({error}); it is tried again, the page goes on without it");
                    told = true;
                }
                tokio::time::sleep(wait).await;
                wait = (wait * 2).min(RETRY.1);
            }
        }
    }
}

/// What was told last.
#[derive(Debug, PartialEq)]
struct Told {
    connection: u64,
    available: bool,
    rehearsal: bool,
    words: Value,
}

async fn feed(hub: &Hub, client: &AsyncClient, connection: watch::Receiver<Option<u64>>, options: &Options, base: &str) {
    let mut moments = hub.moments();
    let mut told: Option<Told> = None;
    let mut sent: Option<Instant> = None;
    loop {
        let snapshot = moments.borrow_and_update().clone();
        let now = &snapshot.now;
        if let Some(number) = *connection.borrow() {
            let available = now.link == Link::Live && !now.stale;
            let next = Told { connection: number, available, rehearsal: now.source.is_rehearsal(), words: words(now) };
            let new_connection = told.as_ref().is_none_or(|told| told.connection != number || told.rehearsal != next.rehearsal);
            let due = sent.is_none_or(|sent| sent.elapsed() >= EVERY);
            if new_connection && let Some(prefix) = &options.discovery {
                for (topic, document) in discovery::documents(prefix, base, &options.device, next.rehearsal) {
                    publish(client, topic, document.to_string()).await;
                }
            }
            if new_connection || told.as_ref().is_none_or(|told| told.available != available) {
                let word = if available { "online" } else { "offline" };
                publish(client, format!("{base}/availability"), word.to_owned()).await;
            }
            if available && (due || told.as_ref() != Some(&next)) {
                publish(client, format!("{base}/state"), state(now).to_string()).await;
                sent = Some(Instant::now());
            }
            told = Some(next);
        }
        if moments.changed().await.is_err() {
            return;
        }
    }
}

async fn publish(client: &AsyncClient, topic: String, payload: String) {
    // It fails only once the connection's task has ended, and then so does this.
    let _ = client.publish(topic, QoS::AtLeastOnce, true, payload).await;
}

/// What is told at once: everything but figures that flow.
fn words(now: &Now) -> Value {
    let demand = |vessel| match now.vessel(vessel).demand {
        DemandNow::Off => "off",
        DemandNow::Hold { .. } => "hold",
        DemandNow::Percent { .. } => "percent",
    };
    json!({
        "grant": now.grant.map(|element| element.vessel().key()),
        "step": now.step.as_ref().map(|step| step.name.as_str()),
        "waiting_for": now.prompt.as_ref().map(|prompt| prompt.text),
        "trip": now.trip.as_ref().map(|trip| format!("{}; {}", trip.cause, trip.remedy)),
        "armed": if now.armed { "on" } else { "off" },
        "tripped": if now.trip.is_some() { "on" } else { "off" },
        "demands": Vessel::ALL.map(demand),
    })
}

/// The state document: temperatures in degrees Celsius to a hundredth, duty in percent to a tenth, times in whole seconds.
pub fn state(now: &Now) -> Value {
    let round = |value: f64, per_unit: f64| json!((value * per_unit).round() / per_unit);
    let mut all = match words(now) {
        Value::Object(map) => map,
        _ => Map::new(),
    };
    for vessel in Vessel::ALL {
        let seen = now.vessel(vessel);
        all.insert(format!("{}_temperature", vessel.key()), seen.reading_c.map_or(Value::Null, |c| round(c, 100.0)));
        all.insert(format!("{}_target", vessel.key()), seen.demand.target_c().map_or(Value::Null, |c| round(c, 100.0)));
    }
    for element in Element::ALL {
        let duty = now.vessel(element.vessel()).duty;
        all.insert(format!("{}_duty", element.vessel().key()), duty.map_or(Value::Null, |duty| round(duty * 100.0, 10.0)));
    }
    all.insert("timer_left".into(), now.timer.map_or(Value::Null, |timer| round(timer.left_s, 1.0)));
    all.insert("energy".into(), now.energy_kwh.map_or(Value::Null, |kwh| round(kwh, 1000.0)));
    all.insert("at".into(), round(now.at_s, 1.0));
    all.insert("source".into(), json!(if now.source.is_rehearsal() { "rehearsal" } else { "board" }));
    Value::Object(all)
}
