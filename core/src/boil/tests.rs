use super::*;

extern crate std;

const TICK: Span = Span::from_millis(250);
const BOILING: Celsius = Celsius::from_milli(100_000);

fn c(milli: i32) -> Celsius {
    Celsius::from_milli(milli)
}

/// Twenty litres on 5.5 kW.
const SLOPE: Option<Slope> = Some(Slope::from_micro(65_000));

/// Ticks for a while at a fixed reading with the duty that the boil itself asks for.
fn simmer(boil: &mut Boil, reading: Celsius, how_long: Span) -> Duty {
    let mut duty = Duty::ZERO;
    for _ in 0..how_long.as_millis() / TICK.as_millis() {
        duty = boil.tick(TICK, reading, reading, SLOPE, duty);
    }
    duty
}

#[test]
fn goes_from_full_power_to_the_edge_through_the_hot_break_to_a_rolling_boil() {
    let mut boil = Boil::new(BOILING);
    let mut duty = Duty::ZERO;
    let mut walk = std::vec![(boil.phase(), Span::ZERO)];
    for tick in 0..6_000_u64 {
        let reading = climb(tick);
        duty = boil.tick(TICK, reading, reading, SLOPE, duty);
        let kind = core::mem::discriminant(&boil.phase());
        if kind != core::mem::discriminant(&walk.last().unwrap().0) {
            walk.push((boil.phase(), TICK.times(tick)));
        }
        match boil.phase() {
            Phase::Approach => assert_eq!(duty, Duty::FULL),
            Phase::Edge { duty: share } => assert!(duty == share && (EDGE_DUTY.0..=EDGE_DUTY.1).contains(&duty)),
            Phase::HotBreak { duty: share, .. } | Phase::Rolling { duty: share } => assert!(duty == share && duty < EDGE_DUTY.1),
        }
    }
    let phases: std::vec::Vec<_> = walk.iter().map(|(phase, _)| *phase).collect();
    let [Phase::Approach, Phase::Edge { duty: edge }, Phase::HotBreak { left, duty: foam }, Phase::Rolling { duty: rolling }] =
        phases[..]
    else {
        panic!("{phases:?}")
    };
    assert_eq!((left, foam), (BREAK_LASTS, rolling));
    assert!(foam < edge, "less power through the foam than at the edge");
    let lasted = walk[3].1.less(walk[2].1);
    assert!(lasted >= BREAK_LASTS && lasted <= BREAK_LASTS.plus(TICK), "the hot break is watched for {lasted:?}");
    assert!(climb(walk[1].1.as_millis() / 250) >= BOILING.less(EDGE));
}

/// 80 C, then 65 mK/s, then 39 mK/s from 97 C, then 100 C.
fn climb(tick: u64) -> Celsius {
    let ms = i32::try_from(tick * 250).unwrap();
    let full = 80_000 + ms * 65 / 1_000;
    if full < 97_000 { c(full) } else { c((97_000 + (ms - 261_538) * 39 / 1_000).min(100_000)) }
}

#[test]
fn the_edge_is_reached_by_where_the_kettle_will_settle() {
    let mut boil = Boil::new(BOILING);
    assert_eq!(boil.tick(TICK, c(95_000), c(96_999), SLOPE, Duty::FULL), Duty::FULL);
    assert_eq!(boil.tick(TICK, c(95_000), c(97_000), SLOPE, Duty::FULL), EDGE_DUTY_UNKNOWN, "no climb known yet");
    assert_eq!(boil.tick(TICK, c(90_000), c(90_000), SLOPE, Duty::FULL), EDGE_DUTY_UNKNOWN, "and is not left again");
}

#[test]
fn a_probe_that_reads_two_kelvin_low_does_not_hide_the_boil() {
    let mut boil = Boil::new(BOILING);
    simmer(&mut boil, c(97_900), Span::from_secs(65));
    assert!(matches!(boil.phase(), Phase::Edge { .. }));
    simmer(&mut boil, c(97_900), Span::from_secs(10));
    assert!(matches!(boil.phase(), Phase::HotBreak { .. }));
}

#[test]
fn a_still_kettle_far_below_the_boil_is_no_plateau() {
    let mut boil = Boil::new(BOILING);
    simmer(&mut boil, c(95_900), Span::from_mins(30));
    assert_eq!(boil.phase(), Phase::Approach);
}

#[test]
fn a_kettle_that_still_climbs_is_no_plateau() {
    let mut boil = Boil::new(BOILING);
    let mut duty = Duty::ZERO;
    for tick in 0..480 {
        // 12 mK/s: a third of what the edge's power does to twenty litres.
        let reading = c(96_500 + tick * 3);
        duty = boil.tick(TICK, reading, reading, SLOPE, duty);
        assert!(matches!(boil.phase(), Phase::Approach | Phase::Edge { .. }), "{reading:?}");
    }
}

#[test]
fn a_kettle_that_stands_still_because_nothing_heats_it_does_not_boil() {
    for applied in [Duty::ZERO, Duty::from_basis_points(2_400)] {
        let mut boil = Boil::new(BOILING);
        for _ in 0..4 * 3_600 {
            boil.tick(TICK, c(98_000), c(98_000), SLOPE, applied);
        }
        assert!(matches!(boil.phase(), Phase::Edge { .. }), "{applied:?} applied for an hour");
        simmer(&mut boil, c(98_000), Span::from_secs(55));
        assert!(matches!(boil.phase(), Phase::Edge { .. }), "a full minute of heat is asked for");
        simmer(&mut boil, c(98_000), Span::from_secs(20));
        assert!(matches!(boil.phase(), Phase::HotBreak { .. }));
    }
}
