//! `copperhold cosim` as another program meets it: the built binary on pipes, driven by a plant that is not ours.

use ode_solvers::{Dopri5, System, Vector4};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, ChildStdout, Command, ExitStatus, Stdio};

/// The running command.
struct Controller {
    child: Child,
    input: ChildStdin,
    output: BufReader<ChildStdout>,
}

impl Controller {
    fn start() -> Controller {
        let mut child = Command::new(env!("CARGO_BIN_EXE_copperhold"))
            .arg("cosim")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("it starts");
        let (input, output) = (child.stdin.take().expect("piped"), child.stdout.take().expect("piped"));
        Controller { child, input, output: BufReader::new(output) }
    }

    /// One raw line in, one line out.
    fn exchange(&mut self, line: &[u8]) -> Value {
        self.input.write_all(line).and_then(|()| self.input.write_all(b"\n")).and_then(|()| self.input.flush()).expect("it reads");
        let mut answer = String::new();
        self.output.read_line(&mut answer).expect("it answers");
        serde_json::from_str(&answer).unwrap_or_else(|error| panic!("{error}: {answer:?}"))
    }

    fn send(&mut self, line: &Value) -> Value {
        self.exchange(line.to_string().as_bytes())
    }

    /// Ends the input; whatever is still said, and the exit status.
    fn finish(mut self) -> (String, ExitStatus) {
        drop(self.input);
        let mut rest = String::new();
        std::io::Read::read_to_string(&mut self.output, &mut rest).expect("readable");
        (rest, self.child.wait().expect("it ends"))
    }

    /// Armed, with the tank at 20 C and full power given; the time of the last line.
    fn heating(&mut self) -> f64 {
        self.send(&json!({"t_s": 0.0, "probes_c": {"liquor_tank": 20.0}, "switches": {"stop_loop": true, "key": true}}));
        let mut t_s = 0.25;
        let mut answer = self.send(&json!({"t_s": t_s, "probes_c": {"liquor_tank": 20.0}, "commands": [
            {"arm": true}, {"demand": {"vessel": "liquor_tank", "hold_c": 71.0}}]}));
        assert_eq!(answer["refused"], json!([]), "{answer}");
        while answer["element"].is_null() && t_s < 5.0 {
            t_s += 0.25;
            answer = self.send(&good(t_s));
        }
        assert_eq!(answer["element"], "liquor_tank", "{answer}");
        t_s
    }
}

fn good(t_s: f64) -> Value {
    json!({"t_s": t_s, "probes_c": {"liquor_tank": 20.0}})
}

/// A kettle of 32 L under 5 kW: sheath, bulk with a wall loss that grows with temperature, the probe's place, the probe.
struct Kettle {
    element_w: f64,
}

const CAPACITY_J_PER_K: f64 = 32.0 * 4190.0;
const SHEATH_S: f64 = 6.0;
const MIXING_S: f64 = 14.0;
const PROBE_S: f64 = 11.0;

/// Heat leaving the sheath (W), bulk, place, probe (C).
impl System<f64, Vector4<f64>> for Kettle {
    fn system(&self, _: f64, y: &Vector4<f64>, dy: &mut Vector4<f64>) {
        let over_k = y[1] - 19.0;
        let loss_w = 4.5 * over_k + 0.06 * over_k * over_k;
        dy[0] = (self.element_w - y[0]) / SHEATH_S;
        dy[1] = (y[0] - loss_w) / CAPACITY_J_PER_K;
        dy[2] = (y[1] - y[2]) / MIXING_S;
        dy[3] = (y[2] - y[3]) / PROBE_S;
    }
}

