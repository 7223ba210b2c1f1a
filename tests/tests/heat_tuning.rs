//! Tuning rules, closed-loop margins and relay identification against `pid_tuning.csv` (published rules, exact frequency responses).

use copperhold_core::heat::pid::PidGains;
use copperhold_core::heat::relay::{Relay, RelayFailure, RelayPlan, RelayPlanError};
use copperhold_core::heat::rules::{Brisk, Integrating, IntegratingRule, Ultimate, UltimateRule};
use copperhold_core::units::{Celsius, Duty, Kelvin, Slope, Span};
use copperhold_tests::bench_kettle::Dice;
use copperhold_tests::heat_bench::{celsius, share};
use copperhold_tests::reference::{Row, rows};
use fixed::types::I16F16;
use ode_solvers::dopri5::Dopri5;
use ode_solvers::{System, Vector1};

fn seconds(s: f64) -> Span {
    Span::from_micros((s * 1e6).round() as u64)
}

fn kettle(climb: f64, lag_s: f64) -> Integrating {
    Integrating { climb: Slope::from_micro((climb * 1e6).round() as i32), lag: seconds(lag_s) }
}

fn gain_value(gains: &PidGains, name: &str) -> f64 {
    let time = |span: Span| span.as_micros() as f64 / 1e6;
    match name {
        "K" => gains.kc().to_num(),
        "Ti" => gains.ti().map_or(f64::INFINITY, time),
        "Td" => time(gains.td()),
        _ => panic!("no gain {name}"),
    }
}

fn find<'a>(table: &'a [Row], case_id: &str) -> &'a Row {
    table.iter().find(|row| row.case_id == case_id).unwrap_or_else(|| panic!("no row {case_id}"))
}

const ULTIMATE: [(&str, UltimateRule); 5] = [
    ("ZNU_P", UltimateRule::ZieglerNicholsP),
    ("ZNU_PI", UltimateRule::ZieglerNicholsPi),
    ("ZNU_PID", UltimateRule::ZieglerNicholsPid),
    ("TL_PI", UltimateRule::TyreusLuybenPi),
    ("TL_PID", UltimateRule::TyreusLuybenPid),
];

const INTEGRATING: [(&str, IntegratingRule); 7] = [
    ("ZNS_P", IntegratingRule::ZieglerNicholsP),
    ("ZNS_PI", IntegratingRule::ZieglerNicholsPi),
    ("ZNS_PID", IntegratingRule::ZieglerNicholsPid),
    ("SIMC_PI", IntegratingRule::Simc(Brisk::Tight)),
    ("SIMC_PI_tc3", IntegratingRule::Simc(Brisk::Smooth)),
    ("AMIGO_PI", IntegratingRule::AmigoPi),
    ("AMIGO_PID", IntegratingRule::AmigoPid),
];

/// Checks the rows `T_{plant}_{rule}_{K,Ti,Td}`; returns how many there were.
fn check_gains(table: &[Row], plant: &str, rule: &str, gains: &PidGains) -> usize {
    let mut seen = 0;
    for name in ["K", "Ti", "Td"] {
        let case_id = format!("T_{plant}_{rule}_{name}");
        let Some(row) = table.iter().find(|row| row.case_id == case_id) else { continue };
        let got = gain_value(gains, name);
        if row.value == "inf" {
            assert!(got.is_infinite(), "{case_id}");
        } else {
            row.check(got).unwrap_or_else(|why| panic!("{why}"));
        }
        seen += 1;
    }
    seen
}

#[test]
fn rules_from_the_edge_of_stability_agree_with_the_published_tables() {
    let table = rows("pid_tuning.csv");
    let mut seen = 0;
    for plant in ["P1", "P2", "P3", "P4", "P5", "P6"] {
        let edge = Ultimate {
            gain: I16F16::from_num(find(&table, &format!("U_{plant}_Ku")).num()),
            period: seconds(find(&table, &format!("U_{plant}_Pu")).num()),
        };
        for (name, rule) in ULTIMATE {
            seen += check_gains(&table, plant, name, &edge.gains(rule).unwrap());
        }
    }
    assert_eq!(seen, 72);
}

