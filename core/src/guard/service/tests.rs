use super::*;
use crate::units::Duty;

const TICK: Span = Span::from_millis(250);
const MASH: Pumps = Pumps { liquor: false, mash: true, wort: false };

struct Bench {
    service: Service,
    readings: PerVessel<Reading>,
    pumps: Pumps,
    report: FastReport,
}

impl Bench {
    fn new() -> Bench {
        Bench {
            service: Service::new(),
            readings: PerVessel::build(|_| Ok(Celsius::from_milli(60_000))),
            pumps: Pumps::default(),
            report: FastReport::default(),
        }
    }

    fn run(&mut self, how_long: Span) {
        for _ in 0..how_long.as_millis() / TICK.as_millis() {
            self.service.tick(TICK, &self.readings, self.pumps, &self.report);
        }
    }

    fn relied(&self) -> [bool; 3] {
        Vessel::ALL.map(|vessel| *self.service.relied().get(vessel))
    }
}

#[test]
fn nothing_is_relied_upon_before_it_had_heat_and_ten_minutes_after_it_had_the_last() {
    let mut bench = Bench::new();
    bench.run(Span::from_mins(5));
    assert_eq!(bench.relied(), [false; 3]);
    bench.report.applied.boil_kettle = Duty::from_basis_points(1);
    bench.run(TICK);
    assert_eq!(bench.relied(), [false, false, true], "the least share of power is heat");
    bench.report = FastReport { grant: Some(Element::LiquorTank), ..FastReport::default() };
    bench.run(TICK);
    assert_eq!(bench.relied(), [true, false, true], "a grant is as good as heat");
    bench.report = FastReport::default();
    bench.run(IN_SERVICE.less(TICK).less(TICK));
    assert_eq!(bench.relied(), [true, false, true]);
    bench.run(TICK);
    assert_eq!(bench.relied(), [true, false, false]);
    bench.run(TICK);
    assert_eq!(bench.relied(), [false; 3]);
}

#[test]
fn the_mash_is_relied_upon_while_its_pump_carries_the_tanks_heat_and_a_minute_longer() {
    let mut bench = Bench::new();
    bench.pumps = MASH;
    bench.run(Span::from_mins(1));
    assert_eq!(bench.relied(), [false; 3], "a pump alone brings nothing");
    bench.report.applied.boil_kettle = Duty::FULL;
    bench.run(TICK);
    assert_eq!(bench.relied(), [false, false, true], "nor does the kettle's element");
    bench.report.applied = crate::vessel::PerElement { liquor_tank: Duty::FULL, boil_kettle: Duty::ZERO };
    bench.run(TICK);
    assert_eq!(bench.relied(), [true; 3]);
    bench.report.applied.liquor_tank = Duty::ZERO;
    bench.pumps = Pumps::default();
    bench.run(Span::from_secs(59));
    assert_eq!(bench.relied(), [true; 3]);
    bench.run(Span::from_secs(1));
    assert_eq!(bench.relied(), [true, false, true]);
    // A pump that goes on long after the tank's last heat brings nothing new.
    bench.pumps = MASH;
    bench.run(IN_SERVICE.less(Span::from_mins(1)).less(TICK));
    assert!(bench.relied()[1]);
    bench.run(TICK);
    assert_eq!(bench.relied(), [false; 3]);
}

#[test]
fn a_quiet_vessel_that_loses_five_kelvin_was_handled_until_it_has_heat_again() {
    let mut bench = Bench::new();
    bench.run(TICK);
    for (milli, handled) in [(62_000, false), (57_001, false), (57_000, false), (56_990, true), (80_000, true)] {
        bench.readings.liquor_tank = Ok(Celsius::from_milli(milli));
        bench.run(TICK);
        assert_eq!(bench.service.is_handled(Vessel::LiquorTank), handled, "{milli}");
        assert!(!bench.service.is_handled(Vessel::BoilKettle));
    }
    bench.report.applied.liquor_tank = Duty::FULL;
    bench.run(TICK);
    assert!(!bench.service.is_handled(Vessel::LiquorTank));
    // While it heats, a fall is a fall: that is another detector's.
    bench.readings.liquor_tank = Ok(Celsius::from_milli(20_000));
    bench.run(TICK);
    assert!(!bench.service.is_handled(Vessel::LiquorTank));
}
