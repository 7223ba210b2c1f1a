use super::*;
use crate::burst::Mains;
use crate::interlock::Timing;
use crate::probe::Limits;
use crate::settings::Draft;
use crate::sheet::Step;
use crate::units::Slope;
use crate::units::{Litres, Watts};
use std::vec::Vec;

extern crate std;

const TICK: Span = Span::from_millis(250);

fn draft() -> Draft {
    Draft {
        mains: Mains::Hz60,
        element_power: PerElement::build(|_| Some(Watts::new(5_500))),
        least_ml: PerElement::build(|_| 10_000),
        greatest_ml: PerElement::build(|_| 60_000),
        limit: PerVessel { liquor_tank: c(90_000), mash_tun: c(90_000), boil_kettle: c(104_000) },
        boiling: c(100_000),
        cascade_limit: Kelvin::from_milli(6_000),
        plausible: PerVessel::build(|_| Limits::EVERY_TICK),
        timing: Timing::default(),
        press: crate::arming::PRESS,
    }
}

fn c(milli: i32) -> Celsius {
    Celsius::from_milli(milli)
}

struct Bench {
    supervisor: Supervisor,
    now: Instant,
    raw: PerVessel<Reading>,
    switches: Switches,
    report: FastReport,
}

impl Bench {
    fn of(draft: Draft) -> Bench {
        Bench {
            supervisor: Supervisor::new(Settings::new(draft).unwrap(), Knowledge::default()),
            now: Instant::START,
            raw: PerVessel::build(|_| Ok(c(20_000))),
            switches: Switches { stop_loop: true, key: true, ..Switches::default() },
            report: FastReport { armed: true, ..FastReport::default() },
        }
    }

    fn new() -> Bench {
        Bench::of(draft())
    }

    fn tick(&mut self) -> Lease {
        self.now = self.now.plus(TICK);
        let lease = self.supervisor.tick(self.now, TICK, &self.raw, &self.switches, &self.report);
        // The fast path fires what it may.
        let duty = |element| lease.heat.filter(|&(granted, _)| granted == element).map_or(Duty::ZERO, |(_, duty)| duty);
        self.report.applied = PerElement::build(duty);
        lease
    }

    fn run(&mut self, how_long: Span) -> Lease {
        (0..how_long.as_millis() / TICK.as_millis()).map(|_| self.tick()).last().unwrap()
    }

    fn events(&mut self) -> Vec<Event> {
        core::iter::from_fn(|| self.supervisor.log().take()).map(|entry| entry.event).collect()
    }
}

fn sheet(steps: impl IntoIterator<Item = Step>) -> Sheet {
    let mut sheet = Sheet::default();
    for step in steps {
        sheet.steps.push(step).unwrap();
    }
    sheet
}

const HALF: Demand = Demand::Percent(Duty::from_basis_points(5_000));

