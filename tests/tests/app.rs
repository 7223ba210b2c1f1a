//! The application on a host board: contacts and registers in, lines out, sense lines and the coil's pulses.
use critical_section as _;

use copperhold::plant::RawCode;
use copperhold::rig::ProbeKind;
use copperhold_core::guard::sense::{CONTACT_PATIENCE, NO_CURRENT_PATIENCE, UNASKED_CURRENT_PATIENCE, UNCOVERED_PATIENCE};
use copperhold_core::probe::rtd::Pt100;
use copperhold_core::units::Span;
use copperhold_core::vessel::{Element, PerVessel};
use copperhold_firmware::drivers::max31865::Wires;
use copperhold_firmware::lines::{Coil, Line as Output};
use copperhold_firmware::probes::Choice;
use copperhold_firmware::restart::{PANICKED, Restart};
use copperhold_firmware::sense::{Fitted, Line};
use copperhold_firmware::storage::{Stored, safe_defaults};
use copperhold_tests::host_board::HostBench;

/// A control tick or two, and what the display and the debouncing take, s.
const MARGIN_S: f64 = 0.6;

fn pt100(t_c: f64) -> u16 {
    match RawCode::encode(ProbeKind::Pt100, t_c) {
        RawCode::Pt100 { code } => code,
        RawCode::Ntc10k { .. } | RawCode::Ds18b20 { .. } => unreachable!("a Pt100 was asked for"),
    }
}

fn with(lines: &[Line], coil: Coil) -> Stored {
    let rtd = Choice::Rtd { element: Pt100::R_REF_400, wires: Wires::Three };
    let mut fitted = Fitted::default();
    lines.iter().for_each(|&line| fitted.set(line, true));
    Stored { probes: PerVessel::build(|_| rtd), fitted, coil, ..safe_defaults() }
}

fn seconds(span: Span) -> f64 {
    span.as_millis() as f64 / 1_000.0
}

/// Armed, the tank asked for 60 C, with these lines fitted and closed as they should be while it heats.
fn heating(lines: &[Line], coil: Coil) -> HostBench {
    let mut bench = HostBench::new(&with(lines, coil), pt100(20.0));
    let closed = |lines: &[Line]| lines.iter().fold(0, |all, line| all | line.bit());
    let off: Vec<Line> = lines.iter().copied().filter(|line| matches!(line, Line::Level(_))).collect();
    bench.world.sense.set(Some(closed(&off)));
    bench.arm_following(lines);
    bench
}

trait Following {
    fn arm_following(&mut self, lines: &[Line]);
    fn follow(&mut self, seconds: f64, lines: &[Line]);
}

/// A rig in order: its contacts follow what the board does.
impl Following for HostBench {
    fn arm_following(&mut self, lines: &[Line]) {
        self.contacts(|contacts| contacts.key = false);
        self.follow(0.5, lines);
        self.contacts(|contacts| contacts.key = true);
        self.follow(0.5, lines);
        self.contacts(|contacts| contacts.button = true);
        self.follow(1.5, lines);
        self.contacts(|contacts| contacts.button = false);
        self.follow(0.5, lines);
        for press in [0.1, 0.1, 1.0] {
            self.contacts(|contacts| contacts.knob_push = true);
            self.follow(press, lines);
            self.contacts(|contacts| contacts.knob_push = false);
            self.follow(0.1, lines);
        }
        self.follow(1.0, lines);
        assert!(self.world.is_high(Output::TankElement), "it heats: {:?}", self.world.log.borrow());
    }

    fn follow(&mut self, seconds: f64, lines: &[Line]) {
        for _ in 0..(seconds * 100.0).round() as u32 {
            let now = lines.iter().filter(|line| match line {
                Line::Contactor => self.world.is_high(Output::Contactor),
                Line::Current(Element::LiquorTank) => self.world.is_high(Output::TankElement),
                Line::Current(Element::BoilKettle) => self.world.is_high(Output::KettleElement),
                Line::Level(_) => true,
            });
            let closed = now.fold(0, |all, line| all | line.bit());
            self.world.sense.set(Some(closed));
            self.run(0.01);
        }
    }
}

