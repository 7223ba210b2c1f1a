use super::*;
use crate::probe::ProbeFault;
use std::string::ToString;
use std::vec::Vec;

extern crate std;

const TICK: Span = Span::from_millis(250);

/// A guard of three vessels with a limit of 90 degrees Celsius, and the facts of a quiet day.
struct Bench {
    guard: Guard,
    facts: Facts,
    told: Vec<Notice>,
}

impl Bench {
    fn new() -> Bench {
        let facts = Facts {
            now: Instant::START,
            elapsed: TICK,
            readings: PerVessel::build(|_| Ok(Celsius::from_milli(20_000))),
            relied: PerVessel::build(|_| true),
            stopped: false,
            stop_loop: true,
            clock_fault: false,
            acknowledge: false,
            found: None,
            hold: false,
        };
        Bench { guard: Guard::new(PerVessel::build(|_| Celsius::from_milli(90_000))), facts, told: Vec::new() }
    }

    fn read(&mut self, vessel: Vessel, milli: i32) {
        *self.facts.readings.get_mut(vessel) = Ok(Celsius::from_milli(milli));
    }

    fn fail(&mut self, vessel: Vessel, fault: ProbeFault) {
        *self.facts.readings.get_mut(vessel) = Err(fault);
    }

    fn tick(&mut self) -> Verdict {
        self.facts.now = self.facts.now.plus(TICK);
        let told = &mut self.told;
        self.guard.tick(&self.facts, |notice| told.push(notice))
    }

    fn run(&mut self, how_long: Span) -> Verdict {
        (0..how_long.as_millis() / TICK.as_millis()).map(|_| self.tick()).last().unwrap()
    }

    fn press(&mut self) -> Verdict {
        self.facts.acknowledge = false;
        self.tick();
        self.facts.acknowledge = true;
        let verdict = self.tick();
        self.facts.acknowledge = false;
        verdict
    }

    fn first(&self) -> Option<Trip> {
        self.guard.latch().map(|latch| latch.trip)
    }
}

/// A trip, what causes it, and what removes the cause.
type Way = (Trip, fn(&mut Bench), fn(&mut Bench));

/// One way to trip each kind.
fn trips() -> [Way; 4] {
    [
        (
            Trip::StopLoop,
            |bench| {
                bench.facts.stop_loop = false;
                bench.facts.stopped = true;
                bench.tick();
                bench.facts.stopped = false;
            },
            |bench| bench.facts.stop_loop = true,
        ),
        (
            Trip::Clock,
            |bench| {
                bench.facts.clock_fault = true;
                bench.tick();
            },
            |bench| bench.facts.clock_fault = false,
        ),
        (
            Trip::OverTemperature(Vessel::BoilKettle),
            |bench| {
                bench.read(Vessel::BoilKettle, 90_000);
                bench.run(LIMIT_PATIENCE);
            },
            |bench| bench.read(Vessel::BoilKettle, 88_900),
        ),
        (
            Trip::Probe(Vessel::MashTun, ProbeFault::Open),
            |bench| {
                bench.fail(Vessel::MashTun, ProbeFault::Open);
                bench.run(PROBE_PATIENCE);
            },
            |bench| bench.read(Vessel::MashTun, 66_000),
        ),
    ]
}

#[test]
fn a_quiet_day_is_clear_and_says_nothing() {
    let mut bench = Bench::new();
    assert_eq!(bench.run(Span::from_mins(10)), Verdict::Clear);
    assert_eq!((bench.first(), bench.told.len()), (None, 0));
    assert_eq!(bench.guard.limit(Vessel::MashTun), Celsius::from_milli(90_000));
}

#[test]
fn t7_every_trip_outlives_its_cause_and_is_left_only_by_a_fresh_press_after_it() {
    for (trip, cause, remove) in trips() {
        let mut bench = Bench::new();
        cause(&mut bench);
        assert_eq!((bench.tick(), bench.first()), (Verdict::Tripped, Some(trip)));
        assert_eq!(bench.press(), Verdict::Tripped, "{trip}: refused while the cause holds");
        // Held down from before the cause goes: not a fresh press.
        bench.facts.acknowledge = true;
        bench.tick();
        remove(&mut bench);
        assert_eq!(bench.run(Span::from_mins(10)), Verdict::Tripped, "{trip}: nothing but a press clears it");
        assert_eq!(bench.press(), Verdict::Clear, "{trip}");
        assert_eq!(bench.first(), None);
        assert_eq!(bench.told, [Notice::Tripped(trip), Notice::Acknowledged(trip)]);
    }
}