#[test]
fn holds_71_c_on_a_plant_integrated_by_another_solver() {
    const STEP_S: f64 = 0.25;
    let mut controller = Controller::start();
    let mut state = Vector4::new(0.0, 16.0, 16.0, 16.0);
    let mut element_w = 0.0;
    let (mut highest_c, mut out_at_s, mut least_s) = (f64::MIN, 0.0, None);
    let ticks = (75.0 * 60.0 / STEP_S) as u32;
    for tick in 0..ticks {
        let t_s = f64::from(tick) * STEP_S;
        let mut line = json!({"t_s": t_s, "probes_c": {"liquor_tank": state[3], "mash_tun": null, "boil_kettle": 18.0}});
        match tick {
            0 => line["switches"] = json!({"stop_loop": true, "key": true}),
            1 => line["commands"] = json!([{"arm": true}, {"demand": {"vessel": "liquor_tank", "hold_c": 71.0}}]),
            _ => {}
        }
        let answer = controller.send(&line);
        assert_eq!(answer["t_s"], json!(t_s));
        assert_eq!((&answer["trips"], &answer["refused"]), (&json!([]), &json!([])), "{answer}");
        element_w = match answer["element"].as_str() {
            Some("liquor_tank") => 5000.0,
            None => 0.0,
            other => panic!("{other:?} was never asked for"),
        };
        let mut solver = Dopri5::new(Kettle { element_w }, 0.0, STEP_S, STEP_S, state, 1e-8, 1e-8);
        solver.integrate().expect("it integrates");
        state = *solver.y_out().last().expect("an end");
        highest_c = highest_c.max(state[1]);
        if (state[1] - 71.0).abs() > 0.3 {
            out_at_s = t_s;
        }
        least_s = least_s.or((state[1] >= 70.7).then_some(t_s));
    }
    let least_s: f64 = least_s.expect("it got there");
    assert!(highest_c <= 71.3, "the bulk went to {highest_c} C");
    assert!((state[1] - 71.0).abs() < 0.1, "the bulk ended at {} C", state[1]);
    assert!(out_at_s < 1.03 * least_s, "in the band for good only at {out_at_s} s, first there at {least_s} s");
    let (rest, status) = controller.finish();
    assert!(status.success() && rest.is_empty(), "{status} {rest:?}");
    assert!(element_w == 0.0 || element_w == 5000.0);
}

/// A probe that is lost in mid-heat takes the heat away within five seconds and latches; it stays off when the probe is back and a new demand comes.
#[test]
fn a_lost_probe_trips_and_stays_tripped() {
    let mut controller = Controller::start();
    let mut t_s = controller.heating();
    let lost_s = t_s;
    let mut answer = Value::Null;
    while t_s < lost_s + 10.0 {
        t_s += 0.25;
        answer = controller.send(&json!({"t_s": t_s, "probes_c": {"liquor_tank": null}}));
        assert!(t_s < lost_s + 5.0 || answer["element"].is_null(), "{answer}");
    }
    assert_eq!(
        (&answer["contactor"], &answer["armed"], answer["trips"].as_array().map(Vec::len)),
        (&json!(false), &json!(false), Some(1))
    );
    let trip = answer["trips"][0].clone();
    assert!(trip.as_str().is_some_and(|text| text.contains("liquor tank")), "{trip}");
    for again in 0..40 {
        t_s += 0.25;
        let mut line = good(t_s);
        if again == 4 {
            line["commands"] = json!([{"demand": {"vessel": "liquor_tank", "hold_c": 71.0}}]);
        }
        answer = controller.send(&line);
        assert_eq!(
            (&answer["element"], &answer["contactor"], &answer["trips"]),
            (&Value::Null, &json!(false), &json!([trip])),
            "{answer}"
        );
    }
}

/// An opened stop loop takes the element and the contactor away in the very step that tells of it.
#[test]
fn the_stop_loop_takes_the_heat_away_at_once() {
    let mut controller = Controller::start();
    let t_s = controller.heating();
    let mut line = good(t_s + 0.25);
    line["switches"] = json!({"stop_loop": false});
    let answer = controller.send(&line);
    assert_eq!(
        (&answer["element"], &answer["contactor"], &answer["armed"]),
        (&Value::Null, &json!(false), &json!(false)),
        "{answer}"
    );
    // Closing it again does not arm.
    for step in 2..40 {
        let mut line = good(t_s + 0.25 * f64::from(step));
        line["switches"] = json!({"stop_loop": true});
        let answer = controller.send(&line);
        assert_eq!((&answer["element"], &answer["contactor"]), (&Value::Null, &json!(false)), "{answer}");
    }
}

