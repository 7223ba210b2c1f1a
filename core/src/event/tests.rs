use super::*;

fn at(s: u64) -> Instant {
    Instant::from_micros(s * 1_000_000)
}

#[test]
fn entries_come_out_in_the_order_they_went_in() {
    let mut log: Log<4> = Log::new();
    log.push(at(1), Event::Armed);
    log.push(at(2), Event::Disarmed);
    assert_eq!(log.take(), Some(Entry { at: at(1), event: Event::Armed }));
    assert_eq!(log.take(), Some(Entry { at: at(2), event: Event::Disarmed }));
    assert_eq!((log.take(), log.take_loss()), (None, None));
}

#[test]
fn t13_a_full_log_says_how_much_it_lost_and_since_when() {
    let mut log: Log<4> = Log::new();
    for s in 10..17 {
        log.push(at(s), Event::Step(s as u8));
    }
    assert_eq!(log.take_loss(), Some(Loss { count: 3, since: at(10) }));
    assert_eq!(log.take_loss(), None, "told once");
    let kept = [13, 14, 15, 16].map(|s| Some(Entry { at: at(s), event: Event::Step(s as u8) }));
    assert_eq!([log.take(), log.take(), log.take(), log.take()], kept, "the newest are kept");
}

#[test]
fn t13_a_second_loss_is_counted_from_its_own_start() {
    let mut log: Log<2> = Log::new();
    for s in 0..3 {
        log.push(at(s), Event::Armed);
    }
    assert_eq!(log.take_loss(), Some(Loss { count: 1, since: at(0) }));
    log.push(at(9), Event::Disarmed);
    assert_eq!(log.take_loss(), Some(Loss { count: 1, since: at(1) }));
}
