use super::*;
use crate::vessel::PerElement;
use Element::{BoilKettle, LiquorTank};

const TICK: Span = Span::from_millis(250);

fn duty(basis_points: u32) -> Duty {
    Duty::from_basis_points(basis_points)
}

fn bulk(basis_points: u32) -> Want {
    Want { duty: duty(basis_points), holding: false, slope: Some(Slope::from_micro(65_000)) }
}

fn hold(basis_points: u32) -> Want {
    Want { holding: true, ..bulk(basis_points) }
}

/// What a bench of 5.5 kW elements saw of an arbiter whose grants take effect at once.
#[derive(Debug, Default)]
struct Bench {
    arbiter: Arbiter,
    applied: PerElement<Duty>,
    on: PerElement<Span>,
    owner: Option<Element>,
    changes: u32,
}

impl Bench {
    fn run(&mut self, tank: Want, kettle: Want, how_long: Span) {
        let wants = PerElement { liquor_tank: tank, boil_kettle: kettle };
        for _ in 0..how_long.as_millis() / TICK.as_millis() {
            let grant = self.arbiter.tick(TICK, &wants, &self.applied);
            let owner = grant.map(|(element, _)| element);
            self.changes += u32::from(owner != self.owner);
            self.owner = owner;
            self.applied = PerElement::default();
            if let Some((element, duty)) = grant {
                *self.applied.get_mut(element) = duty;
                let on = self.on.get_mut(element);
                *on = on.plus(TICK.share(duty));
            }
        }
    }
}

#[test]
fn a_vessel_alone_gets_what_it_wants_and_nothing_gets_nothing() {
    let mut bench = Bench::default();
    bench.run(Want::default(), Want::default(), Span::from_secs(10));
    assert_eq!((bench.owner, bench.on), (None, PerElement::default()));
    bench.run(hold(1_250), Want::default(), Span::from_secs(80));
    assert_eq!((bench.owner, bench.on.liquor_tank), (Some(LiquorTank), Span::from_secs(10)));
    bench.run(Want::default(), bulk(10_000), Span::from_secs(10));
    assert_eq!((bench.owner, bench.on.boil_kettle), (Some(BoilKettle), Span::from_secs(10)));
    assert_eq!(bench.changes, 2);
}

#[test]
fn a_hold_keeps_its_mean_while_the_other_vessel_has_all_the_rest() {
    for (tank, kettle, held) in [(hold(800), bulk(10_000), LiquorTank), (bulk(10_000), hold(800), BoilKettle)] {
        let mut bench = Bench::default();
        bench.run(tank, kettle, Span::from_mins(60));
        let (got, rest) = (bench.on.get(held).as_secs(), bench.on.get(held.other()).as_secs());
        // What was applied is known one control tick late: a slice of 1.5 s may run on for 0.25 s, less while there is debt left.
        assert!((286..=304).contains(&got), "{held:?} is owed 8 % of an hour, 288 s, and had {got} s");
        assert!((3_600 - got - 2..=3_600 - got).contains(&rest), "the rest, {rest} s, is the other's");
        assert!(bench.changes <= 6 * 60 + 60, "{} changeovers in an hour", bench.changes);
    }
}

#[test]
fn two_holds_share_by_what_each_is_owed() {
    let mut bench = Bench::default();
    bench.run(hold(3_000), hold(1_500), Span::from_mins(60));
    let (tank, kettle) = (bench.on.liquor_tank.as_secs(), bench.on.boil_kettle.as_secs());
    // At the end each may still be owed up to a slice, 4.6 s.
    assert!(tank >= 1_075 && kettle >= 535, "30 % and 15 % of an hour are 1080 and 540 s: {tank} s, {kettle} s");
}

#[test]
fn two_heat_ups_are_done_one_after_the_other_the_tank_first() {
    let mut bench = Bench::default();
    bench.run(bulk(10_000), bulk(10_000), Span::from_mins(30));
    assert_eq!(bench.on, PerElement { liquor_tank: Span::from_mins(30), boil_kettle: Span::ZERO });
    let mut bench = Bench::default();
    bench.run(Want::default(), bulk(10_000), Span::from_secs(3));
    bench.run(bulk(10_000), bulk(10_000), Span::from_mins(5));
    assert_eq!((bench.owner, bench.changes), (Some(LiquorTank), 2), "the tank takes over once the kettle has dwelt");
    assert_eq!(bench.on.boil_kettle, MIN_DWELL, "counted from the first tick after the grant");
}

#[test]
fn the_vessel_that_waits_is_named() {
    let wants = PerElement { liquor_tank: bulk(10_000), boil_kettle: bulk(5_000) };
    let mut arbiter = Arbiter::new();
    assert_eq!(arbiter.yields(&wants), None, "nobody owns anything yet");
    arbiter.tick(TICK, &wants, &PerElement::default());
    assert_eq!(arbiter.yields(&wants), Some(BoilKettle));
    let alone = PerElement { boil_kettle: Want::default(), ..wants };
    assert_eq!(arbiter.yields(&alone), None);
}

#[test]
fn a_debt_is_bounded_and_forgotten_when_the_demand_ends() {
    let mut bench = Bench::default();
    // An hour in which nothing was applied, as while disarmed.
    let wants = PerElement { liquor_tank: hold(9_000), boil_kettle: bulk(10_000) };
    for _ in 0..14_400 {
        bench.arbiter.tick(TICK, &wants, &PerElement::default());
    }
    assert!(bench.arbiter.debt.liquor_tank <= SLICE.1);
    bench.run(Want::default(), bulk(10_000), TICK);
    assert_eq!(bench.arbiter.debt, PerElement::default());
}

#[test]
fn changeovers_stay_few_whatever_the_two_vessels_want() {
    let mut seed = 1_u64;
    let mut draw = |below: u64| {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 33) % below
    };
    for _ in 0..200 {
        let mut want = || Want {
            duty: duty(1 + draw(10_000) as u32),
            holding: draw(2) == 0,
            slope: Some(Slope::from_micro(500 + draw(400_000) as i32)),
        };
        let (tank, kettle) = (want(), want());
        let mut bench = Bench::default();
        bench.run(tank, kettle, Span::from_mins(10));
        // Two holds take turns in slices of at least 1 s; else a slice of at least 1 s and a dwell of at least 6 s take turns.
        let most = if tank.holding && kettle.holding { 600 } else { 10 * 60 * 2 / 7 + 1 };
        assert!(bench.changes <= most, "{} in ten minutes: {tank:?} {kettle:?}", bench.changes);
    }
}

#[test]
fn a_slice_moves_the_vessel_by_three_tenths_of_a_kelvin_within_its_bounds() {
    let sliced = |micro| slice(&Want { slope: Some(Slope::from_micro(micro)), ..Want::default() });
    assert_eq!(sliced(65_000).as_millis(), 4_615);
    assert_eq!((sliced(1_000_000), sliced(1), sliced(0), sliced(-5)), (SLICE.0, SLICE.1, SLICE.1, SLICE.1));
    assert_eq!(slice(&Want::default()), SLICE.0);
}
