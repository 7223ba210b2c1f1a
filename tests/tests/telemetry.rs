//! What other programs in the house are told: OpenMetrics against a parser that is not ours, MQTT against a real broker with its own client.

#[path = "telemetry/broker.rs"]
mod broker;

use broker::{Broker, Fed, Heard};
use copperhold::telemetry::{metrics, mqtt};
use copperhold::watch::state::{DemandNow, Link, Now, PromptNow, Source, TimerNow, TripNow, VesselNow};
use copperhold_core::vessel::Element;
use copperhold_tests::watched::Watched;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

/// A kettle at the boil and a tank that holds.
fn moment() -> Now {
    let mut now = Now::waiting(Source::Rehearsal { speed: 60.0, drill: None }, "");
    now.link = Link::Live;
    now.stale = false;
    now.at_s = 4_321.0;
    now.vessels.liquor_tank = VesselNow {
        reading_c: Some(70.984),
        demand: DemandNow::Hold { target_c: 71.0 },
        duty: Some(0.0),
        wanted: Some(0.08),
        ..VesselNow::default()
    };
    now.vessels.boil_kettle = VesselNow {
        reading_c: Some(99.37),
        demand: DemandNow::Percent { share: 0.6 },
        duty: Some(0.6),
        wanted: Some(0.6),
        ..VesselNow::default()
    };
    now.grant = Some(Element::BoilKettle);
    now.armed = true;
    now.contactor = true;
    now.stop_loop = true;
    now.timer = Some(TimerNow { left_s: 1_800.4, of_s: Some(3_600.0), held: false });
    now.energy_kwh = Some(2.5);
    now
}

/// Names, labels and values, as a parser that is not ours reads them: prometheus_client (PyPI), which follows the OpenMetrics 1.0 text.
fn parsed(text: &str) -> BTreeMap<String, f64> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/openmetrics-parser");
    let python = root.join("bin/python3");
    let ran = |command: &mut Command| {
        let out = command.output().expect("python3 runs");
        assert!(out.status.success(), "{command:?}: {}", String::from_utf8_lossy(&out.stderr));
        String::from_utf8(out.stdout).expect("UTF-8")
    };
    static INSTALL: Mutex<()> = Mutex::new(());
    let alone = INSTALL.lock();
    if !root.join("ready").exists() {
        ran(Command::new("python3").args(["-m", "venv"]).arg(&root));
        ran(Command::new(&python).args(["-m", "pip", "install", "--quiet", "prometheus_client==0.26.0"]));
        std::fs::write(root.join("ready"), "").expect("a mark that it is ready");
    }
    drop(alone);
    static PAGES: AtomicU32 = AtomicU32::new(0);
    let file = root.join(format!("page-{}-{}", std::process::id(), PAGES.fetch_add(1, Ordering::Relaxed)));
    std::fs::write(&file, text).expect("a page for the parser");
    let script = "import sys\n\
        from prometheus_client.openmetrics.parser import text_string_to_metric_families as parse\n\
        for family in parse(open(sys.argv[1]).read()):\n\
        \x20   for s in family.samples: print(s.name + ''.join('|' + k + '=' + v for k, v in sorted(s.labels.items())), s.value)\n";
    let out = ran(Command::new(&python).arg("-c").arg(script).arg(&file));
    let read = |line: &str| line.rsplit_once(' ').map(|(name, value)| (name.to_owned(), value.parse().expect("a number")));
    out.lines().filter_map(read).collect()
}

#[test]
fn a_parser_that_is_not_ours_reads_every_figure() {
    let now = moment();
    let seen = parsed(&metrics::text(&now));
    let of = |name: &str| seen.get(&format!("copperhold_{name}")).copied();
    assert_eq!(of("source_info|kind=rehearsal"), Some(1.0));
    assert_eq!(of("live"), Some(1.0));
    assert_eq!(of("temperature_celsius|vessel=liquor_tank"), Some(70.984));
    assert_eq!(of("temperature_celsius|vessel=mash_tun"), None, "its probe has a fault");
    assert_eq!(of("target_celsius|vessel=liquor_tank"), Some(71.0));
    assert_eq!(of("target_celsius|vessel=boil_kettle"), None, "it boils by percent");
    assert_eq!(of("duty_ratio|vessel=boil_kettle"), Some(0.6));
    assert_eq!(of("wanted_ratio|vessel=liquor_tank"), Some(0.08));
    assert_eq!((of("grant|vessel=boil_kettle"), of("grant|vessel=liquor_tank")), (Some(1.0), Some(0.0)));
    assert_eq!((of("armed"), of("tripped"), of("contactor")), (Some(1.0), Some(0.0), Some(1.0)));
    assert_eq!(of("timer_left_seconds"), Some(1_800.4));
    assert_eq!(of("energy_joules_total"), Some(9.0e6));
}

