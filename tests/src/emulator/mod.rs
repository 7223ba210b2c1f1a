//! The image that is flashed, in an emulator, in lock-step with a test.
//!
//! Node with the locked package in `tests/emulator` runs the chip and the parts around it; this end sets what the parts see, lets time
//! pass and looks at the lines. What a test needs it installs (`npm ci`, the Rust target) or fails.

mod forks;
mod guide;
mod image;

pub use forks::{Place, Saved};
pub use guide::pins;
pub use image::{Image, folder, image, install};

use copperhold_core::wire::message::{Telemetry, ToDevice, ToHost};
use copperhold_core::wire::{Framer, encode};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

/// One line to the power side, as seen over the last run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineReport {
    /// High now.
    pub level: bool,
    /// How long it was high, s.
    pub on_s: f64,
    /// How often it has risen since the start.
    pub rises: u64,
    /// When it last fell, s.
    pub fell_s: f64,
}

/// What happened over the last run.
#[derive(Debug, Clone)]
pub struct Report {
    /// Time since the start, s.
    pub t_s: f64,
    /// Lines by name.
    pub lines: BTreeMap<String, LineReport>,
    /// Times both elements were high together since the start.
    pub both: u64,
    /// Shortest time between one element's fall and the other's rise since the start, s.
    pub gap_s: Option<f64>,
    /// Resets by the watchdog since the start.
    pub resets: u64,
    /// Conversions started on the one-wire bus since the start.
    pub conversions: u64,
    /// Messages over the UART.
    pub messages: Vec<ToHost>,
}

impl Report {
    /// A line by its name in the wiring guide.
    ///
    /// # Panics
    /// There is none of that name.
    pub fn line(&self, name: &str) -> LineReport {
        *self.lines.get(name).unwrap_or_else(|| panic!("no line is called {name}"))
    }

    /// Every line is low.
    pub fn all_low(&self) -> bool {
        self.lines.values().all(|line| !line.level)
    }

    /// The latest telemetry.
    pub fn telemetry(&self) -> Option<&Telemetry> {
        self.messages.iter().rev().find_map(|message| match message {
            ToHost::Telemetry(telemetry) => Some(telemetry),
            ToHost::Hello { .. } | ToHost::Answer { .. } | ToHost::Happened { .. } => None,
        })
    }
}

/// An emulated controller.
pub struct Emulator {
    child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
    framer: Framer,
    session: u32,
    sequence: u32,
    unreadable: u32,
}

