use super::*;
use crate::watch::state::Source;

fn live(at_s: f64) -> Now {
    let source = Source::Rehearsal { speed: 1.0, drill: None };
    Now { at_s, link: Link::Live, stale: false, ..Now::waiting(source, "") }
}

fn hub() -> Arc<Hub> {
    Hub::new(live(0.0), About::default()).0
}

#[test]
fn every_beat_is_counted_and_a_slow_reader_sees_how_many_it_missed() {
    let hub = hub();
    let mut reader = hub.moments();
    for at in 1..=3 {
        hub.put(live(f64::from(at)), 0.0);
        hub.beat();
    }
    let seen = reader.borrow_and_update().clone();
    assert_eq!((seen.now.count, seen.now.at_s), (3, 3.0));
    let event = String::from_utf8_lossy(&seen.event);
    assert!(event.contains("\"count\":3"), "{event}");
}

#[test]
fn h36_news_that_is_late_by_three_seconds_is_stale_though_it_has_just_come() {
    let hub = hub();
    hub.put(live(10.0), 2.5);
    hub.beat();
    assert!(!hub.now().now.stale);
    hub.put(live(11.0), 3.0);
    hub.beat();
    let now = hub.now();
    assert!(now.now.stale && now.now.age_s >= 3.0, "{:?}", now.now);
}

#[test]
fn h36_a_lost_link_is_stale_at_once_and_keeps_what_was_last_heard() {
    let hub = hub();
    hub.put(live(10.0), 0.0);
    hub.set_link(Link::Lost { why: "the port is gone".to_owned() });
    hub.beat();
    let now = hub.now();
    assert_eq!((now.now.stale, now.now.at_s), (true, 10.0));
}

#[test]
fn the_end_of_a_rehearsed_day_does_not_grow_old() {
    let hub = hub();
    hub.put(Now { link: Link::Over, ..live(10.0) }, 9.0);
    hub.beat();
    assert!(!hub.now().now.stale);
}

#[test]
fn an_order_to_a_source_that_is_gone_is_answered() {
    let (hub, asked) = Hub::new(live(0.0), About::default());
    drop(asked);
    let runtime = tokio::runtime::Builder::new_current_thread().build().expect("a runtime");
    let outcome = runtime.block_on(hub.ask(crate::watch::order::Act::Stop {}));
    assert!(outcome.expect_err("nobody is there").contains("look at the panel"));
}
