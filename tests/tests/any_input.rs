//! T9: whatever comes in, in whatever order, at whatever time, to the whole controller with water in its vessels.
//!
//! A failure prints its seed and the shortest run of inputs that still fails. `COPPERHOLD_SEED` sets the seed; `COPPERHOLD_LONG=yes` runs a
//! thousand times as many ticks.

use copperhold_core::fast::{Outputs, Selector};
use copperhold_core::heat::Demand;
use copperhold_core::probe::{ProbeFault, Reading};
use copperhold_core::sheet::Step;
use copperhold_core::units::{Celsius, Duty, Instant, Litres, Span};
use copperhold_core::vessel::{Element, PerVessel, Pumps, Vessel};
use copperhold_tests::bench::{Bench, c, sheet};
use proptest::prelude::*;
use proptest::test_runner::{RngAlgorithm, TestRng, TestRunner};
use std::cell::Cell;

/// Something that happens to a controller.
#[derive(Debug, Clone)]
enum Act {
    /// Ticks, all the same time apart.
    Ticks(u8, i64),
    StopLoop(bool),
    Key(bool),
    Arm(bool),
    Acknowledge(bool),
    Selector(Selector),
    /// A probe gives this whatever its vessel does.
    Lie(Vessel, Reading),
    /// A probe reads its vessel again.
    Truth(Vessel),
    Demand(Vessel, Demand),
    Sheet(Vec<Step>),
    Answer,
    Skip,
    Pause(bool),
    StopSheet,
    Pumps(bool),
    /// Every plug pushed home and the whole arming sequence, so that enough of a run is spent armed.
    ArmProperly,
}

fn vessel() -> impl Strategy<Value = Vessel> {
    prop_oneof![Just(Vessel::LiquorTank), Just(Vessel::MashTun), Just(Vessel::BoilKettle)]
}

fn celsius() -> impl Strategy<Value = Celsius> {
    prop_oneof![4 => (0..110_000).prop_map(c), 1 => any::<i32>().prop_map(c)]
}

fn duty() -> impl Strategy<Value = Duty> {
    prop_oneof![(0..=10_000_u32).prop_map(Duty::from_basis_points), Just(Duty::FULL)]
}

fn demand() -> impl Strategy<Value = Demand> {
    prop_oneof![1 => Just(Demand::Off), 3 => celsius().prop_map(Demand::Hold), 3 => duty().prop_map(Demand::Percent)]
}

fn reading() -> impl Strategy<Value = Reading> {
    prop_oneof![4 => celsius().prop_map(Ok), 1 => (0..ProbeFault::ALL.len()).prop_map(|at| Err(ProbeFault::ALL[at]))]
}

fn span() -> impl Strategy<Value = Span> {
    prop_oneof![4 => (0..600_u64).prop_map(Span::from_secs), 1 => any::<u64>().prop_map(Span::from_micros)]
}

fn step() -> impl Strategy<Value = Step> {
    let litres = || any::<i32>().prop_map(Litres::from_millilitres);
    prop_oneof![
        (litres(), celsius()).prop_map(|(fill, to)| Step::HeatStrike { fill, to }),
        (litres(), litres()).prop_map(|(strike, refill)| Step::DoughIn { strike, refill }),
        (celsius(), span()).prop_map(|(at, lasts)| Step::Rest { at, lasts }),
        (celsius(), span()).prop_map(|(at, lasts)| Step::MashOut { at, lasts }),
        (litres(), celsius(), any::<bool>()).prop_map(|(water, at, hold)| Step::Sparge { water, at, hold }),
        Just(Step::BringToBoil),
        (duty(), span(), proptest::collection::vec(span(), 0..4)).prop_map(|(duty, lasts, additions)| Step::Boil {
            duty,
            lasts,
            additions: additions.into_iter().collect()
        }),
        Just(Step::KnockOut),
        span().prop_map(|lasts| Step::Whirlpool { lasts }),
        celsius().prop_map(|to| Step::Chill { to }),
    ]
}