#[test]
fn t11_every_refusal_is_produced_and_leaves_the_demand_in_force_alone() {
    let mut bench = Bench::new();
    let mash = Demand::Hold(c(66_000));
    assert_eq!(bench.supervisor.demand(Vessel::MashTun, mash), Ok(()));
    assert_eq!(bench.supervisor.demand(Vessel::MashTun, HALF), Err(Refusal::MashPercent));
    for vessel in Vessel::ALL {
        let limit = bench.supervisor.settings().limit(vessel).milli();
        for milli in [-100_000, -1, 0, limit - 999, limit, 300_000] {
            assert_eq!(bench.supervisor.demand(vessel, Demand::Hold(c(milli))), Err(Refusal::Target(vessel)), "{milli}");
        }
        assert_eq!(bench.supervisor.demands.mash_tun, mash);
    }
    assert_eq!(bench.supervisor.demand(Vessel::LiquorTank, Demand::Hold(c(89_000))), Ok(()));
    assert_eq!(bench.supervisor.demand(Vessel::LiquorTank, Demand::Hold(c(1))), Ok(()));

    bench.supervisor.start(sheet([Step::KnockOut]));
    for demand in [Demand::Off, HALF, Demand::Hold(c(60_000))] {
        assert_eq!(bench.supervisor.demand(Vessel::BoilKettle, demand), Err(Refusal::SheetRuns));
    }
    bench.supervisor.stop_sheet();

    bench.report.clock_fault = true;
    assert!(bench.tick().tripped);
    assert_eq!(bench.supervisor.demand(Vessel::BoilKettle, HALF), Err(Refusal::Tripped));
    assert_eq!(bench.supervisor.demand(Vessel::BoilKettle, Demand::Hold(c(60_000))), Err(Refusal::Tripped));
    assert_eq!(bench.supervisor.demand(Vessel::BoilKettle, Demand::Off), Ok(()), "off is never refused by a trip");

    for (element, vessels) in
        [(Element::LiquorTank, [Vessel::LiquorTank, Vessel::MashTun].as_slice()), (Element::BoilKettle, &[Vessel::BoilKettle])]
    {
        let mut draft = draft();
        *draft.element_power.get_mut(element) = None;
        let mut bench = Bench::of(draft);
        for &vessel in vessels {
            assert_eq!(bench.supervisor.demand(vessel, Demand::Hold(c(60_000))), Err(Refusal::NoElement(vessel)));
            assert_eq!(bench.supervisor.demand(vessel, Demand::Off), Ok(()));
        }
        assert!(bench.supervisor.heat(element).is_none() && bench.supervisor.heat(element.other()).is_some());
    }
    let all = [
        Refusal::NoElement(Vessel::MashTun),
        Refusal::MashPercent,
        Refusal::Target(Vessel::MashTun),
        Refusal::Step,
        Refusal::SheetRuns,
        Refusal::Tripped,
    ];
    for (at, refusal) in all.iter().enumerate() {
        assert!(all.iter().skip(at + 1).all(|other| other.text() != refusal.text()));
    }
}

#[test]
fn a_demand_becomes_a_lease_only_while_armed() {
    let mut bench = Bench::new();
    bench.report.armed = false;
    bench.supervisor.demand(Vessel::BoilKettle, HALF).unwrap();
    assert_eq!(bench.tick().heat, None);
    bench.report.armed = true;
    assert_eq!(bench.tick().heat, Some((Element::BoilKettle, Duty::from_basis_points(5_000))));
    assert_eq!(bench.supervisor.status().wanted.boil_kettle, Duty::from_basis_points(5_000));
}

#[test]
fn h27_a_demand_does_not_survive_being_disarmed_however_short() {
    for armed in [false, true] {
        let mut bench = Bench::new();
        bench.supervisor.demand(Vessel::BoilKettle, HALF).unwrap();
        bench.supervisor.pump(Pumps { wort: true, ..Pumps::default() });
        assert!(bench.tick().heat.is_some());
        bench.report = FastReport { armed, disarmed: true, ..FastReport::default() };
        bench.tick();
        bench.report = FastReport { armed: true, ..FastReport::default() };
        assert_eq!(bench.run(Span::from_mins(1)), Lease { tripped: false, hold: false, heat: None, pumps: Pumps::default() });
    }
}

#[test]
fn a_trip_drops_every_demand_and_its_end_brings_none_back() {
    let mut bench = Bench::new();
    bench.supervisor.demand(Vessel::LiquorTank, Demand::Hold(c(70_000))).unwrap();
    bench.supervisor.demand(Vessel::BoilKettle, HALF).unwrap();
    bench.tick();
    bench.report.stopped = true;
    let lease = bench.tick();
    assert!(lease.tripped && lease.heat.is_none());
    bench.report.stopped = false;
    bench.switches.acknowledge = true;
    let lease = bench.run(Span::from_mins(1));
    assert!(!lease.tripped && lease.heat.is_none(), "{lease:?}");
    assert_eq!(bench.supervisor.demands, PerVessel::build(|_| Demand::Off));
}

