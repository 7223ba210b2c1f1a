//! The interlock, arming, the guard's latch and the lease together, in every state that any sequence of inputs can reach.
//!
//! Bounds: a dead time and a lease of three ticks, a settling time and a press of two; guard ticks of 2.5 s; at most two further causes
//! counted after a trip. Within them the search is exhaustive. Mutants of the step functions show that each rule bites.

mod gate;
mod machine;
mod mutants;
mod watch;

use copperhold_core::fast::{FastPath, LEASE, Lease, Switches};
use copperhold_core::guard::Trip;
use copperhold_core::interlock::Timing;
use copperhold_core::units::{Duty, Instant, Span};
use copperhold_core::vessel::{Element, Pumps};
use gate::{Gate, Spans, Steps};
use machine::{Input, Machine, Pace, Probes, SPANS, State, TICK, fresh_guard};
use stateright::{Checker, HasDiscoveries, Model, Property};
use watch::{Broken, Past, Person};

impl Model for Machine {
    type State = State;
    type Action = Input;

    fn init_states(&self) -> Vec<State> {
        vec![State {
            gate: Gate::RESET,
            guard: fresh_guard(),
            past: Past::default(),
            person: Person::default(),
            acknowledge_was_down: true,
            silent: SPANS.silence(),
            blind_for: Span::ZERO,
            broken: None,
        }]
    }

    fn actions(&self, state: &State, actions: &mut Vec<Input>) {
        if state.broken.is_some() {
            return;
        }
        actions.push(Input { stop_loop: true, key: true, arm: true, pace: Pace::Reset, control: None });
        let requests = [None, Some(Element::LiquorTank), Some(Element::BoilKettle)];
        for switches in 0..8_u8 {
            for pace in [Pace::Tick, Pace::Late, Pace::Stuck] {
                let (stop_loop, key, arm) = (switches & 1 != 0, switches & 2 != 0, switches & 4 != 0);
                let input = Input { stop_loop, key, arm, pace, control: None };
                actions.push(input);
                for acknowledge in [false, true] {
                    for request in requests {
                        actions.push(Input { control: Some((Probes::Fine, acknowledge, request)), ..input });
                    }
                    // Whatever is asked for, a guard that is not clear lets none of it through.
                    for probes in [Probes::Blind, Probes::Hot] {
                        actions.push(Input { control: Some((probes, acknowledge, Some(Element::BoilKettle))), ..input });
                    }
                }
            }
        }
    }

    fn next_state(&self, last: &State, input: Input) -> Option<State> {
        let mut state = last.clone();
        self.step(&mut state, &input);
        Some(state)
    }

    fn properties(&self) -> Vec<Property<Self>> {
        fn granted(state: &State, element: Element) -> bool {
            state.gate.line().grant == Some(element)
        }
        macro_rules! never {
            ($rule:literal, $broken:ident) => {
                Property::always($rule, |_: &Machine, s: &State| s.broken != Some(Broken::$broken))
            };
        }
        vec![
            never!("never two elements", TwoElements),
            never!("everything off in the tick of an emergency", EmergencyNotObeyed),
            never!("no element unless armed", HeatWhileDisarmed),
            never!("no element while the clock stands", HeatWithoutClock),
            never!("no element beyond the lease", HeatWithoutLease),
            never!("contactor open when the supervisor is silent", ContactorLeftClosed),
            never!("no element that was not asked for, nor through a hold", HeatNobodyAskedFor),
            never!("dead time between different elements", DeadTimeCutShort),
            never!("contactor closes and settles without load", ClosesUnderLoad),
            never!("contactor opens without load, except in an emergency", OpensUnderLoad),
            never!("armed only by key off, key on, and a fresh press", ArmedWithoutAPerson),
            never!("a trip is left only by a fresh press without a cause", TripLeftWithoutAPress),
            never!("the first cause stays", FirstCauseReplaced),
            never!("a reset is cold", ResetNotCold),
            Property::always("whoever means well gets heat in the end", |m: &Machine, s: &State| {
                s.broken.is_some() || Element::ALL.iter().all(|&element| m.gets_heat(s, element))
            }),
            Property::sometimes("the tank heats", |_: &Machine, s: &State| granted(s, Element::LiquorTank)),
            Property::sometimes("the kettle heats", |_: &Machine, s: &State| granted(s, Element::BoilKettle)),
            Property::sometimes("a stop trips", |_: &Machine, s: &State| {
                s.guard.latch().is_some_and(|latch| latch.trip == Trip::StopLoop)
            }),
        ]
    }