fn micros() -> impl Strategy<Value = i64> {
    prop_oneof![
        30 => Just(10_000),
        6 => 1..1_000_000_i64,
        1 => Just(0),
        1 => -10_000_000..0_i64,
        1 => 1_000_000..20_000_000_i64,
        1 => any::<i64>(),
    ]
}

fn act() -> impl Strategy<Value = Act> {
    let mostly_on = || prop_oneof![3 => Just(true), 1 => Just(false)];
    prop_oneof![
        12 => (1..=200_u8, micros()).prop_map(|(n, us)| Act::Ticks(n, us)),
        1 => mostly_on().prop_map(Act::StopLoop),
        1 => mostly_on().prop_map(Act::Key),
        2 => any::<bool>().prop_map(Act::Arm),
        2 => any::<bool>().prop_map(Act::Acknowledge),
        1 => prop_oneof![
            Just(Selector::Auto),
            Just(Selector::Only(Element::LiquorTank)),
            Just(Selector::Only(Element::BoilKettle))
        ]
        .prop_map(Act::Selector),
        1 => (vessel(), reading()).prop_map(|(vessel, reading)| Act::Lie(vessel, reading)),
        2 => vessel().prop_map(Act::Truth),
        4 => (vessel(), demand()).prop_map(|(vessel, demand)| Act::Demand(vessel, demand)),
        1 => proptest::collection::vec(step(), 0..6).prop_map(Act::Sheet),
        1 => Just(Act::Answer),
        1 => Just(Act::Skip),
        1 => any::<bool>().prop_map(Act::Pause),
        1 => Just(Act::StopSheet),
        1 => any::<bool>().prop_map(Act::Pumps),
        5 => Just(Act::ArmProperly),
    ]
}

/// An independent idea of arming: what the person at the panel has done since the last reset, stop or turn of the key.
#[derive(Debug, Default)]
struct Person {
    key_was_off: bool,
    button_was_up: bool,
    has_pressed: bool,
}

/// Ten litres in each vessel on 5.5 kW: they climb 0.13 K/s, lose a little, and the kettle boils at 100 degrees Celsius.
#[derive(Debug)]
struct Water {
    truth_c: PerVessel<f64>,
    lies: PerVessel<Option<Reading>>,
    has_lied: PerVessel<bool>,
}

impl Water {
    fn new(start_c: f64) -> Water {
        Water { truth_c: PerVessel::build(|_| start_c), lies: PerVessel::default(), has_lied: PerVessel::default() }
    }

    fn pass(&mut self, seconds: f64, element: Option<Element>) {
        // A processor that does not tick for longer than this is reset by its watchdog, with its outputs off.
        let on_s = seconds.min(0.6);
        for vessel in Vessel::ALL {
            let heated = element.is_some_and(|element| element.vessel() == vessel);
            let truth_c = self.truth_c.get_mut(vessel);
            let rise = if heated { 0.1316 * on_s } else { 0.0 };
            let fall = (*truth_c - 20.0) * (1.0 - (-seconds / 20_000.0).exp());
            *truth_c = (*truth_c + rise - fall).min(100.0);
        }
    }

    fn reading(&self, vessel: Vessel) -> Reading {
        self.lies.get(vessel).unwrap_or_else(|| Ok(c((*self.truth_c.get(vessel) * 1_000.0) as i32)))
    }
}

/// A bench, its water, a watcher, and how much of the run was worth watching.
struct Watched {
    bench: Bench,
    water: Water,
    outputs: Outputs,
    person: Person,
    ticks: u64,
    heated: u64,
}