#[test]
fn a_probe_relied_upon_that_fails_holds_the_heat_of_both_vessels_at_once() {
    for (vessel, demand) in
        [(Vessel::LiquorTank, Demand::Hold(c(70_000))), (Vessel::MashTun, Demand::Hold(c(66_000))), (Vessel::BoilKettle, HALF)]
    {
        let needs: &[Vessel] = if vessel == Vessel::MashTun { &[Vessel::MashTun, Vessel::LiquorTank] } else { &[vessel] };
        for &probe in needs {
            let mut bench = Bench::new();
            bench.supervisor.demand(vessel, demand).unwrap();
            bench.supervisor.pump(Pumps { mash: vessel == Vessel::MashTun, ..Pumps::default() });
            assert!(bench.run(Span::from_secs(1)).heat.is_some(), "{vessel:?}");
            *bench.raw.get_mut(probe) = Err(ProbeFault::Open);
            // The filter bridges a second; then the guard holds, then it trips.
            let lease = bench.run(Span::from_millis(1_500));
            assert!(lease.hold && lease.heat.is_none(), "{vessel:?} without {probe:?}");
            assert!(bench.run(Span::from_secs(5)).tripped);
        }
    }
}

#[test]
fn h4_on_the_way_to_the_boil_the_kettles_probe_is_relied_upon() {
    let mut bench = Bench::new();
    bench.supervisor.start(sheet([Step::BringToBoil]));
    assert_eq!(bench.tick().heat, Some((Element::BoilKettle, Duty::FULL)));
    bench.raw.boil_kettle = Err(ProbeFault::Shorted);
    assert!(bench.run(Span::from_millis(1_500)).hold);
    assert!(bench.run(Span::from_secs(5)).tripped);
}

#[test]
fn h11_a_probe_that_is_blind_from_the_start_keeps_its_own_element_off_and_is_told() {
    let mut bench = Bench::new();
    bench.raw.liquor_tank = Err(ProbeFault::Open);
    bench.supervisor.demand(Vessel::LiquorTank, Demand::Hold(c(70_000))).unwrap();
    bench.supervisor.demand(Vessel::BoilKettle, HALF).unwrap();
    assert_eq!(bench.run(Span::from_mins(1)).heat, Some((Element::BoilKettle, Duty::from_basis_points(5_000))));
    assert!(bench.events().contains(&Event::Advised(Advice::Probe(Vessel::LiquorTank, ProbeFault::Open))));
    assert_eq!(bench.supervisor.guard().latch(), None);
}

#[test]
fn t7_a_trip_stops_the_sheet_where_it_is_and_only_a_person_who_arms_sets_it_going() {
    let mut bench = Bench::new();
    let (lasts, duty) = (Span::from_secs(60), Duty::from_basis_points(2_000));
    bench.supervisor.start(sheet([Step::Boil { duty, lasts, additions: [Span::from_secs(40)].into_iter().collect() }]));
    bench.run(Span::from_secs(10));
    let left = |bench: &Bench| bench.supervisor.status().directive.unwrap().timer_left;
    let before = left(&bench);
    bench.report = FastReport { stopped: true, disarmed: true, ..FastReport::default() };
    assert!(bench.tick().tripped);
    bench.report = FastReport::default();
    let lease = bench.run(Span::from_mins(10));
    assert!(lease.tripped && lease.heat.is_none() && bench.supervisor.status().directive.unwrap().stands);
    assert_eq!(left(&bench), before, "its time does not run on");
    bench.switches.acknowledge = true;
    let lease = bench.run(Span::from_mins(10));
    assert!(!lease.tripped && lease.heat.is_none(), "acknowledged is not armed");
    assert_eq!(left(&bench), before);
    bench.report.armed = true;
    assert_eq!(bench.tick().heat, Some((Element::BoilKettle, duty)));
    let stood = bench.events().into_iter().find_map(|event| if let Event::SheetStood(time) = event { Some(time) } else { None });
    assert_eq!(stood, Some(Span::from_mins(20).plus(TICK)));
}

#[test]
fn the_tank_serves_the_mash_and_never_above_its_own_limit() {
    let mut bench = Bench::new();
    bench.supervisor.demand(Vessel::MashTun, Demand::Hold(c(66_000))).unwrap();
    bench.tick();
    let setpoints = bench.supervisor.status().setpoints;
    assert_eq!((setpoints.mash_tun, setpoints.liquor_tank), (Some(c(66_000)), Some(c(72_000))));
    bench.supervisor.demand(Vessel::MashTun, Demand::Hold(c(89_000))).unwrap();
    bench.tick();
    assert_eq!(bench.supervisor.status().setpoints.liquor_tank, Some(c(88_000)), "two kelvin below its limit");
}