#[test]
fn t7_the_first_cause_is_reported_and_later_ones_are_counted() {
    for (first, cause, remove) in trips() {
        for (second, other_cause, other_remove) in trips() {
            if first == second {
                continue;
            }
            let mut bench = Bench::new();
            cause(&mut bench);
            let at = bench.guard.latch().unwrap().at;
            remove(&mut bench);
            bench.run(Span::from_secs(2));
            other_cause(&mut bench);
            let latch = bench.guard.latch().unwrap();
            assert_eq!((latch.trip, latch.at), (first, at), "{second} after {first}");
            // An open stop loop is a cause again only if somebody was armed.
            assert_eq!(latch.later, 1, "{second} after {first}");
            if second != Trip::StopLoop {
                assert_eq!(bench.press(), Verdict::Tripped, "refused while {second} holds");
            }
            other_remove(&mut bench);
            assert_eq!(bench.press(), Verdict::Clear);
            assert_eq!(bench.told, [Notice::Tripped(first), Notice::Acknowledged(first)]);
        }
    }
}

#[test]
fn h14_a_vessel_trips_two_seconds_above_its_limit_wherever_it_is_and_not_before() {
    for vessel in Vessel::ALL {
        let mut bench = Bench::new();
        bench.facts.relied = PerVessel::build(|_| false);
        bench.read(vessel, 89_999);
        assert_eq!(bench.run(Span::from_mins(10)), Verdict::Clear);
        bench.read(vessel, 90_000);
        assert_eq!(bench.run(Span::from_millis(1_750)), Verdict::Clear);
        assert_eq!((bench.tick(), bench.first()), (Verdict::Tripped, Some(Trip::OverTemperature(vessel))));
    }
}

#[test]
fn a_reading_that_only_touches_the_limit_starts_again_from_nothing() {
    let mut bench = Bench::new();
    for _ in 0..1_000 {
        bench.read(Vessel::LiquorTank, 95_000);
        assert_eq!(bench.run(Span::from_millis(1_750)), Verdict::Clear);
        bench.read(Vessel::LiquorTank, 89_900);
        bench.tick();
    }
}

#[test]
fn a_vessel_that_tripped_on_its_limit_must_cool_a_kelvin_before_it_can_be_acknowledged() {
    let mut bench = Bench::new();
    bench.read(Vessel::LiquorTank, 91_000);
    bench.run(LIMIT_PATIENCE);
    for still_hot in [89_100, 89_000] {
        bench.read(Vessel::LiquorTank, still_hot);
        assert_eq!(bench.press(), Verdict::Tripped);
    }
    bench.read(Vessel::LiquorTank, 88_990);
    assert_eq!(bench.press(), Verdict::Clear);
}

#[test]
fn a_hot_vessel_whose_probe_then_fails_is_still_hot() {
    let mut bench = Bench::new();
    bench.facts.relied = PerVessel::build(|_| false);
    bench.read(Vessel::LiquorTank, 91_000);
    bench.run(LIMIT_PATIENCE);
    bench.fail(Vessel::LiquorTank, ProbeFault::Open);
    bench.run(Span::from_mins(5));
    assert_eq!((bench.press(), bench.first()), (Verdict::Tripped, Some(Trip::OverTemperature(Vessel::LiquorTank))));
}

#[test]
fn h11_a_probe_relied_upon_without_a_reading_holds_at_once_trips_after_five_seconds_and_recovers_before() {
    for fault in ProbeFault::ALL {
        for vessel in Vessel::ALL {
            let mut bench = Bench::new();
            bench.fail(vessel, fault);
            assert_eq!(bench.run(Span::from_millis(4_750)), Verdict::Hold);
            bench.read(vessel, 66_000);
            assert_eq!(bench.tick(), Verdict::Clear, "it recovers by itself");
            bench.run(Span::from_secs(75));
            bench.fail(vessel, fault);
            assert_eq!(bench.run(Span::from_millis(4_750)), Verdict::Hold, "and after a while its patience is whole again");
            assert_eq!((bench.tick(), bench.first()), (Verdict::Tripped, Some(Trip::Probe(vessel, fault))));
        }
    }
}

#[test]
fn h11_a_probe_that_comes_and_goes_trips_in_the_end_and_a_rare_break_never_does() {
    let flapping = |away_ticks: u32, well_ticks: u32| {
        let mut bench = Bench::new();
        for _ in 0..2_000 {
            bench.fail(Vessel::BoilKettle, ProbeFault::Open);
            bench.run(TICK.times(u64::from(away_ticks)));
            bench.read(Vessel::BoilKettle, 66_000);
            bench.run(TICK.times(u64::from(well_ticks)));
        }
        bench.first()
    };
    for well_ticks in [1, 10, 50] {
        assert_eq!(flapping(4, well_ticks), Some(Trip::Probe(Vessel::BoilKettle, ProbeFault::Open)), "well for {well_ticks}");
    }
    assert_eq!(flapping(4, 60), None, "a second in sixteen is what it bears");
    assert_eq!(flapping(19, 400), None, "long, but rare");
}

#[test]
fn h11_a_trip_that_was_acknowledged_begins_with_whole_patience() {
    let mut bench = Bench::new();
    bench.fail(Vessel::BoilKettle, ProbeFault::Open);
    bench.run(PROBE_PATIENCE);
    bench.read(Vessel::BoilKettle, 66_000);
    assert_eq!(bench.press(), Verdict::Clear);
    bench.fail(Vessel::BoilKettle, ProbeFault::Open);
    assert_eq!(bench.run(Span::from_millis(4_750)), Verdict::Hold);
}