#[test]
fn rules_for_an_integrating_kettle_agree_with_the_published_tables() {
    let table = rows("pid_tuning.csv");
    let p4 = kettle(0.0348, 20.0);
    let mut seen = 0;
    for (name, rule) in INTEGRATING {
        seen += check_gains(&table, "P4", name, &p4.gains(rule).unwrap());
    }
    assert_eq!(seen, 16);
    let edge = p4.ultimate();
    find(&table, "U_P4_Ku").check(edge.gain.to_num()).unwrap();
    find(&table, "U_P4_Pu").check(edge.period.as_micros() as f64 / 1e6).unwrap();
}

/// Gain margin, phase margin in degrees and greatest sensitivity of `gains` on `k exp(-L s) / s`, by exact frequency response.
fn margins(gains: &PidGains, climb: f64, lag: f64) -> (f64, f64, f64) {
    let (kc, ti, td) = (gain_value(gains, "K"), gain_value(gains, "Ti"), gain_value(gains, "Td"));
    // The open loop: size, phase (unwrapped: every part's own), real and imaginary part.
    let open = |w: f64| {
        let (re, im) = (1.0, if ti.is_finite() { -1.0 / (ti * w) } else { 0.0 });
        let (dre, dim) = {
            let x = td * w / 10.0;
            (td * w * x / (1.0 + x * x), td * w / (1.0 + x * x))
        };
        let (cre, cim) = (re + dre, im + dim);
        let size = kc * (cre * cre + cim * cim).sqrt() * climb / w;
        let phase = cim.atan2(cre) - std::f64::consts::FRAC_PI_2 - w * lag;
        (size, phase)
    };
    let (mut gm, mut pm, mut ms) = (f64::INFINITY, f64::INFINITY, 0.0_f64);
    let steps = 400_000;
    let mut last = open(1e-5);
    for i in 1..=steps {
        let w = 1e-5 * (1e6_f64).powf(f64::from(i) / f64::from(steps));
        let now = open(w);
        if last.1 > -std::f64::consts::PI && now.1 <= -std::f64::consts::PI {
            gm = gm.min(1.0 / now.0);
        }
        if last.0 > 1.0 && now.0 <= 1.0 {
            pm = pm.min(180.0 + now.1.to_degrees());
        }
        let (re, im) = (1.0 + now.0 * now.1.cos(), now.0 * now.1.sin());
        ms = ms.max(1.0 / (re * re + im * im).sqrt());
        last = now;
    }
    (gm, pm, ms)
}

#[test]
fn every_rule_has_the_margins_its_authors_promise_on_an_integrating_kettle() {
    let table = rows("pid_tuning.csv");
    let p4 = kettle(0.0348, 20.0);
    let from_edge = ULTIMATE.map(|(name, rule)| (name, p4.ultimate().gains(rule).unwrap()));
    let direct = INTEGRATING.map(|(name, rule)| (name, p4.gains(rule).unwrap()));
    for (name, gains) in from_edge.into_iter().chain(direct) {
        let (gm, pm, ms) = margins(&gains, 0.0348, 20.0);
        for (quantity, got) in [("GM", gm), ("PM", pm), ("Ms", ms)] {
            find(&table, &format!("M_P4_{name}_{quantity}")).check(got).unwrap_or_else(|why| panic!("{why}"));
        }
    }
}

