use super::*;
use fixed::types::I16F16;

const TICK: Span = Span::from_millis(10);

fn duty(bits: i32) -> Duty {
    Duty::from_fixed(I16F16::from_bits(bits))
}

/// On-time over `ticks` ticks of 10 ms.
fn on_time(burst: &mut Burst, asked: Duty, ticks: u64) -> Span {
    let mut on = Span::ZERO;
    for _ in 0..ticks {
        if burst.is_on() {
            on = on.plus(TICK);
        }
        burst.tick(TICK, asked);
    }
    on
}

#[test]
fn a_window_holds_whole_mains_cycles_and_whole_ticks() {
    for (mains, cycles_per_second, cycles) in [(Mains::Hz50, 50, 1), (Mains::Hz60, 60, 3)] {
        let window_us = mains.window().as_micros();
        assert_eq!(window_us * cycles_per_second, cycles * 1_000_000, "{mains:?}: a whole number of cycles");
        assert_eq!(window_us % TICK.as_micros(), 0, "{mains:?}: a whole number of ticks");
    }
}

#[test]
fn every_stretch_on_or_off_is_a_whole_number_of_windows() {
    for mains in [Mains::Hz50, Mains::Hz60] {
        for bits in [100, 655, 6_554, 21_845, 32_768, 45_000, 60_000, 65_535] {
            let mut burst = Burst::new(mains);
            let (mut was, mut stretch, mut stretches) = (burst.tick(Span::ZERO, duty(bits)), 0_u64, 0_u64);
            for _ in 0..100_000 {
                stretch += 1;
                let is = burst.tick(TICK, duty(bits));
                if is != was {
                    assert_eq!(TICK.times(stretch).as_micros() % mains.window().as_micros(), 0, "{mains:?} duty {bits}");
                    (was, stretch, stretches) = (is, 0, stretches + 1);
                }
            }
            assert!(stretches > 0, "{mains:?} duty {bits}: it must switch within 1,000 s");
        }
    }
}

#[test]
fn the_mean_over_a_thousand_seconds_is_the_duty_to_within_one_window() {
    for mains in [Mains::Hz50, Mains::Hz60] {
        for bits in (0..=65_536).step_by(1_024) {
            let mut burst = Burst::new(mains);
            burst.tick(Span::ZERO, duty(bits));
            let on = on_time(&mut burst, duty(bits), 100_000).as_micros();
            let asked = Span::from_secs(1_000).share(duty(bits)).as_micros();
            assert!(on.abs_diff(asked) <= mains.window().as_micros(), "{mains:?} duty {bits}: {on} us of {asked} us");
        }
    }
}

#[test]
fn the_mean_stays_right_when_ticks_come_late_and_uneven() {
    for mains in [Mains::Hz50, Mains::Hz60] {
        for bits in [3_277, 16_384, 32_768, 49_152, 62_259] {
            let mut burst = Burst::new(mains);
            burst.tick(Span::ZERO, duty(bits));
            let (mut on, mut passed, mut wobble) = (Span::ZERO, Span::ZERO, 12_345_u64);
            while passed < Span::from_secs(1_000) {
                // 1 to 64 ms between ticks, now and then 250 ms.
                wobble = (wobble * 25_173 + 13_849) % 65_536;
                let step = if wobble % 50 == 0 { Span::from_millis(250) } else { Span::from_micros(1_000 + wobble % 63_000) };
                if burst.is_on() {
                    on = on.plus(step);
                }
                burst.tick(step, duty(bits));
                passed = passed.plus(step);
            }
            let asked = passed.share(duty(bits)).as_micros();
            let off_by = on.as_micros().abs_diff(asked);
            assert!(
                off_by <= 350_000,
                "{mains:?} duty {bits}: {off_by} us off after {passed:?}: at most one late tick and one window"
            );
        }
    }
}

#[test]
fn a_step_of_a_whole_second_keeps_the_mean_too() {
    let mut burst = Burst::new(Mains::Hz60);
    burst.tick(Span::ZERO, duty(19_661));
    let on = (0..1_000).filter(|_| {
        let on = burst.is_on();
        burst.tick(Span::from_secs(1), duty(19_661));
        on
    });
    assert!((299..=301).contains(&on.count()));
}

#[test]
fn off_is_at_once_even_inside_a_window() {
    let mut burst = Burst::new(Mains::Hz60);
    assert!(burst.tick(Span::ZERO, Duty::FULL));
    assert!(burst.tick(TICK, Duty::FULL));
    assert_ne!(burst.due_in(), Span::ZERO, "the window is not over");
    assert!(!burst.tick(TICK, Duty::ZERO));
}

#[test]
fn zero_never_conducts_and_full_never_pauses() {
    for mains in [Mains::Hz50, Mains::Hz60] {
        let (mut off, mut full) = (Burst::new(mains), Burst::new(mains));
        for _ in 0..10_000 {
            assert!(!off.tick(TICK, Duty::ZERO));
            assert!(full.tick(TICK, Duty::FULL));
        }
    }
}

#[test]
fn stopping_forgets_what_was_owed() {
    let mut burst = Burst::new(Mains::Hz60);
    burst.tick(Span::ZERO, duty(60_000));
    on_time(&mut burst, duty(60_000), 37);
    burst.stop();
    assert_eq!(burst, Burst::new(Mains::Hz60));
}

#[test]
fn a_long_gap_is_not_made_up_for_beyond_two_seconds() {
    let mut burst = Burst::new(Mains::Hz50);
    // An hour in which a third was asked for and nothing came, then one percent.
    burst.tick(Span::from_mins(60), duty(21_845));
    let on = on_time(&mut burst, duty(655), 6_000);
    assert!(on <= Span::from_millis(2_000 + 600 + 20), "{on:?}");
    // The other way round: an hour of full power by mistake is not paid back by more than two seconds of silence.
    let mut burst = Burst::new(Mains::Hz50);
    burst.tick(Span::ZERO, Duty::FULL);
    burst.tick(Span::from_mins(60), duty(32_768));
    let on = on_time(&mut burst, duty(32_768), 1_000);
    assert!(on >= Span::from_millis(5_000 - 2_000 - 20), "{on:?}");
}

#[test]
fn the_extremes_of_time_do_not_wrap() {
    let mut burst = Burst::new(Mains::Hz60);
    for _ in 0..10 {
        burst.tick(Span::from_micros(u64::MAX), Duty::FULL);
        burst.tick(Span::from_micros(u64::MAX), duty(1));
    }
    assert!(!burst.tick(Span::ZERO, Duty::ZERO));
}