impl Emulator {
    /// Powers on the image. `flash`: what is stored, by address.
    ///
    /// # Panics
    /// The image or the emulator cannot be built or started.
    pub fn boot(flash: &[(u32, Vec<u8>)]) -> Emulator {
        let image = image();
        let mut child = Command::new("node")
            .arg(folder().join("run.mjs"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("node runs");
        let to = child.stdin.take().expect("piped");
        let from = BufReader::new(child.stdout.take().expect("piped"));
        let mut emulator = Emulator { child, to, from, framer: Framer::new(), session: 0, sequence: 0, unreadable: 0 };
        let flash: Vec<Value> = flash.iter().map(|(at, bytes)| json!({"at": at, "hex": hex(bytes)})).collect();
        emulator.call(json!({"cmd": "boot", "elf": image.elf, "pins": pins(), "flash": flash}));
        emulator
    }

    /// Sends a command; gives the answer.
    ///
    /// # Panics
    /// The emulator reports anything wrong: a warning in its log, an access that hardware would not stand, a bad command.
    pub fn call(&mut self, command: Value) -> Value {
        self.try_call(&command).unwrap_or_else(|error| panic!("emulator: {error}"))
    }

    /// Sends a command; gives the answer, or what the emulator has to report.
    fn try_call(&mut self, command: &Value) -> Result<Value, String> {
        writeln!(self.to, "{command}").and_then(|()| self.to.flush()).expect("the emulator listens");
        let mut line = String::new();
        self.from.read_line(&mut line).expect("the emulator answers");
        let answer: Value = serde_json::from_str(&line).unwrap_or_else(|error| panic!("{error}: {line:?}"));
        match answer.get("error") {
            Some(error) => Err(error.to_string()),
            None => Ok(answer),
        }
    }

    /// Sets what the parts see: `contacts`, `spi`, `one_wire`, `adc`, `expander`, `sense` (the lines that are closed), `flow` (pulses a second), `fault`.
    pub fn set(&mut self, what: Value) {
        let Value::Object(mut command) = what else { panic!("an object") };
        command.insert("cmd".into(), "set".into());
        self.call(Value::Object(command));
    }

    /// Lets time pass.
    pub fn run(&mut self, seconds: f64) -> Report {
        self.run_with(seconds, &[])
    }

    /// Lets time pass, in a controller that was spoilt: it may leave its path, and that is no failure of the test.
    ///
    /// # Errors
    /// What the emulator reports. Only [`Emulator::restore`] makes sense then.
    pub fn try_run(&mut self, seconds: f64) -> Result<Report, String> {
        let answer = self.try_call(&json!({"cmd": "run", "ns": (seconds * 1e9).round()}))?;
        Ok(self.spoilt_report(&answer))
    }

    /// Lets time pass; `bytes` arrive over the UART at the start.
    pub fn run_with(&mut self, seconds: f64, bytes: &[u8]) -> Report {
        let answer = self.call(json!({"cmd": "run", "ns": (seconds * 1e9).round(), "uart": hex(bytes)}));
        self.report(&answer)
    }

    /// Sets what the parts see, as [`Emulator::set`] does, then lets time pass: one exchange instead of two.
    pub fn set_and_run(&mut self, what: &Value, seconds: f64) -> Report {
        let answer = self.call(json!({"cmd": "run", "ns": (seconds * 1e9).round(), "set": what}));
        self.report(&answer)
    }

    /// Lets as much time pass as these bytes take over the UART at its speed, one close behind the other.
    pub fn flood(&mut self, bytes: &[u8]) -> Report {
        // A start bit, eight bits and a stop bit.
        let apart = 10.0 * 1e9 / 115_200.0;
        let answer = self.call(json!({"cmd": "run", "ns": 0, "uart": hex(bytes), "apart": apart}));
        self.report(&answer)
    }

    fn report(&mut self, answer: &Value) -> Report {
        let before = self.unreadable;
        let report = self.spoilt_report(answer);
        assert_eq!(self.unreadable, before, "every whole frame holds a message of this version");
        report
    }

    fn spoilt_report(&mut self, answer: &Value) -> Report {
        let number = |value: &Value, key: &str| value[key].as_f64().unwrap_or_else(|| panic!("{key} in {value}"));
        let lines = answer["lines"].as_object().expect("lines").iter().map(|(name, line)| {
            let report = LineReport {
                level: line["level"].as_bool().expect("a level"),
                on_s: number(line, "on_ns") * 1e-9,
                rises: line["rises"].as_u64().expect("a count"),
                fell_s: number(line, "fell_ns") * 1e-9,
            };
            (name.clone(), report)
        });
        let lines = lines.collect();
        let messages = self.decode(&unhex(answer["uart"].as_str().expect("text")));
        Report {
            t_s: number(answer, "t_ns") * 1e-9,
            lines,
            both: answer["both"].as_u64().expect("a count"),
            gap_s: answer["gap_ns"].as_f64().map(|ns| ns * 1e-9),
            resets: answer["resets"].as_u64().expect("a count"),
            conversions: answer["conversions"].as_u64().expect("a count"),
            messages,
        }
    }

    fn decode(&mut self, bytes: &[u8]) -> Vec<ToHost> {
        let mut messages = Vec::new();
        for &byte in bytes {
            // A reset cuts a frame short: what is no frame is passed over.
            if let Some(Ok(frame)) = self.framer.push(byte) {
                self.session = frame.session;
                match postcard::from_bytes(&frame.message) {
                    Ok(message) => messages.push(message),
                    Err(_) => self.unreadable += 1,
                }
            }
        }
        messages
    }

    /// A message as a host would send it in the present session.
    ///
    /// # Panics
    /// The message is too long.
    pub fn frame(&mut self, message: &ToDevice) -> Vec<u8> {
        self.sequence += 1;
        let bytes = postcard::to_stdvec(message).expect("it encodes");
        encode(self.session, self.sequence, &bytes).expect("it fits").to_vec()
    }

    /// Whole frames so far whose content is no message: only a spoilt controller may send one.
    pub fn unreadable(&self) -> u32 {
        self.unreadable
    }

    /// The session number last heard.
    pub fn session(&self) -> u32 {
        self.session
    }

    /// The display's pixels: 128 columns of 8 pages, as its memory has them.
    pub fn screen(&mut self) -> Vec<u8> {
        let answer = self.call(json!({"cmd": "screen"}));
        assert_eq!(answer["on"], true, "the display was never switched on");
        unhex(answer["hex"].as_str().expect("text"))
    }

    /// A contact's state.
    pub fn contact(&mut self, name: &str, closed: bool) {
        self.set(json!({"contacts": {name: closed}}));
    }

    /// Presses the knob for a time, then lets it go for a while.
    pub fn press_knob(&mut self, seconds: f64) -> Report {
        self.contact("knob_push", true);
        self.run(seconds);
        self.contact("knob_push", false);
        self.run(0.1)
    }

    /// Turns the knob by clicks, right or left.
    pub fn turn_knob(&mut self, clicks: i32) {
        let order = if clicks > 0 { ["knob_a", "knob_b"] } else { ["knob_b", "knob_a"] };
        for _ in 0..clicks.abs() {
            for closed in [true, false] {
                for name in order {
                    self.contact(name, closed);
                    self.run(0.02);
                }
            }
        }
    }

    /// Turns the key and holds the green button until it is armed.
    pub fn arm(&mut self) -> Report {
        self.set(json!({"contacts": {"stop_loop": true, "key": false, "button": false}}));
        self.run(0.5);
        self.contact("key", true);
        self.run(0.5);
        self.contact("button", true);
        self.run(1.5);
        self.contact("button", false);
        self.run(0.5)
    }
}

impl Drop for Emulator {
    fn drop(&mut self) {
        // The test is over; what the emulator was doing does not matter.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Bytes as text.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Text as bytes.
///
/// # Panics
/// It is not pairs of hexadecimal digits.
pub fn unhex(text: &str) -> Vec<u8> {
    (0..text.len()).step_by(2).map(|at| u8::from_str_radix(&text[at..at + 2], 16).expect("hexadecimal")).collect()
}