/// Skogestad 2003 gives GM 2.96, PM 46.9 degrees and Ms 1.70 for SIMC with `tc = L`, whatever the kettle.
#[test]
fn simc_has_its_published_margins_on_any_integrating_kettle() {
    let table = rows("pid_tuning.csv");
    for (climb, lag) in [(0.003, 10.0), (0.0348, 20.0), (0.15, 110.0)] {
        let gains = kettle(climb, lag).gains(IntegratingRule::Simc(Brisk::Tight)).unwrap();
        let (gm, pm, ms) = margins(&gains, climb, lag);
        for (quantity, got, published, rounding) in [("GM", gm, 2.96, 0.005), ("PM", pm, 46.9, 0.05), ("Ms", ms, 1.70, 0.005)] {
            find(&table, &format!("V_simc_int_{quantity}")).check(got).unwrap_or_else(|why| panic!("{why}"));
            assert!((got - published).abs() < rounding, "{quantity} {got}, published {published}, at {climb} K/s and {lag} s");
        }
    }
}

/// An integrator with dead time and unequal slopes, as the rows I1 to I5 assume: its rate of change is what power was one dead time ago.
struct Tank {
    rate: f64,
}

impl System<f64, Vector1<f64>> for Tank {
    fn system(&self, _t: f64, _y: &Vector1<f64>, dy: &mut Vector1<f64>) {
        dy[0] = self.rate;
    }
}

#[test]
fn the_relay_reads_climb_fall_and_dead_time_off_an_uneven_swing() {
    let table = rows("pid_tuning.csv");
    for case in ["I1", "I2", "I3", "I4", "I5"] {
        let swing = find(&table, &format!("{case}_ton"));
        let (a, b) = (swing.input("a_C_per_s"), swing.input("b_C_per_s"));
        let (lag, h) = (swing.input("L_s"), swing.input("h_C"));
        let hysteresis = Kelvin::from_milli((h * 1000.0).round() as i32);
        let plan = RelayPlan::new(celsius(66.0), hysteresis, celsius(90.0), Span::from_mins(600)).unwrap();
        let mut relay = Relay::new(plan);
        let dt = 0.05;
        let mut pipe = std::collections::VecDeque::from(vec![-b; (lag / dt).round() as usize]);
        let mut level = 65.5;
        while relay.outcome().is_none() {
            let duty = share(relay.tick(seconds(dt), celsius(level)));
            pipe.push_back(if duty > 0.5 { a } else { -b });
            let tank = Tank { rate: pipe.pop_front().unwrap() };
            let mut stepper = Dopri5::new(tank, 0.0, dt, dt, Vector1::new(level), 1e-9, 1e-12);
            stepper.integrate().unwrap();
            level = stepper.y_out().last().unwrap()[0];
        }
        let found = relay.outcome().unwrap().unwrap();
        let near = |got: f64, want: f64| assert!((got / want - 1.0).abs() < 0.02, "{case}: {got} for {want}");
        near(f64::from(found.up.micro()) / 1e6, find(&table, &format!("{case}_id_a")).num());
        near(f64::from(found.down.micro()) / 1e6, find(&table, &format!("{case}_id_b")).num());
        near(found.kettle.lag.as_millis() as f64 / 1e3, find(&table, &format!("{case}_id_L")).num());
        near(f64::from(found.kettle.climb.micro()) / 1e6, find(&table, &format!("{case}_id_kv")).num());
        near(share(found.standing), find(&table, &format!("{case}_id_duty")).num());
        near(found.kettle.ultimate().gain.to_num(), find(&table, &format!("{case}_ku_true")).num());
        let simc = found.kettle.gains(IntegratingRule::Simc(Brisk::Tight)).unwrap();
        near(simc.kc().to_num(), find(&table, &format!("{case}_simc_K")).num());
    }
}

