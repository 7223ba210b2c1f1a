use super::*;
use crate::burst::Mains;
use crate::controller::CONTROL_PERIOD as TICK;
use crate::interlock::Timing;
use crate::probe::{Limits, ProbeFault};
use crate::settings::Draft;
use crate::units::Watts;

const MASH: Pumps = Pumps { liquor: false, mash: true, wort: false };

fn c(milli: i32) -> Celsius {
    Celsius::from_milli(milli)
}

/// A rig of 10 to 40 L on 5.5 kW, all vessels at 20 degrees Celsius, contactor closed.
struct Bench {
    detectors: Detectors,
    service: Service,
    readings: PerVessel<Reading>,
    pumps: Pumps,
    report: FastReport,
    sense: Sense,
}

impl Bench {
    fn new() -> Bench {
        let draft = Draft {
            mains: Mains::Hz60,
            element_power: PerElement::build(|_| Some(Watts::new(5_500))),
            least_ml: PerElement::build(|_| 10_000),
            greatest_ml: PerElement::build(|_| 40_000),
            limit: PerVessel::build(|_| c(104_000)),
            boiling: c(100_000),
            cascade_limit: Kelvin::from_milli(6_000),
            plausible: PerVessel::build(|_| Limits::EVERY_TICK),
            timing: Timing::default(),
            press: crate::arming::PRESS,
        };
        Bench {
            detectors: Detectors::new(&Settings::new(draft).unwrap()),
            service: Service::new(),
            readings: PerVessel::build(|_| Ok(c(20_000))),
            pumps: Pumps::default(),
            report: FastReport { armed: true, contactor: true, ..FastReport::default() },
            sense: Sense::NONE,
        }
    }

    fn fire(&mut self, element: Element, duty: Duty) {
        self.report.applied = PerElement::default();
        *self.report.applied.get_mut(element) = duty;
        self.report.grant = Some(element).filter(|_| duty > Duty::ZERO);
    }

    fn read(&mut self, vessel: Vessel, milli: i32) {
        *self.readings.get_mut(vessel) = Ok(c(milli));
    }

    fn tick(&mut self) -> Found {
        self.service.tick(TICK, &self.readings, self.pumps, &self.report);
        self.detectors.tick(&DetectorFacts {
            elapsed: TICK,
            readings: &self.readings,
            pumps: self.pumps,
            report: &self.report,
            service: &self.service,
            sense: self.sense,
            learned: PerElement::default(),
            attended: true,
            coil: false,
            acknowledge: false,
        })
    }

    /// Ticks until something trips, at most so long.
    fn run(&mut self, how_long: Span) -> Option<Trip> {
        (0..how_long.as_millis() / TICK.as_millis()).find_map(|_| self.tick().trip)
    }

    /// One vessel's reading moves steadily; what tripped, and where the reading was.
    fn drift(&mut self, vessel: Vessel, micro_per_tick: i64, how_long: Span) -> Option<(Trip, i32)> {
        let mut micro = i64::from(self.readings.get(vessel).unwrap().milli()) * 1_000;
        (0..how_long.as_millis() / TICK.as_millis()).find_map(|_| {
            micro += micro_per_tick;
            self.read(vessel, i32::try_from(micro / 1_000).unwrap());
            self.tick().trip.map(|trip| (trip, i32::try_from(micro / 1_000).unwrap()))
        })
    }
}

const WHILE: Span = Span::from_mins(10);