impl Watched {
    fn tick(&mut self, us: i64) -> Result<(), TestCaseError> {
        let micros = self.bench.now.as_micros().saturating_add_signed(us);
        let now = Instant::from_micros(micros);
        let seconds = now.since(self.bench.now).unwrap_or_default().as_micros() as f64 * 1e-6;
        self.bench.now = now;
        self.water.pass(seconds, self.outputs.element);
        self.bench.inputs.probes = PerVessel::build(|vessel| self.water.reading(vessel));
        self.ticks += 1;
        self.watch_person();
        let outputs = self.bench.controller.tick(self.bench.now, &self.bench.inputs);
        self.outputs = outputs;
        let due = self.bench.controller.next_due(self.bench.now);
        prop_assert!(due > self.bench.now || self.bench.now == Instant::from_micros(u64::MAX));
        self.check(&outputs)
    }

    fn watch_person(&mut self) {
        let switches = self.bench.inputs.switches;
        let person = &mut self.person;
        if !switches.stop_loop || self.bench.controller.supervisor().guard().latch().is_some() {
            *person = Person::default();
        } else if !switches.key {
            *person = Person { key_was_off: true, ..Person::default() };
        } else if person.key_was_off {
            person.has_pressed |= person.button_was_up && switches.arm;
            person.button_was_up |= !switches.arm;
        }
    }

    fn check(&mut self, outputs: &Outputs) -> Result<(), TestCaseError> {
        // The board's two lines.
        let tank = outputs.element == Some(Element::LiquorTank);
        let kettle = outputs.element == Some(Element::BoilKettle);
        prop_assert!(!(tank && kettle), "two elements: {outputs:?}");
        let switches = self.bench.inputs.switches;
        let tripped = self.bench.trip().is_some();
        if outputs.element.is_some() {
            self.heated += 1;
            prop_assert!(outputs.contactor && outputs.armed && outputs.grant == outputs.element, "{outputs:?}");
            prop_assert!(outputs.grant.is_none_or(|grant| switches.selector.allows(grant)), "{outputs:?} {switches:?}");
        }
        if outputs.contactor || outputs.armed || outputs.pumps != Pumps::default() {
            prop_assert!(switches.stop_loop && switches.key && !tripped, "{outputs:?} with {switches:?}, tripped {tripped}");
            prop_assert!(self.person.has_pressed, "{outputs:?}, but the person only did {:?}", self.person);
        }
        let settings = self.bench.controller.supervisor().settings();
        for vessel in [Vessel::LiquorTank, Vessel::BoilKettle].into_iter().filter(|&vessel| !*self.water.has_lied.get(vessel)) {
            // Two seconds of patience, a sample of the filter, a late tick.
            let (limit_c, truth_c) = (f64::from(settings.limit(vessel).milli()) * 1e-3, *self.water.truth_c.get(vessel));
            prop_assert!(truth_c < limit_c + 1.0, "{vessel:?} at {truth_c} with a probe that never lied");
        }
        prop_assert!(outputs.armed || (outputs.grant.is_none() && outputs.pumps == Pumps::default()), "{outputs:?}");
        Ok(())
    }

    fn act(&mut self, act: Act) -> Result<(), TestCaseError> {
        let supervisor = self.bench.controller.supervisor_mut();
        let switches = &mut self.bench.inputs.switches;
        match act {
            Act::Ticks(n, us) => {
                for _ in 0..n {
                    self.tick(us)?;
                }
            }
            Act::StopLoop(closed) => switches.stop_loop = closed,
            Act::Key(on) => switches.key = on,
            Act::Arm(down) => switches.arm = down,
            Act::Acknowledge(down) => switches.acknowledge = down,
            Act::Selector(selector) => switches.selector = selector,
            Act::Lie(vessel, reading) => {
                *self.water.lies.get_mut(vessel) = Some(reading);
                *self.water.has_lied.get_mut(vessel) = true;
            }
            Act::Truth(vessel) => *self.water.lies.get_mut(vessel) = None,
            Act::Demand(vessel, demand) => {
                let _refused_or_not = supervisor.demand(vessel, demand);
            }
            Act::Sheet(steps) => supervisor.start(sheet(steps)),
            Act::StopSheet => supervisor.stop_sheet(),
            Act::Pumps(on) => supervisor.pump(Pumps { liquor: on, mash: on, wort: on }),
            Act::Answer | Act::Skip | Act::Pause(_) => {
                if let Some(sequencer) = supervisor.sequencer_mut() {
                    match act {
                        Act::Skip => sequencer.skip(),
                        Act::Pause(paused) => sequencer.pause(paused),
                        _ => {
                            if let Some(prompt) = sequencer.asked() {
                                sequencer.answer(prompt);
                            }
                        }
                    }
                }
            }
            Act::ArmProperly => {
                self.water.lies = PerVessel::default();
                for (key, arm, acknowledge, ticks) in [
                    (true, false, false, 30),
                    (true, false, true, 30),
                    (false, false, false, 30),
                    (true, false, false, 2),
                    (true, true, false, 105),
                ] {
                    let switches = &mut self.bench.inputs.switches;
                    (switches.stop_loop, switches.key, switches.arm, switches.acknowledge) = (true, key, arm, acknowledge);
                    for _ in 0..ticks {
                        self.tick(10_000)?;
                    }
                }
            }
        }
        Ok(())
    }
}

