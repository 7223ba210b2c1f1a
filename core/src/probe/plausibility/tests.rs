//! The filter at the bench: one probe, four samples a second unless said.

use super::*;

/// A probe and its filter, with a clock that moves a quarter second per sample.
struct Bench {
    filter: Plausibility,
    now: Instant,
}

impl Bench {
    fn new() -> Bench {
        Bench { filter: Plausibility::new(Limits::EVERY_TICK), now: Instant::START }
    }

    /// A bench whose probe has settled at a temperature.
    fn settled_at(milli_c: i32) -> Bench {
        let mut bench = Bench::new();
        for _ in 0..4 {
            assert_eq!(bench.feed(milli_c), Ok(milli_c));
        }
        bench
    }

    fn pass(&mut self, reading: Reading) -> Result<i32, ProbeFault> {
        self.now = self.now.plus(Span::from_millis(250));
        self.filter.check(self.now, reading).map(Celsius::milli)
    }

    fn feed(&mut self, milli_c: i32) -> Result<i32, ProbeFault> {
        self.pass(Ok(Celsius::from_milli(milli_c)))
    }
}

#[test]
fn nothing_is_known_before_the_first_sample_and_the_first_is_used_at_once() {
    let mut bench = Bench::new();
    assert_eq!(bench.pass(Err(ProbeFault::Open)), Err(ProbeFault::Open));
    assert_eq!(bench.feed(18_000), Ok(18_000));
}

#[test]
fn a_spike_from_60_to_120_and_back_never_shows() {
    let mut bench = Bench::settled_at(60_000);
    assert_eq!(bench.feed(120_000), Ok(60_000));
    for _ in 0..400 {
        assert_eq!(bench.feed(60_000), Ok(60_000));
    }
}

#[test]
fn a_spike_too_small_to_be_a_jump_never_shows_either() {
    for size in [-2_900, -500, 500, 2_900] {
        let mut bench = Bench::settled_at(60_000);
        assert_eq!(bench.feed(60_000 + size), Ok(60_000));
        assert_eq!(bench.feed(60_000), Ok(60_000));
        assert_eq!(bench.feed(60_000), Ok(60_000));
        assert_eq!(bench.filter.jumps_at, [None; 3]);
    }
}

#[test]
fn a_ramp_of_9_kelvin_per_second_passes_one_sample_late() {
    let mut bench = Bench::settled_at(20_000);
    for step in 1..40 {
        assert_eq!(bench.feed(20_000 + step * 2_250), Ok(20_000 + (step - 1) * 2_250));
    }
    for step in (0..39).rev() {
        assert!(bench.feed(20_000 + step * 2_250).is_ok());
    }
}

#[test]
fn a_fault_is_bridged_for_one_second_and_no_longer() {
    let mut bench = Bench::settled_at(66_000);
    for _ in 0..4 {
        assert_eq!(bench.pass(Err(ProbeFault::Checksum)), Ok(66_000));
    }
    assert_eq!(bench.pass(Err(ProbeFault::Checksum)), Err(ProbeFault::Checksum));
    assert_eq!(bench.pass(Err(ProbeFault::Open)), Err(ProbeFault::Open));
    assert_eq!(bench.feed(66_100), Ok(66_100));
}

#[test]
fn a_lasting_jump_is_first_held_then_a_fault_then_believed() {
    let mut bench = Bench::settled_at(20_000);
    let seen: [Result<i32, ProbeFault>; 10] = core::array::from_fn(|_| bench.feed(70_000));
    let (held, doubted, believed) = (Ok(20_000), Err(ProbeFault::Implausible), Ok(70_000));
    let expected = [held, held, held, held, doubted, doubted, doubted, doubted, believed, believed];
    assert_eq!(seen, expected);
}