#[test]
fn a_reading_that_falls_faster_than_liquid_trips_while_its_vessel_has_heat() {
    for (element, vessel, pumps) in [
        (Element::LiquorTank, Vessel::LiquorTank, Pumps::default()),
        (Element::LiquorTank, Vessel::MashTun, MASH),
        (Element::BoilKettle, Vessel::BoilKettle, Pumps::default()),
    ] {
        for (fastest_share, trips) in [(2, true), (1, false)] {
            let mut bench = Bench::new();
            bench.readings = PerVessel::build(|_| Ok(c(95_000)));
            bench.pumps = pumps;
            bench.fire(element, Duty::from_basis_points(1_000));
            bench.tick();
            // 0.6 K/s is 0.15 K a tick.
            let found = bench.drift(vessel, -150_000 * fastest_share, Span::from_secs(30));
            assert_eq!(found.map(|(trip, _)| trip), trips.then_some(Trip::Fell(vessel)), "{vessel:?} at {fastest_share} times");
        }
    }
}

#[test]
fn a_fall_trips_by_more_than_its_margin_and_not_by_as_much() {
    for (fall, trips) in [(5_000, false), (5_150, false), (5_160, true)] {
        let mut bench = Bench::new();
        bench.read(Vessel::BoilKettle, 95_000);
        bench.fire(Element::BoilKettle, Duty::FULL);
        bench.tick();
        bench.read(Vessel::BoilKettle, 95_000 - fall);
        // One tick of the fastest fall, 0.15 K, is allowed.
        assert_eq!(bench.tick().trip.is_some(), trips, "{fall} mK");
    }
}

#[test]
fn a_fall_is_nobodys_business_without_heat_and_is_forgotten_after_a_minute() {
    let mut bench = Bench::new();
    bench.read(Vessel::LiquorTank, 70_000);
    bench.fire(Element::LiquorTank, Duty::FULL);
    bench.tick();
    bench.fire(Element::LiquorTank, Duty::ZERO);
    bench.run(Span::from_secs(50));
    bench.read(Vessel::LiquorTank, 20_000);
    assert_eq!(bench.run(Span::from_secs(9)), None, "the vessel is let out");
    bench.fire(Element::LiquorTank, Duty::FULL);
    assert_eq!(bench.tick().trip, Some(Trip::Fell(Vessel::LiquorTank)), "heat comes back into what fell a moment ago");
    bench.read(Vessel::LiquorTank, 70_000);
    bench.tick();
    bench.fire(Element::LiquorTank, Duty::ZERO);
    bench.run(FALL_REST);
    bench.read(Vessel::LiquorTank, 20_000);
    bench.tick();
    bench.fire(Element::LiquorTank, Duty::FULL);
    assert_eq!(bench.tick().trip, None, "refilled cold long after the last heat");
}

#[test]
fn unasked_heat_and_no_rise_are_found_in_each_vessel_and_only_with_power() {
    for element in Element::ALL {
        let vessel = element.vessel();
        let mut bench = Bench::new();
        bench.fire(element, Duty::FULL);
        assert_eq!(bench.run(WHILE), Some(Trip::NoRise(element)));
        // Heat that nobody sends, after a sound heat-up.
        let unasked = |closed: bool, aux: Option<bool>| {
            let mut bench = Bench::new();
            bench.read(vessel, 60_000);
            bench.fire(element, Duty::from_basis_points(1));
            bench.tick();
            bench.fire(element, Duty::ZERO);
            bench.report.contactor = closed;
            bench.sense.contactor = aux;
            bench.drift(vessel, 10_000, Span::from_secs(60)).map(|(trip, _)| trip)
        };
        assert_eq!(unasked(true, None), Some(Trip::UnaskedHeat(element)));
        assert_eq!(unasked(false, None), None, "without power a person may pour what they like");
        // A welded contactor has power although its coil has none: the aux contact tells before the temperature does.
        assert_eq!(unasked(false, Some(true)), Some(Trip::ContactorStuck));
        let mut bench = Bench::new();
        (bench.report.contactor, bench.sense.contactor) = (false, Some(true));
        bench.read(vessel, 60_000);
        bench.fire(element, Duty::from_basis_points(1));
        bench.tick();
        bench.fire(element, Duty::ZERO);
        let mut trips = [false; 2];
        let mut micro = 60_000_000;
        for _ in 0..400 {
            micro += 10_000;
            bench.read(vessel, micro / 1_000);
            bench.sense.contactor = Some(!bench.sense.contactor.unwrap_or(false));
            match bench.tick().trip {
                Some(Trip::UnaskedHeat(found)) => trips[0] |= found == element,
                Some(_) => trips[1] = true,
                None => {}
            }
        }
        assert!(!trips[0] && !trips[1], "a contact that chatters is open every other tick: nothing adds up");
    }
}