/// Ticks in all, and with an element on.
fn run(start_c: f64, acts: Vec<Act>) -> Result<(u64, u64), TestCaseError> {
    let (bench, water) = (Bench::new(), Water::new(start_c));
    let mut watched = Watched { bench, water, outputs: Outputs::default(), person: Person::default(), ticks: 0, heated: 0 };
    for act in acts {
        watched.act(act)?;
    }
    Ok((watched.ticks, watched.heated))
}

/// A hundred random runs; the same seed gives the same runs.
fn campaign(seed: u64) -> (u64, u64) {
    let mut bytes = [0; 32];
    bytes[..8].copy_from_slice(&seed.to_le_bytes());
    let config = ProptestConfig { cases: 100, failure_persistence: None, max_shrink_iters: 1_000, ..ProptestConfig::default() };
    let mut runner = TestRunner::new_with_rng(config, TestRng::from_seed(RngAlgorithm::ChaCha, &bytes));
    let (ticks, heated) = (Cell::new(0), Cell::new(0));
    let strategy = (15.0..89.0_f64, proptest::collection::vec(act(), 1..120));
    let result = runner.run(&strategy, |(start_c, acts)| {
        let (all, on) = run(start_c, acts)?;
        ticks.set(ticks.get() + all);
        heated.set(heated.get() + on);
        Ok(())
    });
    if let Err(failure) = result {
        panic!("COPPERHOLD_SEED={seed}: {failure}");
    }
    (ticks.get(), heated.get())
}

/// The seed asked for, or one from the clock.
fn first_seed() -> u64 {
    if let Ok(seed) = std::env::var("COPPERHOLD_SEED") {
        return seed.parse().expect("COPPERHOLD_SEED is a number");
    }
    let now = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
    now.map_or(1, |now| u64::from(now.subsec_nanos()) ^ now.as_secs())
}

#[test]
fn t9_no_input_sequence_gives_two_elements_or_heat_without_a_person_or_a_panic() {
    let long = std::env::var("COPPERHOLD_LONG").is_ok_and(|long| long == "yes");
    let least = if long { 1_000_000_000 } else { 1_000_000 };
    let first = first_seed();
    let (mut ticks, mut heated) = (0_u64, 0_u64);
    for seed in (0..100_000).map(|n| first.wrapping_add(n)) {
        let (all, on) = campaign(seed);
        (ticks, heated) = (ticks + all, heated + on);
        if long {
            // A run that is cut short has still shown so many.
            eprintln!("{ticks} ticks, {heated} of them with an element on, seed {seed}");
        }
        if ticks >= least {
            break;
        }
    }
    println!("{ticks} ticks, {heated} of them with an element on, seeds from {first}");
    assert!(ticks >= least && heated > ticks / 50, "{heated} of {ticks} ticks with an element on are too few to watch");
}