/// From cold a ramp tells climb and lag. From close by only the swing is left, whose turns a spread lag rounds: the lag reads a fifth short of the
/// sum of its parts, and the climb a tenth.
#[test]
fn the_relay_reads_the_bench_kettle_through_noise() {
    use copperhold_tests::bench_kettle::{Bench, Kettle};
    for (start_c, climb_off, least_lag) in [(15.0, 0.05, 0.95), (65.0, 0.15, 0.7)] {
        let bench = Bench { noise_k: 0.03, start_c, litres: 30.0, ..Bench::common() };
        let plan = RelayPlan::new(celsius(66.0), Kelvin::from_milli(200), celsius(90.0), Span::from_mins(300)).unwrap();
        let (mut relay, mut kettle) = (Relay::new(plan), Kettle::new(bench, 5));
        while relay.outcome().is_none() {
            let duty = share(relay.tick(Span::from_millis(250), celsius(kettle.reading_c())));
            kettle.run(0.25, duty);
        }
        let found = relay.outcome().unwrap().unwrap();
        let climb = f64::from(found.kettle.climb.micro()) / 1e6;
        let lag = found.kettle.lag.as_millis() as f64 / 1e3;
        assert!((climb / bench.slope() - 1.0).abs() < climb_off, "from {start_c} C: climb {climb} for {}", bench.slope());
        assert!(lag > least_lag * bench.lag() && lag < 1.1 * bench.lag(), "from {start_c} C: lag {lag} for {}", bench.lag());
    }
}

/// From half a kelvin to either side there is no ramp at all. A swing alone tells less, the same from both sides; it must not go far.
#[test]
fn the_relay_near_its_target_swings_at_once_and_stays_near() {
    use copperhold_tests::bench_kettle::{Bench, Kettle};
    for start_c in [65.5, 66.5] {
        let bench = Bench { noise_k: 0.03, start_c, litres: 30.0, ..Bench::common() };
        let plan = RelayPlan::new(celsius(66.0), Kelvin::from_milli(200), celsius(90.0), Span::from_mins(300)).unwrap();
        let (mut relay, mut kettle) = (Relay::new(plan), Kettle::new(bench, 5));
        let first = share(relay.tick(Span::from_millis(250), celsius(kettle.reading_c())));
        assert_eq!(first > 0.5, start_c < 66.0, "from {start_c} C it begins with duty {first}");
        let (mut low, mut high) = (f64::MAX, f64::MIN);
        while relay.outcome().is_none() {
            let duty = share(relay.tick(Span::from_millis(250), celsius(kettle.reading_c())));
            kettle.run(0.25, duty);
            (low, high) = (low.min(kettle.bulk_c()), high.max(kettle.bulk_c()));
        }
        let found = relay.outcome().unwrap().unwrap_or_else(|failure| panic!("from {start_c} C: {failure:?}"));
        let climb = f64::from(found.kettle.climb.micro()) / 1e6 / bench.slope();
        let lag = found.kettle.lag.as_millis() as f64 / 1e3 / bench.lag();
        println!("from {start_c} C: climb {climb:.3}, lag {lag:.3} of the true ones, water {low:.2} to {high:.2} C");
        assert!(
            (climb - 1.0).abs() < 0.15 && lag > 0.7 && lag < 1.1,
            "from {start_c} C: climb {climb}, lag {lag} of the true ones"
        );
        // Past the target by what is on its way, and the hysteresis.
        let swing_k = 0.2 + bench.slope() * bench.lag() + 0.15;
        assert!(high < 66.0 + swing_k && low > 66.0 - 0.6, "from {start_c} C: {low:.2} to {high:.2}");
    }
}

/// Why a row of the table is not checked here; `None` if it is.
fn excluded(case_id: &str) -> Option<&'static str> {
    let from_edge = ULTIMATE.iter().any(|(rule, _)| case_id.contains(&format!("_{rule}_")));
    match case_id.split('_').next().unwrap_or_default() {
        "U" => None,
        "T" if from_edge || case_id.starts_with("T_P4_") => None,
        "T" => Some("rules for a plant that settles; the core has those for an integrating kettle only"),
        "M" if case_id.starts_with("M_P4_") => None,
        "M" => Some("margins on plants that settle; the gains of the rules are checked there, the margins on the kettle"),
        "V" if case_id.starts_with("V_simc_int_") => None,
        "V" => Some("SIMC on a plant that settles"),
        "I1" | "I2" | "I3" | "I4" | "I5" if ["_toff", "_max", "_min"].iter().any(|end| case_id.ends_with(end)) => {
            Some("the swing itself, which the integrated tank makes; what is identified from it is checked")
        }
        "I1" | "I2" | "I3" | "I4" | "I5" => None,
        "R" => Some("coefficients alone; every one is in the T rows"),
        "D" | "F1" | "F2" | "F3" | "F4" | "B" => {
            Some("describing function and first-order plants with delay; the core identifies neither")
        }
        _ => panic!("{case_id}: a row that nobody knows"),
    }
}

