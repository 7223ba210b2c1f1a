//! The table for the terminal.

use copperhold::day::{Day, Units};
use copperhold::report::measure::{Measure, clock, duration, fixed};
use copperhold::report::text::{COLUMNS, table};
use copperhold_tests::sample_day::{good_day, short_day, tripped_day, us_day};
use unicode_width::UnicodeWidthStr;

fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn no_line_is_wider_than_a_hundred_columns() {
    let mut long = tripped_day();
    long.sheet = "sheet ".repeat(40);
    long.rig = "r".repeat(250);
    long.steps[3].name = "A step whose name tells the whole story of what the brewer is about to do and why".to_owned();
    long.steps[4].name = "x".repeat(130);
    long.steps[5].name = "糖化".repeat(30);
    long.steps[6].from_c = Some(-123_456.7);
    long.trips[0].cause = "cause ".repeat(60);
    long.advice[0].text = "advice ".repeat(60);
    for day in [good_day(), us_day(), short_day(), long, Day::default()] {
        for line in table(&day).lines() {
            assert!(line.width() <= COLUMNS, "{} columns: {line}", line.width());
        }
    }
}

#[test]
fn a_long_name_is_wrapped_and_not_cut() {
    let mut day = good_day();
    day.steps[3].name = "Stir in the grain slowly, break every clump, rest two minutes".to_owned();
    let text = table(&day);
    for word in day.steps[3].name.split(' ') {
        assert!(text.contains(word), "{word} was lost");
    }
}

#[test]
fn figures_end_in_the_same_column() {
    let text = table(&good_day());
    let lines: Vec<&str> = text.lines().skip_while(|line| !line.contains("planned")).take(19).collect();
    assert_eq!(lines.len(), 19);
    let width = lines[0].width();
    assert!(lines.iter().all(|line| line.width() == width), "{lines:#?}");
}

#[test]
fn a_step_shows_what_was_recorded() {
    let mut day = good_day();
    let step = &mut day.steps[4];
    (step.from_c, step.to_c, step.target_c) = (Some(65.24), Some(66.04), Some(66.0));
    (step.overshoot_k, step.hold_rms_k, step.energy_kwh) = (Some(0.126), Some(0.074), 1.234);
    let text = table(&day);
    let line = text.lines().find(|line| line.contains("Saccharification")).expect("the step is listed");
    assert_eq!(squeezed(line), "5 Saccharification rest 0:44 50 min 50 min 65.2 66.0 66.0 0.13 0.07 1.23");
}

#[test]
fn what_does_not_apply_is_a_dash() {
    let text = table(&short_day());
    let line = text.lines().find(|line| line.contains("Heat strike")).expect("the step is listed");
    assert_eq!(squeezed(line), "1 Heat strike water 0:00 – 0 s – – 72.0 – – 0.00");
}

#[test]
fn us_units_are_converted() {
    let us = Measure(Units::Us);
    assert_eq!(us.degrees_text(640.0 / 9.0), "160.0 °F");
    assert_eq!(us.degrees_text(71.11), "160.0 °F");
    assert_eq!(us.volume_text(37.854), "10.00 gal");
    assert_eq!(us.difference_text(0.5), "0.90 °F");
    assert_eq!(us.rate_text(3.785_411_784), "1.00 gal/h");
    let mut day = us_day();
    day.volumes.strike_l = 37.854;
    day.steps[0].target_c = Some(71.111);
    let text = table(&day);
    assert!(text.contains("10.00 gal"), "{text}");
    assert!(text.lines().any(|line| line.contains("Heat strike") && line.contains(" 160.0 ")), "{text}");
    assert!(!text.contains("°C") && !text.contains(" L\n"), "{text}");
}

#[test]
fn trips_advice_waits_and_additions_are_told() {
    let text = squeezed(&table(&tripped_day()));
    for told in [
        "The day had 2 trips.",
        "2:02 cause: The liquor tank's thermometer gave no reading for 2 s; remedy: Check its plug and cable,",
        "remedy: Switch off at the breaker and replace the relay",
        "0:50 advice: The mash pump's flow has fallen by a third.",
        "The day waited for you 3 times, 9.3 min in all.",
        "4:08 Finings, half a tablet, 15 min left",
    ] {
        assert!(text.contains(told), "{told:?} is not in {text}");
    }
    assert!(!text.contains("went well"));
}

#[test]
fn a_day_off_target_is_not_praised() {
    let mut over = good_day();
    over.heat_ups.liquor_tank[0].overshoot_c = 1.7;
    let text = table(&over);
    assert!(!text.contains("went well"), "{text}");
    assert!(text.contains("A vessel went 1.70 °C past its target."), "{text}");
    let mut loose = good_day();
    loose.steps[4].hold_rms_k = Some(0.9);
    assert!(table(&loose).contains("Step 5, Saccharification rest, was held within 0.90 °C (RMS) only."));
    let both = Day { two_elements_ticks: 2, ..good_day() };
    assert!(table(&both).contains("BOTH ELEMENTS WERE ON TOGETHER for 2 ticks"));
}

#[test]
fn a_record_without_length_is_not_praised() {
    for day in [short_day(), Day::default()] {
        let text = table(&day);
        assert!(text.contains("There is nothing to judge yet.") && !text.contains("went well"), "{text}");
    }
}

#[test]
fn a_name_cannot_send_commands_to_the_terminal() {
    let day = Day { sheet: "a\u{1b}[31mred\u{7}\u{202e}".to_owned(), ..good_day() };
    let text = table(&day);
    assert!(text.contains("red"));
    assert!(text.chars().all(|letter| letter == '\n' || !letter.is_control()), "{text:?}");
    assert!(!text.contains('\u{202e}'));
}

#[test]
fn numbers_and_times_are_written_one_way() {
    assert_eq!(fixed(-0.04, 1), "0.0");
    assert_eq!(fixed(-1.26, 1), "−1.3");
    assert_eq!(fixed(f64::NAN, 1), "–");
    let durations = [0.0, 59.4, 59.6, 90.0, 598.0, 3569.0, 3571.0, 7140.0, 21_600.0, f64::NAN, -5.0].map(duration);
    let expected = ["0 s", "59 s", "1.0 min", "1.5 min", "10 min", "59 min", "1 h 00 min", "1 h 59 min", "6 h 00 min", "–", "–"];
    assert_eq!(durations, expected.map(str::to_owned));
    assert_eq!([0.0, 59.0, 3661.0, 36_000.0].map(clock), ["0:00", "0:00", "1:01", "10:00"].map(str::to_owned));
}