    fn within_boundary(&self, state: &State) -> bool {
        state.guard.latch().is_none_or(|latch| latch.later <= 2)
    }
}

#[test]
fn every_reachable_state_keeps_every_rule() {
    let began = std::time::Instant::now();
    let checker = Machine::REAL.checker().threads(2).spawn_bfs().join();
    println!(
        "{} states, {} transitions, depth {}, {:.1} s",
        checker.unique_state_count(),
        checker.state_count(),
        checker.max_depth(),
        began.elapsed().as_secs_f64()
    );
    checker.assert_properties();
    assert!(checker.is_done(), "the whole space was searched");
    assert!(checker.unique_state_count() >= 15_000, "the space is as large as it was when this was written");
}

#[test]
fn every_mutant_is_caught_by_the_rule_it_breaks() {
    for mutant in mutants::all() {
        let machine = Machine { steps: mutant.steps, watch: mutant.watch };
        let rules = HasDiscoveries::AnyOf(mutant.rules.iter().copied().collect());
        let checker = machine.checker().threads(2).finish_when(rules).spawn_bfs().join();
        let failures: Vec<&str> = checker
            .discoveries()
            .into_keys()
            .filter(|name| !["the tank heats", "the kettle heats"].contains(name) && *name != "a stop trips")
            .collect();
        let steps = mutant.rules.iter().find_map(|rule| checker.discovery(rule)).map(|path| path.into_actions().len());
        assert!(steps.is_some(), "{}: expected one of {:?}, found {failures:?}", mutant.name, mutant.rules);
        println!("{}: caught by {failures:?} after {steps:?} steps, {} states", mutant.name, checker.unique_state_count());
    }
}

#[test]
fn the_models_wiring_and_the_fast_path_agree_step_by_step() {
    let spans = Spans { timing: Timing::default(), press: Span::from_millis(300), lease: LEASE };
    let mut seed = 20_u64;
    let mut draw = |below: u64| {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 33) % below
    };
    let (mut heated, mut armings) = (0, 0);
    for _ in 0..300 {
        let mut fast = FastPath::new(copperhold_core::burst::Mains::Hz50, spans.timing, spans.press);
        let mut gate = Gate::RESET;
        let mut now = Instant::START;
        let mut switches = Switches { stop_loop: true, ..Switches::default() };
        fast.tick(now, &switches);
        gate.tick(&Steps::REAL, &spans, None, &switches);
        for _ in 0..1_000 {
            match draw(60) {
                0 => switches.stop_loop = false,
                1..=4 => switches.stop_loop = true,
                5 => switches.key = false,
                6..=9 => switches.key = true,
                10..=12 => switches.arm = !switches.arm,
                _ => {}
            }
            let elapsed = match draw(40) {
                0 => None,
                1..=4 => Some(Span::from_millis(1 + draw(600))),
                _ => Some(TICK),
            };
            now = now.plus(elapsed.unwrap_or_default());
            let outputs = fast.tick(now, &switches);
            gate.tick(&Steps::REAL, &spans, elapsed, &switches);
            assert_eq!(
                (outputs.contactor, outputs.grant, outputs.armed),
                (gate.line().contactor, gate.line().grant, gate.is_armed())
            );
            if draw(8) == 0 {
                let heat =
                    [None, Some((Element::LiquorTank, Duty::FULL)), Some((Element::BoilKettle, Duty::FULL))][draw(3) as usize];
                let lease = Lease { tripped: draw(40) == 0, hold: draw(10) == 0, heat, pumps: Pumps::default() };
                fast.renew(lease);
                let outputs = fast.apply(&switches);
                gate.renew(&Steps::REAL, &spans, lease, &switches, elapsed.is_some());
                assert_eq!(
                    (outputs.contactor, outputs.grant, outputs.armed),
                    (gate.line().contactor, gate.line().grant, gate.is_armed())
                );
                assert_eq!(fast.report().stopped, core::mem::take(&mut gate.stopped));
            }
            heated += u32::from(gate.line().grant.is_some());
            armings += u32::from(gate.is_armed());
        }
    }
    assert!(heated > 3_000 && armings > heated, "{heated} ticks with a grant, {armings} armed, of 300,000");
}