#[test]
fn a_rig_whose_sense_lines_are_in_order_heats_for_an_hour_and_one_without_them_never_asks() {
    let mut bench = heating(&Line::ALL, Coil::Level);
    // The water warms by the figures of the default settings' element over 40 L.
    for minute in 1..=60 {
        let t_c = (20.0 + f64::from(minute) * 0.66).min(60.0);
        bench.world.codes.set(PerVessel { liquor_tank: pt100(t_c), mash_tun: pt100(20.0), boil_kettle: pt100(20.0) });
        bench.follow(60.0, &Line::ALL);
        assert!(!bench.world.noted("Tripped"), "minute {minute}: {:?}", bench.world.log.borrow());
    }
    let bench = heating(&[], Coil::Level);
    assert_eq!(bench.world.asked.get(), 0);
}

#[test]
fn a_broken_sense_wire_trips_or_holds_within_its_patience() {
    let tank = Element::LiquorTank;
    for (line, trip, patience) in [
        (Line::Contactor, "ContactorOpen", CONTACT_PATIENCE),
        (Line::Current(tank), "NoCurrent", NO_CURRENT_PATIENCE),
        (Line::Level(tank), "Uncovered", UNCOVERED_PATIENCE),
    ] {
        let mut bench = heating(&Line::ALL, Coil::Level);
        let all = Line::ALL.map(|other| if other == line { None } else { Some(other) });
        let others: Vec<Line> = all.into_iter().flatten().collect();
        bench.follow(seconds(patience) + MARGIN_S, &others);
        assert!(bench.world.noted(trip), "{line:?}: {:?}", bench.world.log.borrow());
        assert_eq!(bench.world.lines.get(), 0, "{line:?}");
    }
}

#[test]
fn current_in_an_element_that_is_off_trips_within_its_patience() {
    let mut bench = heating(&Line::ALL, Coil::Level);
    // The tank heats; the kettle's current switch closes too.
    bench.world.sense.set(Some(Line::ALL.iter().fold(0, |all, line| all | line.bit())));
    bench.run(seconds(UNASKED_CURRENT_PATIENCE) + MARGIN_S);
    assert!(bench.world.noted("UnaskedCurrent(BoilKettle)"), "{:?}", bench.world.log.borrow());
    assert_eq!(bench.world.lines.get(), 0);
}

#[test]
fn a_contactor_that_sticks_trips_and_cannot_be_acknowledged_away() {
    let lines = [Line::Contactor];
    let mut bench = heating(&lines, Coil::Level);
    bench.contacts(|contacts| contacts.key = false);
    // Its contact stays closed.
    bench.run(seconds(CONTACT_PATIENCE) + MARGIN_S);
    assert!(bench.world.noted("ContactorStuck"), "{:?}", bench.world.log.borrow());
    bench.press(0.3);
    assert!(!bench.world.noted("Acknowledged"));
    bench.arm();
    assert_eq!(bench.world.lines.get(), 0, "not armed");
    bench.world.sense.set(Some(0));
    bench.run(1.0);
    bench.press(0.3);
    assert!(bench.world.noted("Acknowledged"), "once the contact is open: {:?}", bench.world.log.borrow());
}

#[test]
fn a_silent_expander_takes_the_element_away_at_once_and_one_lost_answer_does_not_trip() {
    let lines = [Line::Level(Element::BoilKettle)];
    let mut bench = heating(&lines, Coil::Level);
    bench.world.sense.set(None);
    bench.run(0.3);
    assert!(!bench.world.is_high(Output::TankElement) && bench.world.is_high(Output::Contactor), "held, armed");
    bench.follow(2.0, &lines);
    assert!(bench.world.is_high(Output::TankElement) && !bench.world.noted("Tripped"), "{:?}", bench.world.log.borrow());
    // Its lines count as open: each trips by its own cause, as if the wire were broken.
    for (line, trip) in [(Line::Level(Element::LiquorTank), "Uncovered"), (Line::Contactor, "ContactorOpen")] {
        let mut bench = heating(&[line], Coil::Level);
        bench.world.sense.set(None);
        bench.run(3.0);
        assert!(bench.world.noted(trip) && bench.world.lines.get() == 0, "{:?}", bench.world.log.borrow());
    }
}

