//! The figures of a small survey, and that they repeat.

use copperhold::survey::{self, Contender, Field, Measure, Outcome, RigResult, Survey, penalty};
use std::sync::LazyLock;

const RIGS: u32 = 24;
const SEED: u64 = 7;

fn on_threads(threads: usize) -> Survey {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool of threads");
    pool.install(|| survey::run(0..RIGS, SEED, Field::Usual, || ()))
}

static SURVEY: LazyLock<Survey> = LazyLock::new(|| on_threads(2));

#[test]
fn the_same_seed_gives_the_same_bytes_on_one_thread_and_on_two() {
    let again = on_threads(1);
    assert_eq!(survey::csv(&SURVEY), survey::csv(&again));
    assert_eq!(survey::page(&SURVEY), survey::page(&again));
    assert_eq!(survey::table(&SURVEY), survey::table(&again));
}

#[test]
fn every_rig_is_counted_once() {
    let counted = std::sync::atomic::AtomicU32::new(0);
    let small = survey::run(0..3, SEED, Field::Usual, || {
        counted.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
    });
    assert_eq!(counted.into_inner(), 3);
    let numbers: Vec<u32> = small.rigs.iter().map(|rig| rig.number).collect();
    assert_eq!(numbers, [0, 1, 2]);
    // A smaller survey is the beginning of a larger one.
    assert_eq!(small.rigs[..], SURVEY.rigs[..3]);
}

/// What the water still climbs by after the power is cut, K: climb times lag.
fn coast_k(rig: &RigResult) -> f64 {
    rig.plant.climb_k_per_s * rig.plant.lag_s
}

fn is_within_aims(outcome: &Outcome, ratio: f64, overshoot_k: f64) -> bool {
    outcome.settled && outcome.ratio <= ratio && outcome.overshoot_k <= overshoot_k
}

#[test]
fn the_medians_of_our_first_heat_up_are_within_their_aims() {
    let median = |measure| SURVEY.spread(Contender::OursFirst, measure).median;
    assert!(median(Measure::Ratio) <= 1.005, "{}", median(Measure::Ratio));
    assert!(median(Measure::Overshoot) <= 0.05, "{}", median(Measure::Overshoot));
    assert!(median(Measure::Hold) <= 0.03, "{}", median(Measure::Hold));
}

/// The survey that the guide shows. The second time three rigs are late, which the limits explain.
#[test]
fn two_hundred_rigs_keep_the_aims_at_median_at_95_percent_and_at_worst_but_for_three_late_the_second_time() {
    let survey = survey::run(0..200, 1, Field::Ours, || ());
    let of = |contender, measure| survey.spread(contender, measure);
    let ratio = of(Contender::OursFirst, Measure::Ratio);
    assert!(ratio.median <= 1.005 && ratio.p95 <= 1.02 && ratio.worst <= 1.06, "{ratio:?}");
    let over = of(Contender::OursFirst, Measure::Overshoot);
    assert!(over.median <= 0.05 && over.p95 <= 0.12 && over.worst <= 0.25, "{over:?}");
    assert!(of(Contender::OursFirst, Measure::Hold).median <= 0.03);
    let over = of(Contender::OursSecond, Measure::Overshoot);
    assert!(over.worst <= 0.15, "{over:?}");
    let late: Vec<u32> = survey.rigs.iter().filter(|rig| rig.outcomes.second().ratio > 1.02).map(|rig| rig.number).collect();
    assert!(late.iter().all(|number| [84, 99, 137].contains(number)), "{late:?}");
    let ratio = of(Contender::OursSecond, Measure::Ratio);
    assert!(ratio.p95 <= 1.01 && ratio.worst <= 1.06, "{ratio:?}");
}

#[test]
fn none_of_our_heat_ups_trips_and_all_settle() {
    let trips: Vec<_> = SURVEY.trips().collect();
    assert!(trips.is_empty(), "{trips:?}");
    assert_eq!(SURVEY.unsettled(Contender::OursFirst), 0);
    assert_eq!(SURVEY.unsettled(Contender::OursSecond), 0);
}

/// The aims for the worst of all rigs hold on every rig that coasts by less than 4 K, nine of ten that are drawn.
#[test]
fn every_rig_that_coasts_by_less_than_four_kelvin_is_within_the_aims_for_the_worst() {
    let common: Vec<&RigResult> = SURVEY.rigs.iter().filter(|rig| coast_k(rig) < 4.0).collect();
    assert!(common.len() >= 20, "only {} rigs coast so little", common.len());
    for rig in common {
        let (first, second) = (rig.outcomes.first(), rig.outcomes.second());
        assert!(is_within_aims(first, 1.06, 0.25), "rig {}, first: {first:?}", rig.number);
        assert!(is_within_aims(second, 1.02, 0.15), "rig {}, second: {second:?}", rig.number);
    }
}

