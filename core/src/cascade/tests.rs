use super::*;

const TICK: Span = Span::from_millis(250);

fn c(milli: i32) -> Celsius {
    Celsius::from_milli(milli)
}

fn k(milli: i32) -> Kelvin {
    Kelvin::from_milli(milli)
}

/// A tank that is settled, without power.
fn still(tank: i32) -> Tank {
    Tank { reading: c(tank), settled: c(tank), slope: None, applied: Duty::ZERO }
}

/// One tick with a still tank: the tank's target.
fn goal(cascade: &mut Cascade, mash: i32, tank: i32) -> Celsius {
    cascade.tick(TICK, c(66_000), c(mash), &still(tank)).tank
}

#[test]
fn the_tanks_target_never_leaves_the_mash_target_and_its_limit() {
    for mash in (-100_000..=130_000).step_by(731) {
        for tank in [-10_000, 20_000, 66_000, 72_000, 100_000] {
            let mut cascade = Cascade::new(k(6_000), None);
            for _ in 0..50 {
                let goal = cascade.tick(Span::from_secs(1), c(66_000), c(mash), &still(tank)).tank;
                assert!((c(66_000)..=c(72_000)).contains(&goal), "mash {mash}, tank {tank}: {goal:?}");
            }
        }
    }
}

#[test]
fn a_mash_at_its_target_gets_the_offset_and_a_cold_one_a_push_that_its_heat_capacity_can_take() {
    let mut cascade = Cascade::new(k(6_000), Some(k(2_000)));
    assert_eq!(goal(&mut cascade, 66_000, 66_000), c(68_000));
    let pushed = goal(&mut cascade, 62_000, 66_000).above(c(68_000)).milli();
    assert!((1_898..=1_902).contains(&pushed), "4 K x 0.95 x 0.5, not {pushed} mK");
    assert_eq!(goal(&mut cascade, 20_000, 66_000), c(72_000), "at the limit");
    assert_eq!(goal(&mut cascade, 71_500, 71_000), c(66_000), "a mash too hot gets no push below its target");
}

/// Two rests, 66 and 72 C, of an ideal pair of vessels: the mash follows the tank with `time_s`, and the tank gives what the mash takes.
fn pair(cascade: &mut Cascade, ratio: f64, time_s: f64, offset: f64, minutes: u32) -> f64 {
    let (mut mash, mut tank) = (62.0, 62.0);
    let climb = 0.02;
    let milli = |t: f64| c((t * 1000.0).round() as i32);
    let slope = Some(Slope::from_micro(20_000));
    let mut applied = 0.0_f64;
    for tick in 0..minutes * 240 {
        let target = if tick < minutes * 120 { 66_000 } else { 72_000 };
        let share = Duty::from_basis_points((applied * 10_000.0).round() as u32);
        let seen = Tank { reading: milli(tank), settled: milli(tank), slope, applied: share };
        let goal = cascade.tick(TICK, c(target), milli(mash), &seen);
        let wanted = f64::from(goal.tank.milli()) / 1000.0;
        // Proportional inner loop with a band of a tenth of a kelvin.
        applied = ((wanted - tank) / 0.1).clamp(0.0, 1.0);
        let flow = (tank - mash) / time_s;
        // The loss grows with the rise over the room, 20 C.
        mash += 0.25 * (flow - offset / time_s * (mash - 20.0) / 46.0);
        tank += 0.25 * (climb * applied - ratio * flow);
    }
    mash
}

#[test]
fn ratio_time_constant_and_offset_of_an_ideal_pair_are_found() {
    for (ratio, time_s, offset) in [(0.25, 150.0, 0.3), (1.0, 400.0, 1.0), (2.5, 900.0, 1.8)] {
        let mut cascade = Cascade::new(k(6_000), None);
        let mash = pair(&mut cascade, ratio, time_s, offset, 240);
        let found = (cascade.balance.ratio() as f64 / 65_536.0, cascade.time_constant().as_secs() as f64);
        // Two small steps taught them: what was assumed at first still weighs.
        assert!((found.0 / ratio - 1.0).abs() < 0.2, "ratio {ratio}: {found:?}");
        assert!((found.1 / time_s - 1.0).abs() < 0.25, "time {time_s}: {found:?}");
        assert!((f64::from(cascade.offset().milli()) / 1000.0 - offset).abs() < 0.05, "offset {offset}: {:?}", cascade.offset());
        assert!((mash - 72.0).abs() < 0.03, "the mash stands at {mash}");
    }
}

#[test]
fn what_was_learned_stays_within_zero_and_the_limit() {
    let limit = k(2_000);
    assert_eq!(Cascade::new(limit, Some(k(9_000))).offset(), limit);
    assert_eq!(Cascade::new(limit, Some(k(-9_000))).offset(), Kelvin::ZERO);
    assert_eq!(Cascade::new(k(300), None).offset(), k(300));
    assert_eq!(Cascade::new(limit, None).offset(), FIRST_OFFSET);
    for (gap, bound) in [(19_000, limit), (-900, Kelvin::ZERO)] {
        let mut cascade = Cascade::new(limit, None);
        for _ in 0..40_000 {
            // A mash that sits still, whatever the tank: the offset is drawn to the gap.
            cascade.stall = Stall::default();
            goal(&mut cascade, 66_000, 66_000 + gap);
        }
        assert!(cascade.offset() <= bound.plus(k(18_000)) && cascade.offset() >= Kelvin::ZERO, "{:?}", cascade.offset());
    }
}

#[test]
fn a_mash_that_does_not_answer_is_told_and_no_longer_pushed_until_it_moves() {
    let mut cascade = Cascade::new(k(6_000), Some(k(500)));
    let tick = |cascade: &mut Cascade, mash, tank| cascade.tick(Span::from_secs(1), c(66_000), c(mash), &still(tank));
    let told = (0..1_200).find(|_| tick(&mut cascade, 63_000, 68_000).flow_stopped);
    assert!(told.is_some_and(|s| (440..450).contains(&s)), "2000 K s at 4.5 K: {told:?}");
    assert_eq!(tick(&mut cascade, 63_000, 68_000).tank, c(66_500), "the offset alone");
    assert!(!tick(&mut cascade, 63_250, 68_000).flow_stopped, "it moves again");
    assert!(tick(&mut cascade, 63_250, 68_000).tank > c(67_000), "and is pushed again");
}

#[test]
fn recirculation_waits_while_the_tank_would_cool_the_mash() {
    let mut cascade = Cascade::new(k(6_000), None);
    let may = [66_000, 65_100, 64_900, 65_900, 66_000, 65_100]
        .map(|tank| cascade.tick(TICK, c(66_000), c(66_000), &still(tank)).recirculate);
    assert_eq!(may, [true, true, false, false, true, true]);
}

#[test]
fn targets_at_the_ends_of_the_range_do_not_wrap() {
    let mut cascade = Cascade::new(k(20_000), None);
    let forever = Span::from_micros(u64::MAX);
    for _ in 0..20 {
        let high = cascade.tick(forever, Celsius::MAX, Celsius::MIN, &still(-100_000));
        assert_eq!(high.tank, Celsius::MAX);
        assert_eq!(cascade.tick(forever, Celsius::MIN, Celsius::MAX, &still(300_000)).tank, Celsius::MIN);
    }
}