#[test]
fn a_probe_that_nothing_needs_gives_one_piece_of_advice_and_no_more() {
    let mut bench = Bench::new();
    bench.facts.relied = PerVessel::build(|vessel| vessel != Vessel::BoilKettle);
    bench.fail(Vessel::BoilKettle, ProbeFault::NotReady);
    assert_eq!(bench.run(Span::from_secs(4)), Verdict::Clear);
    assert_eq!(bench.told, [], "a probe that is starting up is nothing to speak of");
    for fault in ProbeFault::ALL {
        bench.fail(Vessel::BoilKettle, fault);
        assert_eq!(bench.run(Span::from_secs(10)), Verdict::Clear);
    }
    let [Notice::Advised(advice)] = bench.told[..] else { panic!("{:?}", bench.told) };
    assert!(matches!(advice, Advice::Probe(Vessel::BoilKettle, _)));
    assert!(advice.to_string().starts_with("the boil kettle probe "));
    bench.read(Vessel::BoilKettle, 20_000);
    bench.tick();
    bench.fail(Vessel::BoilKettle, ProbeFault::Open);
    bench.run(Span::from_secs(10));
    assert_eq!(bench.told.len(), 2, "it was well in between: worth a word again");
}

#[test]
fn a_trip_on_a_probe_holds_until_it_reads_again_even_if_nothing_needs_it_any_more() {
    let mut bench = Bench::new();
    bench.fail(Vessel::LiquorTank, ProbeFault::Shorted);
    bench.run(PROBE_PATIENCE);
    bench.facts.relied = PerVessel::build(|_| false);
    assert_eq!(bench.press(), Verdict::Tripped);
    bench.read(Vessel::LiquorTank, 66_000);
    assert_eq!(bench.press(), Verdict::Clear);
}

#[test]
fn the_worst_of_several_causes_is_the_one_that_is_latched() {
    let mut bench = Bench::new();
    bench.read(Vessel::MashTun, 95_000);
    bench.fail(Vessel::LiquorTank, ProbeFault::Open);
    bench.run(Span::from_millis(1_750));
    bench.facts.clock_fault = true;
    bench.facts.stopped = true;
    bench.tick();
    assert_eq!(bench.first(), Some(Trip::StopLoop));
}

#[test]
fn h31_an_acknowledge_button_that_is_down_from_the_start_is_not_a_press() {
    let mut bench = Bench::new();
    bench.facts.acknowledge = true;
    bench.facts.clock_fault = true;
    bench.tick();
    bench.facts.clock_fault = false;
    assert_eq!(bench.run(Span::from_mins(1)), Verdict::Tripped);
    assert_eq!(bench.press(), Verdict::Clear);
}

#[test]
fn an_open_stop_loop_that_disarmed_nobody_is_no_trip_and_keeps_none_latched() {
    let mut bench = Bench::new();
    bench.facts.stop_loop = false;
    assert_eq!(bench.run(Span::from_mins(1)), Verdict::Clear);
    bench.facts.clock_fault = true;
    bench.tick();
    bench.facts.clock_fault = false;
    assert_eq!(bench.first(), Some(Trip::Clock));
    assert_eq!(bench.press(), Verdict::Clear);
}

#[test]
fn what_a_detector_finds_trips_and_what_it_doubts_holds() {
    let mut bench = Bench::new();
    bench.facts.hold = true;
    assert_eq!(bench.run(Span::from_mins(1)), Verdict::Hold);
    bench.facts.hold = false;
    assert_eq!(bench.tick(), Verdict::Clear);
    bench.facts.found = Some(Trip::ContactorStuck);
    assert_eq!((bench.tick(), bench.press(), bench.first()), (Verdict::Tripped, Verdict::Tripped, Some(Trip::ContactorStuck)));
    bench.facts.found = None;
    assert_eq!(bench.press(), Verdict::Clear);
}

#[test]
fn pressing_acknowledge_without_a_trip_does_nothing() {
    let mut bench = Bench::new();
    assert_eq!(bench.press(), Verdict::Clear);
    assert_eq!(bench.told, []);
}

#[test]
fn the_count_of_later_causes_does_not_wrap() {
    let mut bench = Bench::new();
    for n in 0..140_000 {
        bench.facts.clock_fault = n % 2 == 0;
        bench.tick();
    }
    assert_eq!(bench.guard.latch().unwrap().later, u16::MAX);
}

#[test]
fn every_trip_has_a_cause_and_a_remedy_in_plain_words() {
    for (trip, _, _) in trips() {
        assert!(trip.to_string().len() > 10 && !trip.to_string().ends_with('.'));
        assert!(trip.remedy().len() > 10);
    }
    assert_eq!(Trip::OverTemperature(Vessel::MashTun).to_string(), "the mash tun passed its temperature limit");
}