#[test]
fn a_missing_reading_takes_no_evidence_away_and_gives_none() {
    let mut bench = Bench::new();
    bench.fire(Element::BoilKettle, Duty::FULL);
    let undisturbed = (0..2_000).find(|_| bench.tick().trip.is_some()).unwrap();
    let mut bench = Bench::new();
    bench.fire(Element::BoilKettle, Duty::FULL);
    let mut seen = 0;
    for n in 0.. {
        bench.readings.boil_kettle = if n % 4 == 0 { Err(ProbeFault::Open) } else { Ok(c(20_000)) };
        seen += i32::from(n % 4 != 0);
        if bench.tick().trip.is_some() {
            break;
        }
    }
    assert_eq!(seen, undisturbed + 1);
}

/// A quiet vessel warms by 10 mK a tick beside others at these temperatures: where it trips.
fn warms_beside(element: Element, others: &[(Vessel, i32)], prepare: impl FnOnce(&mut Bench)) -> Option<i32> {
    let mut bench = Bench::new();
    bench.read(element.vessel(), 40_000);
    others.iter().for_each(|&(other, milli)| bench.read(other, milli));
    bench.fire(element, Duty::from_basis_points(1));
    bench.tick();
    bench.fire(element, Duty::ZERO);
    prepare(&mut bench);
    let found = bench.drift(element.vessel(), 10_000, Span::from_mins(20));
    found.map(|(trip, milli)| if trip == Trip::UnaskedHeat(element) { milli } else { panic!("{trip}") })
}

/// The tank, beside a mash of 66 degrees Celsius and a kettle near its boil.
fn warms(prepare: impl FnOnce(&mut Bench)) -> Option<i32> {
    warms_beside(Element::LiquorTank, &[(Vessel::MashTun, 66_000), (Vessel::BoilKettle, 95_000)], prepare)
}

/// A minute without heat, and the peak is forgotten; a tick less, and it is not.
#[test]
fn a_fall_is_watched_until_the_vessel_has_rested_for_a_minute() {
    for (rest, trip) in [(FALL_REST.less(TICK), Some(Trip::Fell(Vessel::LiquorTank))), (FALL_REST, None)] {
        let mut bench = Bench::new();
        bench.read(Vessel::LiquorTank, 90_000);
        bench.fire(Element::LiquorTank, Duty::FULL);
        bench.tick();
        bench.fire(Element::LiquorTank, Duty::ZERO);
        assert_eq!(bench.run(rest), None);
        bench.read(Vessel::LiquorTank, 80_000);
        bench.fire(Element::LiquorTank, Duty::FULL);
        assert_eq!(bench.tick().trip, trip, "after {rest:?}");
    }
}

#[test]
fn heat_may_come_from_the_hottest_source_by_a_pump_by_hand_or_after_a_long_rest() {
    let near = |at: Option<i32>, milli: i32| assert!(at.is_some_and(|at| (at - milli).abs() < 1_200), "{at:?}, not {milli}");
    near(warms(|_| {}), 41_000);
    near(warms(|bench| bench.pumps = MASH), 67_000);
    near(warms(|bench| assert_eq!(bench.run(IN_SERVICE.less(TICK)), None)), 67_000);
    near(warms(|bench| assert_eq!(bench.run(Span::from_mins(1)), None)), 41_000);
    near(
        warms(|bench| {
            // Let out, and filled again.
            bench.tick();
            bench.read(Vessel::LiquorTank, 30_000);
            bench.tick();
        }),
        67_000,
    );
    // Wort runs into the kettle from the mash, and water from the tank.
    for (source, other) in [(Vessel::MashTun, Vessel::LiquorTank), (Vessel::LiquorTank, Vessel::MashTun)] {
        let others = [(source, 66_000), (other, 60_000)];
        let rest = |bench: &mut Bench| assert_eq!(bench.run(IN_SERVICE.less(TICK)), None);
        near(warms_beside(Element::BoilKettle, &others, rest), 67_000);
    }
}