#[test]
fn one_glitch_a_minute_for_eight_hours_never_faults_and_the_third_in_a_minute_does() {
    let mut bench = Bench::settled_at(66_000);
    for _ in 0..480 {
        assert_eq!(bench.feed(125_000), Ok(66_000));
        for _ in 0..239 {
            assert_eq!(bench.feed(66_000), Ok(66_000));
        }
    }
    let mut bench = Bench::settled_at(66_000);
    for _ in 0..2 {
        assert_eq!(bench.feed(125_000), Ok(66_000));
        for _ in 0..79 {
            assert_eq!(bench.feed(66_000), Ok(66_000));
        }
    }
    assert_eq!(bench.feed(125_000), Err(ProbeFault::Implausible));
    // It stays until the first of the three is more than a minute old: 160 samples after it came the third.
    for _ in 0..80 {
        assert_eq!(bench.feed(66_000), Err(ProbeFault::Implausible));
    }
    assert_eq!(bench.feed(66_000), Ok(66_000));
}

#[test]
fn noise_that_agrees_with_nothing_is_three_jumps_at_once() {
    let mut bench = Bench::settled_at(66_000);
    assert_eq!(bench.feed(120_000), Ok(66_000));
    assert_eq!(bench.feed(5_000), Ok(66_000));
    assert_eq!(bench.feed(90_000), Err(ProbeFault::Implausible));
}

#[test]
fn a_plug_pulled_for_ten_minutes_comes_back_by_its_own_value_not_the_old_one() {
    for (back_at, believed_after) in [(60_500, 0), (35_000, 8)] {
        let mut bench = Bench::settled_at(60_000);
        for _ in 0..2_400 {
            let _ = bench.pass(Err(ProbeFault::Open));
        }
        for _ in 0..believed_after {
            assert_eq!(bench.feed(back_at), Err(ProbeFault::Implausible));
        }
        assert_eq!(bench.feed(back_at), Ok(back_at));
    }
}

#[test]
fn a_clock_that_runs_backwards_is_a_fault_and_what_was_known_still_counts() {
    let mut bench = Bench::settled_at(66_000);
    bench.now = Instant::START;
    let reading = Ok(Celsius::from_milli(66_000));
    assert_eq!(bench.filter.check(bench.now, reading), Err(ProbeFault::Stale));
    assert_eq!(bench.feed(66_000), Ok(66_000));
    let mut bench = Bench::settled_at(66_000);
    bench.now = Instant::START;
    assert_eq!(bench.filter.check(bench.now, reading), Err(ProbeFault::Stale));
    assert_eq!(bench.feed(20_000), Err(ProbeFault::Implausible), "nothing is held across it");
}

#[test]
fn a_clock_that_runs_backwards_does_not_forgive_jumps() {
    let mut bench = Bench::settled_at(66_000);
    for milli_c in [120_000, 5_000, 90_000] {
        let _ = bench.feed(milli_c);
    }
    bench.now = Instant::START;
    assert_eq!(bench.pass(Ok(Celsius::from_milli(66_000))), Err(ProbeFault::Stale));
    for _ in 0..240 {
        assert_eq!(bench.feed(66_000), Err(ProbeFault::Implausible));
    }
    assert_eq!(bench.feed(66_000), Ok(66_000));
}

#[test]
fn the_same_time_twice_is_not_a_new_sample() {
    let mut bench = Bench::settled_at(66_000);
    for _ in 0..10 {
        let again = bench.filter.check(bench.now, Ok(Celsius::from_milli(66_400)));
        assert_eq!(again, Ok(Celsius::from_milli(66_000)));
    }
}

#[test]
fn a_slow_probe_repeats_its_sample_and_a_glitch_repeated_is_still_one() {
    let mut filter = Plausibility::new(Limits::ONE_WIRE);
    let mut now = Instant::START;
    for conversion in 0..40 {
        let taken_at = now;
        let milli_c = if conversion == 20 { 85_000 } else { 66_000 };
        for _ in 0..3 {
            let seen = filter.check_taken(now, taken_at, Ok(Celsius::from_milli(milli_c)));
            assert_eq!(seen, Ok(Celsius::from_milli(66_000)));
            now = now.plus(Span::from_millis(250));
        }
    }
    assert_eq!(filter.jumps_at.iter().flatten().count(), 1);
}

