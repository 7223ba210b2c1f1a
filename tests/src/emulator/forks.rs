//! States of an emulated controller to come back to, and steps of single instructions.

use super::Emulator;
use copperhold_core::wire::Framer;
use serde_json::json;

/// A state to come back to.
#[derive(Debug, Clone)]
pub struct Saved {
    name: String,
    framer: Framer,
    session: u32,
    sequence: u32,
}

/// Where the processor stands, between two instructions.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Time since the start, s.
    pub t_s: f64,
    /// The exception that is being handled; 0 for the main loop.
    pub exception: u32,
    /// The function that the program counter is in.
    pub symbol: String,
    /// Lines that are high.
    pub high: Vec<String>,
}

impl Emulator {
    /// Writes the present state down.
    pub fn save(&mut self, name: &str) -> Saved {
        self.call(json!({"cmd": "save", "name": name}));
        Saved { name: name.to_owned(), framer: self.framer.clone(), session: self.session, sequence: self.sequence }
    }

    /// Goes back to a state.
    pub fn restore(&mut self, saved: &Saved) {
        self.call(json!({"cmd": "restore", "name": saved.name}));
        (self.framer, self.session, self.sequence) = (saved.framer.clone(), saved.session, saved.sequence);
    }

    /// Runs as many instructions; with an exception's number, as many of its handler's.
    ///
    /// # Panics
    /// They do not come.
    pub fn step(&mut self, count: u32, exception: Option<u32>) -> Place {
        let answer = self.call(json!({"cmd": "step", "count": count, "exception": exception}));
        let lines = answer["lines"].as_object().expect("lines");
        Place {
            t_s: answer["t_ns"].as_f64().expect("a time") * 1e-9,
            exception: answer["exception"].as_u64().expect("a number") as u32,
            symbol: answer["symbol"].as_str().expect("a name").to_owned(),
            high: lines.iter().filter(|(_, level)| **level == true).map(|(name, _)| name.clone()).collect(),
        }
    }
}
