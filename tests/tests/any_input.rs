//! T9: whatever comes in, in whatever order, at whatever time. Random tests print the case that failed, shrunk, and keep it;
//! `PROPTEST_RNG_SEED` sets the seed, `PROPTEST_CASES` the number of cases.

use copperhold_core::fast::{Outputs, Selector};
use copperhold_core::heat::Demand;
use copperhold_core::probe::{ProbeFault, Reading};
use copperhold_core::sheet::Step;
use copperhold_core::units::{Celsius, Duty, Instant, Litres, Span};
use copperhold_core::vessel::{Element, Pumps, Vessel};
use copperhold_tests::bench::{Bench, c, sheet};
use proptest::prelude::*;

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
    Probe(Vessel, Reading),
    Demand(Vessel, Demand),
    Sheet(Vec<Step>),
    Answer,
    Skip,
    Pause(bool),
    StopSheet,
    Pumps(bool),
    /// The whole arming sequence, so that enough of a run is spent armed.
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
        (litres(), celsius()).prop_map(|(water, at)| Step::Sparge { water, at }),
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
        8 => Just(10_000),
        4 => 1..1_000_000_i64,
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
        2 => (vessel(), reading()).prop_map(|(vessel, reading)| Act::Probe(vessel, reading)),
        4 => (vessel(), demand()).prop_map(|(vessel, demand)| Act::Demand(vessel, demand)),
        1 => proptest::collection::vec(step(), 0..6).prop_map(Act::Sheet),
        1 => Just(Act::Answer),
        1 => Just(Act::Skip),
        1 => any::<bool>().prop_map(Act::Pause),
        1 => Just(Act::StopSheet),
        1 => any::<bool>().prop_map(Act::Pumps),
        3 => Just(Act::ArmProperly),
    ]
}

/// An independent idea of arming: what the person at the panel has done since the last reset, stop or turn of the key.
#[derive(Debug, Default)]
struct Person {
    key_was_off: bool,
    button_was_up: bool,
    has_pressed: bool,
}

/// A bench, a watcher, and how much of the run was worth watching.
struct Watched {
    bench: Bench,
    person: Person,
    heated: u32,
}

impl Watched {
    fn tick(&mut self, us: i64) -> Result<(), TestCaseError> {
        let micros = self.bench.now.as_micros().saturating_add_signed(us);
        self.bench.now = Instant::from_micros(micros);
        self.watch_person();
        let outputs = self.bench.controller.tick(self.bench.now, &self.bench.inputs);
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
            Act::Probe(vessel, reading) => *self.bench.inputs.probes.get_mut(vessel) = reading,
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

fn run(acts: Vec<Act>) -> Result<u32, TestCaseError> {
    let mut watched = Watched { bench: Bench::new(), person: Person::default(), heated: 0 };
    for act in acts {
        watched.act(act)?;
    }
    Ok(watched.heated)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    #[test]
    fn t9_no_input_sequence_gives_two_elements_or_heat_without_a_person_or_a_panic(acts in proptest::collection::vec(act(), 1..120)) {
        run(acts)?;
    }
}

#[test]
fn t9_random_runs_do_heat_so_the_watcher_has_something_to_watch() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    let mut runner = TestRunner::deterministic();
    let acts = proptest::collection::vec(act(), 120);
    let heated = (0..40).filter(|_| run(acts.new_tree(&mut runner).unwrap().current()).unwrap() > 0).count();
    assert!(heated >= 10, "only {heated} of 40 runs had an element on at any time");
}