#[test]
fn old_news_is_not_told_as_new() {
    for (link, stale) in [(Link::Live, true), (Link::Lost { why: "unplugged".into() }, true), (Link::Over, false)] {
        let seen = parsed(&metrics::text(&Now { link, stale, age_s: 12.5, ..moment() }));
        let mut names: Vec<&str> = seen.keys().map(String::as_str).collect();
        names.sort_unstable();
        assert_eq!(names, ["copperhold_age_seconds", "copperhold_live", "copperhold_source_info|kind=rehearsal"]);
        assert_eq!((seen["copperhold_live"], seen["copperhold_age_seconds"]), (0.0, 12.5));
    }
}

#[test]
fn a_broker_keeps_state_availability_and_descriptions_for_those_who_come_later() {
    let broker = Broker::start();
    let _fed = Fed::start(&broker, moment());
    // Only who subscribes after it was said is told that it was kept.
    broker.hear_until("early", |heard| heard.iter().any(|m| m.topic.ends_with("/state")));
    let heard = broker.hear_until("late", |heard| heard.iter().any(|m| m.topic.ends_with("/state") && m.retained));
    let payload = |end: &str| heard.iter().find(|m| m.topic.ends_with(end)).map(|m| m.payload.clone()).unwrap_or_default();
    assert_eq!(payload("copperhold/bench/availability"), "online");
    let state: serde_json::Value = serde_json::from_str(&payload("copperhold/bench/state")).expect("JSON");
    assert_eq!(state["liquor_tank_temperature"], 70.98);
    assert_eq!(state["boil_kettle_duty"], 60.0);
    assert_eq!(state["grant"], "boil_kettle");
    assert_eq!(state["source"], "rehearsal");
    assert_eq!(state["timer_left"], 1800.0);
    let described: Vec<&Heard> = heard.iter().filter(|m| m.topic.ends_with("/config")).collect();
    assert_eq!(described.len(), 16);
    for message in described {
        assert!(message.retained, "{}", message.topic);
        let document: serde_json::Value = serde_json::from_str(&message.payload).expect("JSON");
        assert_eq!(document["state_topic"], "copperhold/bench/state");
        assert_eq!(document["availability_topic"], "copperhold/bench/availability");
        assert!(document["device"]["name"].as_str().expect("a name").contains("rehearsal"), "a rehearsal says so");
        let template = document["value_template"].as_str().expect("a template");
        let field = template.trim_start_matches("{{ value_json.").trim_end_matches(" }}");
        assert!(state.get(field).is_some(), "{field} is described and not told");
    }
}

#[test]
fn a_trip_is_told_at_once_with_its_remedy() {
    let broker = Broker::start();
    let fed = Fed::start(&broker, moment());
    broker.hear_until("first", |heard| heard.iter().any(|m| m.topic.ends_with("/state")));
    let mut tripped = moment();
    tripped.armed = false;
    tripped.trip = Some(TripNow { at_s: Some(1.0), cause: "the stop loop opened".into(), remedy: "close it".into() });
    tripped.prompt = Some(PromptNow { key: "x", text: "Come to the panel", litres: None, covers: false, asked_s: 0.0 });
    fed.say(tripped);
    let heard = broker.hear_until("trip", |heard| heard.iter().any(|m| m.payload.contains("the stop loop opened; close it")));
    let last = heard.iter().rfind(|m| m.topic.ends_with("/state")).expect("a state");
    let state: serde_json::Value = serde_json::from_str(&last.payload).expect("JSON");
    assert_eq!((&state["tripped"], &state["armed"]), (&"on".into(), &"off".into()));
    assert_eq!(state["waiting_for"], "Come to the panel");
}

#[test]
fn a_lost_link_is_unavailable_and_so_is_a_program_that_is_gone() {
    let broker = Broker::start();
    let fed = Fed::start(&broker, moment());
    let is = |word: &'static str| {
        move |heard: &[Heard]| heard.iter().rfind(|m| m.topic.ends_with("/availability")).is_some_and(|m| m.payload == word)
    };
    broker.hear_until("up", is("online"));
    fed.say(Now { link: Link::Lost { why: "unplugged".into() }, ..moment() });
    broker.hear_until("lost", is("offline"));
    fed.say(moment());
    broker.hear_until("back", is("online"));
    // The connection breaks off without a farewell, as it does when the program is killed.
    drop(fed);
    broker.hear_until("gone", is("offline"));
}