/// Every key of the interface and no other, with the types it is written down with.
#[test]
fn answers_have_the_keys_of_the_interface() {
    let mut controller = Controller::start();
    let t_s = controller.heating();
    let answer = controller.send(&good(t_s + 0.25));
    let mut keys: Vec<&String> = answer.as_object().expect("an object").keys().collect();
    keys.sort();
    assert_eq!(keys, ["armed", "contactor", "duty", "element", "refused", "t_s", "trips"]);
    assert_eq!(answer["duty"], json!({"liquor_tank": 1.0, "boil_kettle": 0.0}));
    assert!(answer["contactor"].is_boolean() && answer["armed"].is_boolean());
    assert!(answer["trips"].is_array() && answer["refused"].is_array());
}

#[test]
fn a_share_is_made_good_for_mains_that_are_measured_and_only_then() {
    let mut controller = Controller::start();
    let mut line = json!({"t_s": 0.0, "probes_c": {"boil_kettle": 60.0}, "switches": {"stop_loop": true, "key": true}, "commands": [
        {"arm": true}, {"demand": {"vessel": "boil_kettle", "percent": 60.0}}]});
    assert_eq!(controller.send(&line)["refused"], json!([]));
    // 60 % x (240/216)^2 = 74.07 %: what a line says holds for that line.
    for (n, (mains_v, share)) in
        [(None, 0.6), (Some(json!(216.0)), 0.7407), (Some(Value::Null), 0.6), (Some(json!(20)), 0.6)].into_iter().enumerate()
    {
        line = json!({"t_s": 1.0 + n as f64, "probes_c": {"boil_kettle": 60.0}});
        if let Some(mains_v) = mains_v {
            line["mains_v"] = mains_v;
        }
        let duty = controller.send(&line)["duty"]["boil_kettle"].as_f64().expect("a number");
        assert!((duty - share).abs() < 1e-4, "{line}: {duty}");
    }
}

/// Bad lines and the field that the answer must name. `T` stands for a time that follows the last line's.
const BAD: [(&str, &str); 26] = [
    ("{\"t_s\":T,\"probes_c\":{},\"mains_v\":\"low\"}", "mains_v"),
    ("{\"t_s\":T,\"probes_c\":{},\"mains_v\":-1}", "mains_v"),
    ("this is no JSON", "line"),
    ("[1,2]", "line"),
    ("\u{fffd}{", "line"),
    ("{\"probes_c\":{}}", "t_s"),
    ("{\"t_s\":\"soon\",\"probes_c\":{}}", "t_s"),
    ("{\"t_s\":0.0,\"probes_c\":{}}", "t_s"),
    ("{\"t_s\":-1,\"probes_c\":{}}", "t_s"),
    ("{\"t_s\":1e6,\"probes_c\":{}}", "t_s"),
    ("{\"t_s\":T}", "probes_c"),
    ("{\"t_s\":T,\"probes_c\":3}", "probes_c"),
    ("{\"t_s\":T,\"probes_c\":{\"liquor_tank\":\"hot\"}}", "probes_c.liquor_tank"),
    ("{\"t_s\":T,\"probes_c\":{\"liquor_tank\":1e9}}", "probes_c.liquor_tank"),
    ("{\"t_s\":T,\"probes_c\":{\"teapot\":20}}", "probes_c.teapot"),
    ("{\"t_s\":T,\"probes_c\":{},\"valves\":{}}", "valves"),
    ("{\"t_s\":T,\"probes_c\":{},\"switches\":{\"key\":1}}", "switches.key"),
    ("{\"t_s\":T,\"probes_c\":{},\"switches\":{\"lamp\":true}}", "switches.lamp"),
    ("{\"t_s\":T,\"probes_c\":{},\"commands\":{}}", "commands"),
    ("{\"t_s\":T,\"probes_c\":{},\"commands\":[{\"fly\":true}]}", "commands[0].fly"),
    ("{\"t_s\":T,\"probes_c\":{},\"commands\":[{\"arm\":false}]}", "commands[0].arm"),
    ("{\"t_s\":T,\"probes_c\":{},\"commands\":[{\"demand\":{\"vessel\":\"teapot\",\"off\":true}}]}", "commands[0].demand.vessel"),
    (
        "{\"t_s\":T,\"probes_c\":{},\"commands\":[{\"demand\":{\"vessel\":\"liquor_tank\",\"hold_c\":\"hot\"}}]}",
        "commands[0].demand.hold_c",
    ),
    (
        "{\"t_s\":T,\"probes_c\":{},\"commands\":[{\"demand\":{\"vessel\":\"liquor_tank\",\"percent\":101}}]}",
        "commands[0].demand.percent",
    ),
    (
        "{\"t_s\":T,\"probes_c\":{},\"commands\":[{\"demand\":{\"vessel\":\"liquor_tank\",\"off\":false}}]}",
        "commands[0].demand.off",
    ),
    ("{\"t_s\":T,\"probes_c\":{},\"commands\":[{\"arm\":true},{\"demand\":{\"vessel\":\"liquor_tank\"}}]}", "commands[1].demand"),
];