/// Where the coast is long, a few percent of the lag are the whole band.
#[test]
fn rigs_with_a_long_coast_too_keep_the_aims_for_the_worst_first_heat_up() {
    assert!(SURVEY.rigs.iter().any(|rig| coast_k(rig) > 5.0));
    for rig in &SURVEY.rigs {
        assert!(is_within_aims(rig.outcomes.first(), 1.06, 0.25), "rig {}: {:?}", rig.number, rig.outcomes.first());
    }
}

/// The oracle too, which has tried its gains on the very trial it is judged by.
#[test]
fn our_first_heat_up_is_ahead_of_every_rival_in_the_middle_and_at_worst() {
    let of = |contender| survey::spread(SURVEY.outcomes(contender).map(penalty));
    let ours = of(Contender::OursFirst);
    for rival in [Contender::Oracle, Contender::Simc, Contender::ZieglerNichols, Contender::PidCrate, Contender::Thermostat] {
        let theirs = of(rival);
        assert!(ours.median < theirs.median && ours.worst < theirs.worst, "{}: {theirs:?} against our {ours:?}", rival.label());
    }
}

/// Whatever the oracle minimises, it must do at least as well at it as the PI rules it could have chosen.
#[test]
fn the_oracle_is_the_best_of_the_pis() {
    for rig in &SURVEY.rigs {
        let of = |contender| rig.outcomes.get(contender).map_or(f64::NAN, penalty);
        assert!(of(Contender::Oracle) <= of(Contender::Simc), "rig {}", rig.number);
        assert!(of(Contender::Oracle) <= of(Contender::ZieglerNichols) * 1.05 + 0.05, "rig {}", rig.number);
    }
}

#[test]
fn the_csv_is_a_table_of_numbers_with_one_line_per_rig() {
    let text = survey::csv(&SURVEY);
    let mut lines = text.lines();
    let head: Vec<&str> = lines.next().expect("a head line").split(',').collect();
    let mut unique = head.clone();
    unique.sort_unstable();
    unique.dedup();
    assert_eq!(unique.len(), head.len(), "a column's name occurs twice");
    let kind = head.iter().position(|name| *name == "probe_kind").expect("the probe's kind");
    let rows: Vec<Vec<&str>> = lines.map(|line| line.split(',').collect()).collect();
    assert_eq!(rows.len(), RIGS as usize);
    for (number, row) in rows.iter().enumerate() {
        assert_eq!(row.len(), head.len(), "line {number}");
        assert_eq!(row[0], number.to_string());
        for (column, cell) in row.iter().enumerate().filter(|(column, _)| *column != kind) {
            let value: f64 = cell.parse().unwrap_or_else(|_| panic!("{}: {cell:?} is no number", head[column]));
            assert!(value.is_finite(), "{}: {cell}", head[column]);
        }
        assert!(["pt100", "ntc10k", "ds18b20"].contains(&row[kind]));
    }
}

#[test]
fn the_page_is_well_formed_and_holds_every_contender_and_range() {
    let page = survey::page(&SURVEY);
    let document = roxmltree::Document::parse_with_options(
        page.trim_start_matches("<!DOCTYPE html>\n"),
        roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() },
    )
    .expect("well-formed");
    let text: String = document.descendants().filter_map(|node| node.text()).collect();
    for contender in SURVEY.contenders() {
        assert!(text.contains(contender.label()) && text.contains(contender.about()), "{}", contender.label());
    }
    for range in survey::ranges::ALL {
        assert!(text.contains(range.name), "{}", range.name);
        assert!(survey::ranges_text().contains(range.name), "{} is missing from the help", range.name);
    }
    let ids: Vec<&str> = document.descendants().filter_map(|node| node.attribute("id")).collect();
    let mut unique = ids.clone();
    unique.sort_unstable();
    unique.dedup();
    assert_eq!(unique.len(), ids.len(), "an id occurs twice: {ids:?}");
    let marks = document.descendants().filter(|n| n.attribute("class").is_some_and(|c| c.starts_with("rig "))).count();
    // Three measures, three sizes.
    assert_eq!(marks, RIGS as usize * SURVEY.contenders().count() * 9);
}

#[test]
fn spread_is_by_nearest_rank() {
    let spread = survey::spread((1..=101).map(f64::from));
    assert_eq!((spread.median, spread.p95, spread.worst), (51.0, 96.0, 101.0));
}
