use super::*;
use std::vec::Vec;

extern crate std;

const TICK: Span = Span::from_millis(250);
const RUNS: FlowFacts = FlowFacts { elapsed: TICK, flows: Some(true), pump: true, coil: true, acknowledge: false };
const STANDS: FlowFacts = FlowFacts { flows: Some(false), ..RUNS };

/// The time after which a finding is as asked; `None` within ten minutes. What is told on the way is counted.
fn after(watch: &mut FlowWatch, facts: FlowFacts, is: impl Fn(&FlowFinding) -> bool) -> (Option<Span>, Vec<Advice>) {
    let mut told = Vec::new();
    let mut pump = facts.pump;
    let at = (1..=2_400).find_map(|n| {
        let finding = watch.tick(&FlowFacts { pump, ..facts });
        // The pump does as it is told.
        pump = facts.pump && !finding.rest;
        told.extend(finding.advice);
        is(&finding).then(|| TICK.times(n))
    });
    (at, told)
}

#[test]
fn h15_flow_that_stops_holds_at_once_and_rests_the_pump_after_four_seconds_until_somebody_has_looked() {
    let mut watch = FlowWatch::default();
    assert_eq!(after(&mut watch, RUNS, |finding| *finding != FlowFinding::default()), (None, std::vec![]));
    assert_eq!(watch.tick(&STANDS), FlowFinding { hold: true, rest: false, advice: None });
    assert_eq!(after(&mut watch, STANDS, |finding| finding.rest), (Some(DRY_PATIENCE.less(TICK)), std::vec![Advice::NoFlow]));
    // Told once, and it stays so.
    assert_eq!(after(&mut watch, STANDS, |finding| !finding.rest || !finding.hold), (None, std::vec![]));
    let looked = watch.tick(&FlowFacts { acknowledge: true, pump: false, ..STANDS });
    assert_eq!(looked, FlowFinding::default());
    // It may fill its hoses anew.
    assert_eq!(after(&mut watch, STANDS, |finding| finding.rest), (Some(PRIME), std::vec![Advice::NoFlow]));
    assert_eq!(watch.tick(&FlowFacts { coil: false, pump: false, ..STANDS }), FlowFinding::default());
}

#[test]
fn h16_a_pump_that_never_primes_rests_after_ten_seconds_and_one_that_does_is_left_alone() {
    let mut watch = FlowWatch::default();
    assert_eq!(after(&mut watch, STANDS, |finding| finding.hold), (Some(PRIME), std::vec![Advice::NoFlow]));
    let mut watch = FlowWatch::default();
    for _ in 0..36 {
        assert_eq!(watch.tick(&STANDS), FlowFinding::default(), "it fills its hoses");
    }
    assert_eq!(after(&mut watch, RUNS, |finding| *finding != FlowFinding::default()), (None, std::vec![]));
}

#[test]
fn a_flicker_holds_for_as_long_as_it_lasts_and_tells_nobody() {
    let mut watch = FlowWatch::default();
    watch.tick(&RUNS);
    for _ in 0..15 {
        assert_eq!(watch.tick(&STANDS), FlowFinding { hold: true, rest: false, advice: None });
    }
    assert_eq!(watch.tick(&RUNS), FlowFinding::default());
}

#[test]
fn run_off_and_rigs_without_a_meter_are_left_alone_and_stray_flow_is_told_once() {
    let mut watch = FlowWatch::default();
    assert_eq!(after(&mut watch, FlowFacts { coil: false, ..STANDS }, |finding| finding.hold || finding.rest), (None, std::vec![]));
    assert_eq!(after(&mut watch, FlowFacts { flows: None, ..RUNS }, |finding| finding.hold || finding.rest), (None, std::vec![]));
    let stray = FlowFacts { pump: false, coil: false, ..RUNS };
    let told = after(&mut watch, stray, |finding| finding.advice.is_some());
    assert_eq!(told, (Some(STRAY_PATIENCE), std::vec![Advice::StrayFlow]));
    assert_eq!(after(&mut watch, stray, |finding| finding.hold), (None, std::vec![]), "once, and nothing is held");
}

#[test]
fn a_span_of_more_than_a_word_counts_as_the_most() {
    assert_eq!([4_294, 5_000].map(|seconds| Span::from_secs(seconds).short_us()), [4_294_000_000, u32::MAX]);
}

#[test]
fn pulses_are_a_rate_across_the_counters_end() {
    let mut meter = Meter::new(450);
    // 8 L/min are 60 pulses a second, 15 a tick.
    let mut counter: u16 = 65_500;
    meter.count(counter);
    for _ in 0..4 {
        counter = counter.wrapping_add(15);
        assert_eq!(meter.count(counter), Some(true));
    }
    assert_eq!(meter.ml_per_min(), 8_000);
    for expected in [true, true, true, false] {
        assert_eq!(meter.count(counter), Some(expected), "a second without a pulse");
    }
    assert_eq!(Meter::new(0).count(77), None);
}
