use super::*;

const TICK: Span = Span::from_millis(250);

fn c(milli: i32) -> Celsius {
    Celsius::from_milli(milli)
}

fn k(milli: i32) -> Kelvin {
    Kelvin::from_milli(milli)
}

#[test]
fn the_tanks_target_never_leaves_the_mash_target_and_its_limit() {
    for mash in (-100_000..=130_000).step_by(731) {
        for tank in [-10_000, 20_000, 66_000, 72_000, 100_000] {
            let mut cascade = Cascade::new(k(6_000), None);
            for _ in 0..50 {
                let goal = cascade.tick(Span::from_secs(1), c(66_000), c(mash), c(tank));
                assert!((c(66_000)..=c(72_000)).contains(&goal), "mash {mash}, tank {tank}: {goal:?}");
            }
        }
    }
}

#[test]
fn a_mash_at_its_target_gets_the_offset_and_a_cold_one_a_push_of_half_its_lack() {
    let mut cascade = Cascade::new(k(6_000), Some(k(2_000)));
    assert_eq!(cascade.tick(TICK, c(66_000), c(66_000), c(20_000)), c(68_000));
    assert_eq!(cascade.tick(TICK, c(66_000), c(62_000), c(20_000)), c(70_000));
    assert_eq!(cascade.tick(TICK, c(66_000), c(20_000), c(20_000)), c(72_000), "at the limit");
    assert_eq!(cascade.tick(TICK, c(66_000), c(70_500), c(20_000)), c(66_000), "a mash too hot gets no push below its target");
}

#[test]
fn the_offset_is_learned_only_near_the_target_and_with_the_tank_where_it_was_sent() {
    for (mash, tank, learns) in [
        (65_500, 67_750, true),
        (66_500, 67_250, true),
        // The mash is too far away.
        (64_900, 68_050, false),
        (67_100, 66_950, false),
        // The tank is not at its target.
        (65_500, 67_200, false),
        (65_500, 68_300, false),
    ] {
        let mut cascade = Cascade::new(k(6_000), Some(k(1_500)));
        for _ in 0..240 {
            cascade.tick(Span::from_secs(1), c(66_000), c(mash), c(tank));
        }
        assert_eq!(cascade.offset() != k(1_500), learns, "mash {mash}, tank {tank}: {:?}", cascade.offset());
    }
}

#[test]
fn what_was_learned_stays_within_zero_and_the_limit() {
    let limit = k(2_000);
    assert_eq!(Cascade::new(limit, Some(k(9_000))).offset(), limit);
    assert_eq!(Cascade::new(limit, Some(k(-9_000))).offset(), Kelvin::ZERO);
    assert_eq!(Cascade::new(k(1_000), None).offset(), k(1_000));
    assert_eq!(Cascade::new(limit, None).offset(), FIRST_OFFSET);
    for (mash, bound) in [(65_100, limit), (66_900, Kelvin::ZERO)] {
        let mut cascade = Cascade::new(limit, None);
        for _ in 0..100_000 {
            let goal = cascade.goal(c(66_000), c(66_000).above(c(mash)));
            cascade.tick(Span::from_secs(1), c(66_000), c(mash), goal);
        }
        assert_eq!(cascade.offset(), bound);
    }
}

#[test]
fn targets_at_the_ends_of_the_range_do_not_wrap() {
    let mut cascade = Cascade::new(k(20_000), None);
    let forever = Span::from_micros(u64::MAX);
    assert_eq!(cascade.tick(forever, Celsius::MAX, Celsius::MIN, Celsius::MIN), Celsius::MAX);
    assert_eq!(cascade.tick(forever, Celsius::MIN, Celsius::MAX, Celsius::MAX), Celsius::MIN);
}