#[test]
fn every_kind_of_bad_line_is_answered_with_the_field_and_forgiven_once() {
    for (line, field) in BAD {
        let mut controller = Controller::start();
        let t_s = controller.heating();
        let answer = controller.exchange(line.replace('T', &(t_s + 0.25).to_string()).as_bytes());
        let error = answer["error"].as_str().unwrap_or_else(|| panic!("{line}: no error in {answer}"));
        assert!(error.starts_with(&format!("{field}:")), "{line}: {error}");
        // Nothing is said of the outputs: they are as they were.
        assert_eq!(answer.as_object().map(|object| object.len()), Some(1), "{answer}");
        let after = controller.send(&good(t_s + 0.5));
        assert_eq!((&after["element"], &after["armed"]), (&json!("liquor_tank"), &json!(true)), "after {line}: {after}");
    }
}

#[test]
fn a_line_that_is_not_utf_8_is_a_bad_line() {
    let mut controller = Controller::start();
    let answer = controller.exchange(b"{\"t_s\":\xff}");
    assert!(answer["error"].as_str().is_some_and(|error| error.starts_with("line:")), "{answer}");
}

#[test]
fn a_second_bad_line_in_a_row_switches_off_until_a_good_one() {
    let mut controller = Controller::start();
    let mut t_s = controller.heating();
    assert!(controller.exchange(b"{").get("element").is_none());
    for _ in 0..3 {
        let answer = controller.exchange(b"{");
        assert_eq!((&answer["element"], &answer["contactor"]), (&json!(null), &json!(false)), "{answer}");
        assert!(answer["error"].is_string());
    }
    t_s += 1.25;
    let answer = controller.send(&good(t_s));
    assert!(answer.get("error").is_none(), "a good line is understood again: {answer}");
    // The contactor may need a moment.
    let heats = (1..=12).any(|n| controller.send(&good(t_s + 0.25 * f64::from(n)))["element"] == "liquor_tank");
    assert!(heats, "heat comes back with good lines while armed");
}

/// At the longest step a bad line leaves two steps between good ones.
#[test]
fn one_bad_line_at_the_longest_step_is_forgiven() {
    let mut controller = Controller::start();
    let t_s = controller.heating();
    controller.send(&good(t_s + 1.0));
    controller.exchange(b"{");
    let answer = controller.send(&good(t_s + 3.0));
    assert_eq!((&answer["armed"], &answer["trips"]), (&json!(true), &json!([])), "{answer}");
}

#[test]
fn a_step_that_is_too_long_or_backwards_is_refused() {
    for wrong_s in [1.2, 0.0, -0.25, 0.002] {
        let mut controller = Controller::start();
        let t_s = controller.heating();
        let answer = controller.send(&good(t_s + wrong_s));
        assert!(answer["error"].as_str().is_some_and(|error| error.starts_with("t_s:")), "{wrong_s}: {answer}");
    }
}

#[test]
fn the_end_of_the_input_is_a_clean_exit() {
    let (rest, status) = Controller::start().finish();
    assert!(status.success() && rest.is_empty(), "{status}, {rest:?}");
    let mut heating = Controller::start();
    heating.heating();
    let (rest, status) = heating.finish();
    assert!(status.success() && rest.is_empty(), "{status}, {rest:?}");
}