#[test]
fn a_broker_that_restarts_is_told_everything_again() {
    let mut broker = Broker::start();
    let _fed = Fed::start(&broker, moment());
    broker.hear_until("before", |heard| heard.iter().any(|m| m.topic.ends_with("/state")));
    broker.restart();
    let heard = broker.hear_until("after", |heard| heard.iter().any(|m| m.topic.ends_with("/state")));
    assert_eq!(heard.iter().filter(|m| m.topic.ends_with("/config")).count(), 16);
}

#[test]
fn it_subscribes_to_nothing() {
    let broker = Broker::start();
    let _fed = Fed::start(&broker, moment());
    broker.hear_until("listener", |heard| heard.iter().any(|m| m.topic.ends_with("/state")));
    let log = broker.log_until(Duration::from_secs(10), "Received SUBSCRIBE from listener");
    assert!(log.contains("Received PUBLISH from copperhold-bench"), "{log}");
    assert!(!log.contains("Received SUBSCRIBE from copperhold-bench"), "{log}");
}

#[test]
fn a_wrong_address_or_name_says_what_was_expected() {
    assert_eq!(mqtt::broker("brew.example"), Ok(("brew.example".to_owned(), mqtt::PORT)));
    assert_eq!(mqtt::broker("10.0.0.5:1884"), Ok(("10.0.0.5".to_owned(), 1884)));
    for wrong in ["", ":1883", "host:", "host:0", "host:70000", "mqtt://host", "a host"] {
        let error = mqtt::broker(wrong).expect_err(wrong);
        assert!(error.contains("HOST:PORT"), "{error}");
    }
    assert_eq!(mqtt::device("shed-1"), Ok("shed-1".to_owned()));
    for wrong in ["", "a/b", "#", "+", "brew house", "x123456789012345678901234567890123"] {
        assert!(mqtt::device(wrong).is_err(), "{wrong:?}");
    }
}

#[test]
fn the_program_tells_a_broker_and_the_broker_says_when_it_was_killed() {
    let broker = Broker::start();
    let address = format!("127.0.0.1:{}", broker.port);
    let mut watch = Watched::start(["--rehearse", "--speed", "60", "--mqtt", &address]);
    let is = |word: &'static str| {
        move |heard: &[Heard]| {
            heard.iter().rfind(|m| m.topic == "copperhold/rehearsal/availability").is_some_and(|m| m.payload == word)
        }
    };
    let heard = broker.hear_until("up", |heard| is("online")(heard) && heard.iter().any(|m| m.topic.ends_with("rehearsal/state")));
    let state = heard.iter().rfind(|m| m.topic == "copperhold/rehearsal/state").expect("a state");
    let state: serde_json::Value = serde_json::from_str(&state.payload).expect("JSON");
    assert_eq!(state["source"], "rehearsal");
    assert!(state["mash_tun_temperature"].as_f64().is_some_and(|c| (0.0..100.0).contains(&c)), "{state}");
    watch.kill();
    broker.hear_until("gone", is("offline"));
}

#[test]
fn the_metrics_page_has_its_media_type_and_keeps_the_gates_rules() {
    let watch = Watched::start(["--rehearse", "--speed", "60"]);
    let (status, head, body) = watch.page.get("/metrics", "");
    let head = head.to_ascii_lowercase();
    assert_eq!(status, 200);
    assert!(head.contains("content-type: application/openmetrics-text; version=1.0.0; charset=utf-8\r\n"), "{head}");
    assert!(head.contains("nosniff") && head.contains("no-store"), "{head}");
    assert_eq!(parsed(&body).get("copperhold_source_info|kind=rehearsal"), Some(&1.0));
    for host in ["evil.example".to_owned(), format!("evil.example:{}", watch.page.0.port())] {
        let (status, _, body) = watch.page.raw(&format!("GET /metrics HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"));
        assert_eq!(status, 403, "{host}");
        assert!(!body.contains("copperhold_"), "{body}");
    }
    assert_eq!(watch.page.get("/metrics", "Origin: http://evil.example\r\n").0, 403);
    assert_eq!(watch.page.get("/metrics", "Sec-Fetch-Site: cross-site\r\n").0, 403);
}