#[test]
fn every_row_of_the_table_is_checked_or_named() {
    let table = rows("pid_tuning.csv");
    let checked = table.iter().filter(|row| excluded(&row.case_id).is_none()).count();
    assert_eq!((table.len(), checked), (448, 179));
}

fn plan() -> RelayPlan {
    RelayPlan::new(celsius(66.0), Kelvin::from_milli(100), celsius(80.0), Span::from_mins(60)).unwrap()
}

#[test]
fn t8_a_relay_always_ends_and_ends_with_the_element_off() {
    // What the thermometer says, and how the experiment must end.
    type Reading = fn(u32, &mut Dice) -> f64;
    let stories: [(&str, Reading, RelayFailure); 4] = [
        ("never warms", |_, _| 20.0, RelayFailure::TimeUp),
        ("runs away", |tick, _| 60.0 + f64::from(tick) * 0.05, RelayFailure::TooHot),
        (
            "swings ever wider",
            |tick, _| 66.0 + f64::from(tick).sqrt() * 0.05 * (f64::from(tick) / 60.0).sin(),
            RelayFailure::TooManySwings,
        ),
        ("stands still above", |_, _| 70.0, RelayFailure::TimeUp),
    ];
    for (name, reading, expected) in stories {
        let mut relay = Relay::new(plan());
        let mut dice = Dice(1);
        let mut ticks = 0;
        while relay.outcome().is_none() {
            relay.tick(Span::from_millis(250), celsius(reading(ticks, &mut dice)));
            ticks += 1;
            assert!(ticks <= 60 * 60 * 4, "{name}: still running");
        }
        assert_eq!(relay.outcome(), Some(Err(expected)), "{name}");
        assert_eq!(relay.tick(Span::from_millis(250), celsius(20.0)), Duty::ZERO, "{name}");
    }
}

#[test]
fn t8_a_relay_in_pure_noise_ends_within_its_time() {
    for seed in 0..50 {
        let mut relay = Relay::new(plan());
        let mut dice = Dice(seed);
        let mut ticks = 0;
        while relay.outcome().is_none() {
            relay.tick(Span::from_millis(250), celsius(66.0 + 2.0 * dice.normal()));
            ticks += 1;
        }
        assert!(ticks <= 60 * 60 * 4);
        assert_eq!(relay.tick(Span::from_millis(250), Celsius::MIN), Duty::ZERO);
    }
}

#[test]
fn a_relay_can_be_aborted_and_an_impossible_plan_is_refused() {
    let mut relay = Relay::new(plan());
    assert_eq!(relay.tick(Span::from_millis(250), celsius(60.0)), Duty::FULL);
    relay.abort();
    assert_eq!(relay.outcome(), Some(Err(RelayFailure::Aborted)));
    assert_eq!(relay.tick(Span::from_millis(250), celsius(60.0)), Duty::ZERO);
    let (target, hour) = (celsius(66.0), Span::from_mins(60));
    let wide = Kelvin::from_milli(5_001);
    assert_eq!(RelayPlan::new(target, wide, celsius(80.0), hour), Err(RelayPlanError::Hysteresis(wide)));
    assert_eq!(RelayPlan::new(target, Kelvin::ZERO, target, hour), Err(RelayPlanError::Ceiling(target)));
    let short = Span::from_secs(59);
    assert_eq!(RelayPlan::new(target, Kelvin::ZERO, celsius(80.0), short), Err(RelayPlanError::Longest(short)));
}