#[test]
fn a_sample_too_old_from_the_future_or_out_of_order_is_stale() {
    let at = |ms: u64| Instant::START.plus(Span::from_millis(ms));
    let (cool, warm) = (Ok(Celsius::from_milli(66_000)), Ok(Celsius::from_milli(66_200)));
    let stale = Err(ProbeFault::Stale);
    let mut filter = Plausibility::new(Limits::EVERY_TICK);
    assert_eq!(filter.check_taken(at(5_000), at(3_999), cool), stale, "too old");
    assert_eq!(filter.check_taken(at(5_000), at(5_001), cool), stale, "from the future");
    assert_eq!(filter.check_taken(at(5_000), at(4_000), cool), cool);
    assert_eq!(filter.check_taken(at(5_001), at(3_999), warm), stale, "too old, and the hold is over");
    assert_eq!(filter.check_taken(at(5_100), at(5_000), cool), cool);
    assert_eq!(filter.doubt, None);
    assert_eq!(filter.check_taken(at(5_250), at(4_900), warm), cool, "held");
    assert_eq!(filter.doubt, Some(ProbeFault::Stale), "out of order");
}

#[test]
fn a_probe_that_sends_the_same_sample_for_ever_goes_stale() {
    let mut filter = Plausibility::new(Limits::EVERY_TICK);
    let reading = Ok(Celsius::from_milli(66_000));
    for ms in (0..=1_000).step_by(250) {
        let now = Instant::START.plus(Span::from_millis(ms));
        assert_eq!(filter.check_taken(now, Instant::START, reading), reading);
    }
    let late = Instant::START.plus(Span::from_millis(1_250));
    assert_eq!(filter.check_taken(late, Instant::START, reading), Err(ProbeFault::Stale));
}

#[test]
fn the_ends_of_time_and_temperature_neither_panic_nor_pass() {
    let mut filter = Plausibility::new(Limits::EVERY_TICK);
    assert_eq!(filter.check(Instant::START, Ok(Celsius::MIN)), Ok(Celsius::MIN));
    let end = Instant::from_micros(u64::MAX);
    assert_eq!(filter.check(end, Ok(Celsius::MAX)), Err(ProbeFault::Implausible));
    assert_eq!(filter.check(end, Ok(Celsius::MIN)), Err(ProbeFault::Implausible));
}

#[test]
fn limits_outside_their_ranges_are_refused_by_name() {
    let limits = |rate, margin, hold, believe, age| {
        Limits::new(
            Slope::from_micro(rate),
            Kelvin::from_milli(margin),
            Span::from_millis(hold),
            Span::from_millis(believe),
            Span::from_millis(age),
        )
    };
    assert_eq!(limits(10_000_000, 500, 1_000, 2_000, 1_000), Ok(Limits::EVERY_TICK));
    assert_eq!(limits(10_000_000, 500, 2_000, 3_000, 2_000), Ok(Limits::ONE_WIRE));
    assert_eq!(limits(-10_000_000, 500, 1_000, 2_000, 1_000), Err(LimitError::MaxRate));
    assert_eq!(limits(51_000_000, 500, 1_000, 2_000, 1_000), Err(LimitError::MaxRate));
    assert_eq!(limits(10_000_000, 0, 1_000, 2_000, 1_000), Err(LimitError::Margin));
    assert_eq!(limits(10_000_000, 500, 4_001, 5_000, 1_000), Err(LimitError::HoldFor));
    assert_eq!(limits(10_000_000, 500, 1_000, 1_000, 1_000), Err(LimitError::BelieveAfter));
    assert_eq!(limits(10_000_000, 500, 1_000, 60_001, 1_000), Err(LimitError::BelieveAfter));
    assert_eq!(limits(10_000_000, 500, 1_000, 2_000, 99), Err(LimitError::MaxAge));
    assert_eq!(limits(10_000_000, 500, 1_000, 2_000, 5_001), Err(LimitError::MaxAge));
}

#[test]
fn reach_is_rate_times_time_plus_margin_and_stops_at_the_hold_time() {
    let reach = |ms| Limits::EVERY_TICK.reach(Span::from_millis(ms)).milli();
    assert_eq!((reach(0), reach(250), reach(1_000), reach(60_000)), (500, 3_000, 10_500, 10_500));
    let fastest = Limits::new(
        Slope::from_micro(50_000_000),
        Kelvin::from_milli(5_000),
        Span::from_secs(4),
        Span::from_secs(5),
        Span::from_secs(1),
    );
    let widest = fastest.expect("in range").reach(Span::from_micros(u64::MAX));
    assert_eq!(widest.milli(), 205_000);
}