#[test]
fn h22_the_coils_pulses_come_with_every_tick_while_armed_and_stop_with_anything_that_stops() {
    let pulses = |bench: &mut HostBench, run: fn(&mut HostBench)| {
        let before = bench.world.contactor_changes.get();
        run(bench);
        bench.world.contactor_changes.get() - before
    };
    let mut bench = HostBench::new(&with(&[], Coil::Pulses), pt100(20.0));
    assert_eq!(pulses(&mut bench, |bench| bench.run(5.0)), 0, "not armed");
    bench.arm();
    bench.ask_the_tank();
    bench.run(1.0);
    assert_eq!(pulses(&mut bench, |bench| bench.run(10.0)), 1_000, "one change per tick");
    // The wave is the contactor's alone: the element's line is steady at full power.
    assert!(bench.world.is_high(Output::TankElement));

    // No tick, no change: whichever level it froze at.
    assert_eq!(pulses(&mut bench, |bench| bench.turns_without_ticks(1_000)), 0);

    // The control tick stands still: the lease ends, and the pulses with it.
    let mut bench = pulsing();
    let after = pulses(&mut bench, |bench| bench.run_hung(5.0));
    assert!((100..=180).contains(&after), "{after} changes, about the lease's 1.5 s");
    assert_eq!(pulses(&mut bench, |bench| bench.run_hung(5.0)), 0);

    // Stop, key, a trip.
    let stop: fn(&mut HostBench) = |bench| bench.contacts(|contacts| contacts.stop_loop = false);
    let key: fn(&mut HostBench) = |bench| bench.contacts(|contacts| contacts.key = false);
    let trip: fn(&mut HostBench) = |bench| {
        bench.world.codes.set(PerVessel { liquor_tank: pt100(110.0), ..bench.world.codes.get() });
        bench.run(20.0);
    };
    for (name, cause, most) in [("stop", stop, 1), ("key", key, 1), ("trip", trip, 2_000)] {
        let mut bench = pulsing();
        let last = pulses(&mut bench, cause);
        assert!(last <= most, "{name}: {last}");
        assert_eq!(pulses(&mut bench, |bench| bench.run(5.0)), 0, "{name}");
        assert_eq!(bench.world.lines.get(), 0, "{name}");
    }
}

fn pulsing() -> HostBench {
    let mut bench = HostBench::new(&with(&[], Coil::Pulses), pt100(20.0));
    bench.arm();
    bench.ask_the_tank();
    bench.run(1.0);
    let before = bench.world.contactor_changes.get();
    bench.run(1.0);
    assert_eq!(bench.world.contactor_changes.get() - before, 100);
    bench
}

#[test]
fn the_watchdog_is_fed_only_while_the_timer_interrupt_and_the_main_loop_both_move_on() {
    let mut bench = HostBench::new(&with(&[], Coil::Level), pt100(20.0));
    bench.run(5.0);
    let fed = bench.world.fed.get();
    assert!((18..=21).contains(&fed), "once per control tick: {fed}");
    bench.turns_without_ticks(500);
    assert!(bench.world.fed.get() <= fed + 1, "no timer interrupt, no food");
}

#[test]
fn settings_changed_at_the_panel_are_stored_only_with_the_key_off() {
    let mut bench = HostBench::new(&with(&[], Coil::Level), pt100(20.0));
    bench.contacts(|contacts| contacts.key = true);
    bench.run(0.5);
    let turn = |bench: &mut HostBench, clicks: u32| {
        for _ in 0..clicks {
            for (a, b) in [(true, false), (true, true), (false, true), (false, false)] {
                bench.contacts(|contacts| (contacts.knob_a, contacts.knob_b) = (a, b));
                bench.run(0.02);
            }
        }
    };
    // Menu, settings, the contactor's auxiliary contact, on.
    let change = |bench: &mut HostBench| {
        bench.press_knob(0.1);
        turn(bench, 6);
        bench.press_knob(0.1);
        turn(bench, 16);
        bench.press_knob(0.1);
        turn(bench, 1);
        bench.press_knob(1.0);
        bench.run(0.5);
    };
    change(&mut bench);
    assert!(!bench.stored().fitted.has(Line::Contactor), "the key is on");
    let mut bench = HostBench::new(&with(&[], Coil::Level), pt100(20.0));
    bench.run(0.5);
    change(&mut bench);
    assert!(bench.stored().fitted.has(Line::Contactor));
}

#[test]
fn the_fourth_abnormal_restart_in_a_row_locks_the_board_and_the_supply_unlocks_it() {
    let mut before = 0;
    let counts: Vec<bool> = (0..5)
        .map(|_| {
            let restart = Restart::new(true, PANICKED, before);
            before = restart.count();
            assert_eq!(restart.why(), "panic");
            restart.locked()
        })
        .collect();
    assert_eq!(counts, [false, false, false, true, true]);
    // What is left in the scratch registers means nothing once the supply has been off.
    let restart = Restart::new(false, PANICKED, before);
    assert_eq!((restart.why(), restart.count(), restart.locked()), ("power on", 0, false));
    assert_eq!(Restart::new(true, 7, u32::MAX).why(), "watchdog", "a note that nobody wrote");
}
