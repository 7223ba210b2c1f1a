//! Faults by the dozen on the image that is flashed: each run goes back to the same working controller, lets it run to an instruction drawn at
//! random, and does something to it there. Counts, seeds and worst times are printed; `COPPERHOLD_LONG=yes` runs ten times as many.

mod contacts;
mod hangs;
mod memory;
mod pads;
mod people;
mod resets;

use crate::support::heating;
use copperhold::plant::rng::Pcg;
use copperhold_tests::emulator::{Emulator, Place, Report, Saved};
use std::collections::BTreeMap;

/// About the instructions of two control periods, in which every task has its turns.
const SPAN: u32 = 250_000;

/// As many as the default run has, or ten times as many.
pub fn many(default: u32) -> u32 {
    if std::env::var("COPPERHOLD_LONG").is_ok_and(|long| long == "yes") { 10 * default } else { default }
}

/// What a controller does when the fault comes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Phase {
    /// Armed, nothing asked for.
    Idle,
    /// The tank at full power.
    Full,
    /// The tank near its target, by bursts; the mash pump runs.
    Bursts,
}

impl Phase {
    pub const HEATING: [Phase; 2] = [Phase::Full, Phase::Bursts];
    pub const ALL: [Phase; 3] = [Phase::Idle, Phase::Full, Phase::Bursts];
}

/// One row's injections.
pub struct Campaign {
    pub emulator: Emulator,
    pub rng: Pcg,
    row: &'static str,
    saved: BTreeMap<Phase, Saved>,
    count: u32,
    worst_s: f64,
    /// How often in which phase, and in which exception or task.
    places: BTreeMap<String, u32>,
}

impl Campaign {
    /// A controller for each phase.
    pub fn new(row: &'static str, seed: u64) -> Campaign {
        let (mut emulator, _) = heating();
        let full = emulator.save("full");
        // Its second row, 60 percent; then back home, menu, fifth row, second row: mash pump.
        emulator.turn_knob(1);
        emulator.press_knob(1.0);
        emulator.turn_knob(2);
        emulator.press_knob(0.1);
        emulator.press_knob(0.1);
        emulator.turn_knob(4);
        emulator.press_knob(0.1);
        emulator.turn_knob(1);
        emulator.press_knob(1.0);
        let rises = emulator.run(1.0).line("tank_element").rises;
        let report = emulator.run(5.0);
        assert!(report.line("mash_pump").level && report.line("tank_element").rises > rises + 3, "bursts: {:?}", report.lines);
        let bursts = emulator.save("bursts");
        emulator.contact("key", false);
        emulator.run(0.5);
        let report = emulator.arm();
        assert!(report.line("contactor").level && !report.line("tank_element").level);
        let idle = emulator.save("idle");
        let saved = BTreeMap::from([(Phase::Idle, idle), (Phase::Full, full), (Phase::Bursts, bursts)]);
        println!("{row}: seed {seed}");
        Campaign { emulator, rng: Pcg::new(seed, 0), row, saved, count: 0, worst_s: 0.0, places: BTreeMap::new() }
    }

    pub fn below(&mut self, bound: u32) -> u32 {
        self.rng.next_u32() % bound
    }

    pub fn one_of<T: Copy>(&mut self, list: &[T]) -> T {
        list[self.below(list.len() as u32) as usize]
    }

    /// Back to a phase, without moving on.
    pub fn back(&mut self, phase: Phase) {
        self.emulator.restore(&self.saved[&phase]);
    }

    /// A phase, and an instruction of the next half second.
    pub fn somewhere(&mut self, phases: &[Phase]) -> Place {
        let phase = self.one_of(phases);
        self.back(phase);
        let count = self.below(SPAN);
        let place = self.emulator.step(count, None);
        self.note(phase, &place);
        place
    }

    /// A phase, and an instruction of an exception's handler.
    pub fn inside(&mut self, phases: &[Phase], exception: u32, within: u32) -> Place {
        let phase = self.one_of(phases);
        self.back(phase);
        let count = self.below(within);
        let place = self.emulator.step(count, Some(exception));
        assert_eq!(place.exception, exception);
        self.note(phase, &place);
        place
    }

    fn note(&mut self, phase: Phase, place: &Place) {
        let context = match place.exception {
            0 => "main loop".to_owned(),
            interrupt => format!("interrupt {}", interrupt - 16),
        };
        *self.places.entry(format!("{phase:?}, {context}")).or_default() += 1;
    }

    /// Every line is low by now and none rises again; gives how long it took since the fault.
    pub fn low(&mut self, fault: &Place, report: &Report, limit_s: f64) {
        assert!(report.all_low(), "{}: {fault:?}: {:?}", self.row, report.lines);
        // What was low already, at the fault, needed no time.
        let last = fault.high.iter().map(|name| report.line(name).fell_s).fold(fault.t_s, f64::max);
        self.took(fault, last - fault.t_s, limit_s);
    }

    /// A run that was in order after `seconds`.
    pub fn took(&mut self, fault: &Place, seconds: f64, limit_s: f64) {
        assert!(seconds <= limit_s, "{}: {seconds} s after {fault:?}", self.row);
        self.worst_s = self.worst_s.max(seconds);
        self.count += 1;
    }

    /// Prints the row.
    pub fn done(self, least: u32, what: &str) {
        let Campaign { row, count, worst_s, places, .. } = self;
        // With no failure in n, the 95 % upper bound is 3/n.
        println!(
            "{row}: {count} of {count} {what}; worst {:.3} ms; fewer than {:.1} % fail",
            worst_s * 1e3,
            300.0 / f64::from(count)
        );
        for (place, times) in places {
            println!("  {times:>4} {place}");
        }
        assert!(count >= least, "{row}: {count}");
    }
}

/// Rises of all lines since the start.
pub fn rises(report: &Report) -> u64 {
    report.lines.values().map(|line| line.rises).sum()
}
