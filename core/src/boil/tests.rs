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
            Phase::Edge { duty: edge, .. } => assert!(duty == edge && (EDGE_DUTY.0..=EDGE_DUTY.1).contains(&duty), "{duty:?}"),
            Phase::HotBreak { duty: kept, .. } | Phase::Rolling { duty: kept } => {
                assert!(duty == kept && duty < EDGE_DUTY.1, "{duty:?}");
            }
        }
    }
    let phases: std::vec::Vec<_> = walk.iter().map(|(phase, _)| *phase).collect();
    let [Phase::Approach, Phase::Edge { duty: edge, .. }, Phase::HotBreak { left, duty: kept }, Phase::Rolling { .. }] = phases[..]
    else {
        panic!("{phases:?}")
    };
    assert_eq!(left, BREAK_LASTS);
    assert!(kept < edge, "the boil is kept, not driven");
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
    assert_eq!(boil.tick(TICK, c(95_000), c(97_499), SLOPE, Duty::FULL), Duty::FULL);
    let edge = boil.tick(TICK, c(95_000), c(97_500), SLOPE, Duty::FULL);
    assert_eq!(edge, UNKNOWN_DUTY.0, "no climb has been seen yet");
    assert_eq!(boil.tick(TICK, c(90_000), c(90_000), SLOPE, Duty::FULL), edge, "and is not left again");
}

#[test]
fn a_probe_that_reads_two_kelvin_low_does_not_hide_the_boil() {
    let mut boil = Boil::new(BOILING);
    let first = simmer(&mut boil, c(97_900), Span::from_secs(45));
    let last = simmer(&mut boil, c(97_900), Span::from_secs(100));
    assert!(matches!(boil.phase(), Phase::Edge { raised: MOST_RAISES, .. }) && last > first, "more heat is tried first");
    simmer(&mut boil, c(97_900), Span::from_secs(15));
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
    for tick in 0..2_400 {
        // 4 mK/s: less than half of the climb that the edge aims at, from the edge to a kelvin past where the boil was expected.
        let reading = c(97_000 + tick * 4 / 4);
        duty = boil.tick(TICK, reading, reading, SLOPE, duty);
        assert!(matches!(boil.phase(), Phase::Approach | Phase::Edge { .. }), "{reading:?}");
    }
}

#[test]
fn a_kettle_that_stands_still_because_nothing_heats_it_does_not_boil() {
    for applied in [Duty::ZERO, Duty::from_basis_points(1_900)] {
        let mut boil = Boil::new(BOILING);
        for _ in 0..4 * 3_600 {
            boil.tick(TICK, c(98_000), c(98_000), SLOPE, applied);
        }
        assert!(matches!(boil.phase(), Phase::Edge { .. }), "{applied:?} applied for an hour");
        simmer(&mut boil, c(99_000), Span::from_secs(45));
        assert!(matches!(boil.phase(), Phase::Edge { .. }), "a window of heat is asked for");
        simmer(&mut boil, c(99_000), Span::from_secs(20));
        assert!(matches!(boil.phase(), Phase::HotBreak { .. }));
    }
}

#[test]
fn the_limit_is_a_third_of_the_climb_aimed_at_with_or_without_a_learned_slope() {
    for slope in [SLOPE, None] {
        for (rise_per_s, plateau) in [(4, false), (1, true)] {
            let mut boil = Boil::new(BOILING);
            let mut duty = Duty::ZERO;
            for tick in 0..400 {
                let reading = c(98_900 + tick * rise_per_s / 4);
                duty = boil.tick(TICK, reading, reading, slope, duty);
            }
            assert_eq!(matches!(boil.phase(), Phase::HotBreak { .. }), plateau, "{rise_per_s} mK/s");
        }
    }
}

#[test]
fn the_edge_makes_good_a_large_loss_so_that_a_small_element_still_boils() {
    let mut boil = Boil::new(BOILING);
    let slope = Some(Slope::from_micro(20_000));
    let mut duty = Duty::ZERO;
    // Full power climbs by 9 of 20 mK/s: the kettle loses 55 %.
    for tick in 0..1_600 {
        let reading = c(94_000 + tick * 9 / 4);
        duty = boil.tick(TICK, reading, reading, slope, duty);
    }
    let Phase::Edge { duty: edge, .. } = boil.phase() else { panic!("{:?}", boil.phase()) };
    // 0.55 x 1.12 + 10 / 20 = 1.12, held to the greatest share.
    assert_eq!(edge, EDGE_DUTY.1);
}