/// No pipe leads from the kettle to the tank: a relay of the tank that shorts while the kettle boils has nothing to hide behind.
#[test]
fn h6_a_quiet_tank_that_warms_beside_a_boiling_kettle_is_found_at_once() {
    let others = [(Vessel::MashTun, 20_000), (Vessel::BoilKettle, 99_000)];
    let found = warms_beside(Element::LiquorTank, &others, |bench| assert_eq!(bench.run(IN_SERVICE.plus(IN_SERVICE)), None));
    assert!(found.is_some_and(|milli| milli < 41_200), "{found:?}");
}

#[test]
fn a_tank_that_feeds_a_colder_mash_is_not_judged_and_nothing_else_is_excused() {
    let no_rise = |element: Element, pumps: Pumps, mash_milli: i32| {
        let mut bench = Bench::new();
        bench.readings = PerVessel::build(|_| Ok(c(60_000)));
        bench.read(Vessel::MashTun, mash_milli);
        bench.pumps = pumps;
        bench.fire(element, Duty::FULL);
        bench.run(WHILE) == Some(Trip::NoRise(element))
    };
    assert!(!no_rise(Element::LiquorTank, MASH, 50_000));
    assert!(no_rise(Element::LiquorTank, MASH, 59_000), "a kelvin colder takes next to nothing");
    assert!(no_rise(Element::LiquorTank, MASH, 70_000));
    assert!(no_rise(Element::LiquorTank, Pumps::default(), 50_000), "its pump stands");
    assert!(no_rise(Element::BoilKettle, MASH, 50_000), "the kettle has no coil");
}

#[test]
fn the_lines_are_told_what_was_off_and_what_was_full() {
    let current = |bench: &mut Bench, flows: bool| bench.sense.current.liquor_tank = Some(flows);
    let mut bench = Bench::new();
    current(&mut bench, true);
    assert_eq!(bench.run(Span::from_secs(2)), Some(Trip::UnaskedCurrent(Element::LiquorTank)));
    // Granted, and between two bursts: not off for the whole tick.
    let mut bench = Bench::new();
    current(&mut bench, true);
    bench.report.grant = Some(Element::LiquorTank);
    assert_eq!(bench.run(Span::from_secs(2)), None);
    let mut bench = Bench::new();
    current(&mut bench, true);
    bench.report.applied.liquor_tank = Duty::from_basis_points(1);
    assert_eq!(bench.run(Span::from_secs(2)), None, "it conducted for a part of the tick");
    for (basis_points, trips) in [(8_999, false), (9_000, true), (10_000, true)] {
        let mut bench = Bench::new();
        current(&mut bench, false);
        bench.fire(Element::LiquorTank, Duty::from_basis_points(basis_points));
        assert_eq!(bench.run(Span::from_secs(4)).is_some(), trips, "{basis_points}");
    }
    let mut bench = Bench::new();
    bench.sense.covered.liquor_tank = Some(false);
    bench.fire(Element::LiquorTank, Duty::FULL);
    assert!(bench.tick().hold);
}

#[test]
fn h32_a_pad_astray_trips_in_the_tick_that_tells_of_it_and_before_anything_else() {
    let mut rig = Bench::new();
    assert_eq!(rig.tick().trip, None);
    rig.report.astray = true;
    rig.report.contactor = false;
    rig.sense.contactor = Some(true);
    assert_eq!(rig.run(TICK.times(4)), Some(Trip::Astray));
}