#[test]
fn a_vessel_the_selector_forbids_does_not_keep_the_other_waiting() {
    let mut bench = Bench::new();
    bench.supervisor.demand(Vessel::LiquorTank, Demand::Hold(c(70_000))).unwrap();
    bench.supervisor.demand(Vessel::BoilKettle, HALF).unwrap();
    bench.switches.selector = crate::fast::Selector::Only(Element::BoilKettle);
    assert_eq!(bench.run(Span::from_secs(20)).heat, Some((Element::BoilKettle, Duty::from_basis_points(5_000))));
    bench.switches.selector = crate::fast::Selector::Auto;
    assert_eq!(bench.run(Span::from_secs(20)).heat.map(|(element, _)| element), Some(Element::LiquorTank));
    assert_eq!(bench.supervisor.status().yields, Some(Element::BoilKettle));
}

#[test]
fn a_sheet_takes_over_and_leaves_everything_off_when_it_ends() {
    let mut bench = Bench::new();
    bench.supervisor.demand(Vessel::BoilKettle, HALF).unwrap();
    bench.supervisor.start(sheet([
        Step::Boil {
            duty: Duty::from_basis_points(2_000),
            lasts: Span::from_secs(2),
            additions: [Span::ZERO].into_iter().collect(),
        },
        Step::Whirlpool { lasts: Span::from_secs(1) },
    ]));
    assert_eq!(bench.tick().heat, Some((Element::BoilKettle, Duty::from_basis_points(2_000))));
    let lease = bench.run(Span::from_secs(2));
    assert_eq!((lease.heat, lease.pumps), (None, Pumps { wort: true, ..Pumps::default() }));
    let lease = bench.run(Span::from_secs(2));
    assert_eq!((lease.heat, lease.pumps, bench.supervisor.sequencer().is_some()), (None, Pumps::default(), false));
    assert_eq!(bench.events(), [Event::Armed, Event::Step(0), Event::Addition(0), Event::Step(1), Event::SheetDone]);
    assert_eq!(bench.supervisor.demand(Vessel::BoilKettle, HALF), Ok(()), "the panel is the brewer's again");
}

#[test]
fn the_log_tells_the_story_of_a_stop() {
    let mut bench = Bench::new();
    bench.tick();
    bench.report.grant = Some(Element::LiquorTank);
    bench.tick();
    bench.report = FastReport { stopped: true, disarmed: true, ..FastReport::default() };
    bench.tick();
    bench.report = FastReport::default();
    bench.tick();
    bench.switches.acknowledge = true;
    bench.tick();
    let trip = crate::guard::Trip::StopLoop;
    assert_eq!(
        bench.events(),
        [
            Event::Armed,
            Event::Grant(Some(Element::LiquorTank)),
            Event::Disarmed,
            Event::Grant(None),
            Event::Tripped(trip),
            Event::Acknowledged(trip)
        ]
    );
}

#[test]
fn what_is_stored_comes_back_in_force() {
    let learned = Learned::new(Slope::from_micro(60_000), Span::from_secs(30), Slope::from_micro(700));
    let knowledge = Knowledge {
        vessels: PerElement { liquor_tank: Some(learned), boil_kettle: None },
        mash_offset: Some(Kelvin::from_milli(2_250)),
    };
    let supervisor = Supervisor::new(Settings::new(draft()).unwrap(), knowledge);
    assert_eq!(supervisor.knowledge(), knowledge);
    assert_eq!(supervisor.guard().latch(), None);
}

#[test]
fn filling_and_heating_are_kept_apart_by_a_persons_answer() {
    let mut bench = Bench::new();
    let litres = Litres::from_millilitres(20_000);
    bench.supervisor.start(sheet([Step::HeatStrike { fill: litres, to: c(70_000) }]));
    assert_eq!(bench.run(Span::from_mins(10)).heat, None);
    bench.supervisor.sequencer_mut().unwrap().answer(crate::sequencer::Prompt::FillTank(litres));
    assert!(bench.run(Span::from_secs(1)).heat.is_some());
}
