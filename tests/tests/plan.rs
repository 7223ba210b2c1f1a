//! The plan of a day: it agrees with the rehearsal behind it and with the balances, and it says what a rig cannot do.

use copperhold::brewing::clock::Clock;
use copperhold::files::{self, RigFile, SheetFile};
use copperhold::logbook::dry_loss::DryLoss;
use copperhold::plan::limits::{Limit, Weight};
use copperhold::plan::{Begin, Plan, PlanError, Wishes, text};
use unicode_width::UnicodeWidthStr;

fn demo() -> (RigFile, SheetFile) {
    (files::demo_rig().unwrap(), files::demo_sheet().unwrap())
}

/// Texts of a file with what to put in their place.
type Changes = &'static [(&'static str, &'static str)];

/// The demo with a text of rig and sheet replaced.
fn changed(rig: Changes, sheet: Changes) -> (RigFile, SheetFile) {
    let swap = |text: &str, pairs: Changes| {
        pairs.iter().fold(text.to_owned(), |text, (from, to)| {
            assert!(text.contains(from), "no {from:?}");
            text.replace(from, to)
        })
    };
    let rig = files::parse_rig("rig", &swap(files::DEMO_RIG, rig)).unwrap();
    (rig, files::parse_sheet("sheet", &swap(files::DEMO_SHEET, sheet)).unwrap())
}

fn plan((rig, sheet): &(RigFile, SheetFile), wishes: Wishes) -> Plan {
    Plan::make(rig, sheet, wishes).unwrap_or_else(|error| panic!("{error}"))
}

/// One rehearsal is enough where the brewer's pace does not matter.
const ONE: Wishes = Wishes { begin: None, price_per_kwh: None, efficiency: 0.80, extract: 0.80, paces: 1, dry_loss: None };

/// A pair that gives the demo's rig another coil or chiller.
const SLOW_COIL: (&str, &str) = ("[boil_kettle]", "[coil]\nconductance = \"180 W/K\"\n\n[boil_kettle]");
const TINY_COIL: (&str, &str) = ("[boil_kettle]", "[coil]\nconductance = \"20 W/K\"\n\n[boil_kettle]");
const TINY_CHILLER: (&str, &str) = ("[boil_kettle]", "[chiller]\nconductance = \"40 W/K\"\n\n[boil_kettle]");

fn refused(rig: &RigFile, sheet: &SheetFile) -> String {
    match Plan::make(rig, sheet, ONE) {
        Ok(_) => panic!("planned, though it cannot be brewed"),
        Err(error) => error.to_string(),
    }
}

fn cannot(plan: &Plan) -> Vec<&str> {
    plan.limits.iter().filter(|limit| limit.weight == Weight::Cannot).map(|limit| limit.text.as_str()).collect()
}

#[test]
fn the_demo_is_within_its_rig_and_its_litres_and_kilowatt_hours_add_up() {
    let plan = plan(&demo(), Wishes { price_per_kwh: Some(0.25), ..ONE });
    // What stands against it is what the rehearsal did not hold, and nothing else.
    let badly_held = plan.day.steps.iter().filter(|step| step.hold_rms_k.is_some_and(|k| k > 0.5)).count();
    assert_eq!(cannot(&plan).len(), badly_held, "{:?}", plan.limits);
    let p = &plan.process;
    let kept = p.absorbed_l() + p.tun_dead_l + p.boil_off_l + p.kettle_dead_l + p.trub_l;
    assert!((p.fermenter_l() + kept - p.strike_l - p.sparge_l).abs() < 1e-9);
    assert_eq!((p.strike_l, p.sparge_l, plan.tap_l), (20.5, 19.0, 48.0));
    assert!((p.post_boil_l() - plan.day.volumes.post_boil_l).abs() < 1e-9);
    let steps: f64 = plan.day.steps.iter().map(|step| step.energy_kwh).sum();
    assert!((steps - plan.day.energy.total_kwh()).abs() < 0.02, "{steps}");
    assert!((plan.cost().unwrap() - 0.25 * plan.day.energy.total_kwh()).abs() < 1e-12);
}

#[test]
fn the_boil_starts_when_asked_or_up_to_five_minutes_before() {
    let asked: Clock = "13:57".parse().unwrap();
    let plan = plan(&demo(), Wishes { begin: Some(Begin::BoilAt(asked)), ..Wishes::default() });
    let boils = plan.begins.unwrap().plus(plan.boil_begins_s.unwrap());
    assert!((0.0..=300.0).contains(&asked.since(boils)), "boils at {boils}");
    let (first, last) = plan.boil_s.unwrap();
    assert!(first <= plan.boil_begins_s.unwrap() && plan.boil_begins_s.unwrap() <= last);
    // Three brewers do not keep exactly the same pace.
    assert!(first < last);
}

/// The balance knows no losses; the rehearsed mash stands open and is stirred for minutes, and warms cold hoses. Within 1.5 K.
#[test]
fn the_strike_lands_near_where_the_rehearsal_has_it() {
    let plan = plan(&demo(), ONE);
    let rehearsed_c = plan.day.steps.iter().find(|step| step.name == "Dough in").unwrap().to_c.unwrap();
    let strike = plan.strike.unwrap();
    assert!((0.0..1.5).contains(&(strike.lands_c - rehearsed_c)), "balance {}, rehearsal {rehearsed_c}", strike.lands_c);
    // By hand, constant heats: (20.46 kg x 4.184 x 71 + 6.8 x (1.674 x 18 + 19.3) + 3.16 kg steel x 0.5 x 19) / (85.6 + 11.4 + 1.6) = 65.
    assert!((strike.lands_c - 64.9).abs() < 0.4, "{}", strike.lands_c);
}

#[test]
fn gravities_follow_the_extract_and_the_efficiency_asked_for() {
    let at = |efficiency| plan(&demo(), Wishes { efficiency, ..ONE });
    let full = at(0.8);
    let gravity = full.gravity.unwrap();
    // 6.8 kg x 0.96 x 0.80 x 0.80 = 4.178 kg of extract in 26.5 L: 157.7 g/L, about 61 points at 2.6 g/L each.
    assert!((gravity.original - 1.0605).abs() < 0.001, "{}", gravity.original);
    assert!(gravity.pre_boil < gravity.original);
    assert!(at(0.6).gravity.unwrap().original < gravity.original - 0.01);
}

#[test]
fn a_learned_boil_off_takes_the_place_of_the_rehearsals() {
    let learned = |watts| Wishes { dry_loss: Some(DryLoss { watts, days: 3, by_hand: true }), ..ONE };
    let (plan, lossy) = (plan(&demo(), learned(700.0)), plan(&demo(), learned(1_000.0)));
    // By pencil: an hour's mean power less 700 W, at 625.7 W for each litre an hour (steam tables).
    let boil = plan.day.steps.iter().find(|step| step.name == "Boil").unwrap();
    let rate = (boil.energy_kwh * 1000.0 - 700.0) / 625.7;
    assert!((plan.boil_off.0 - rate).abs() < 0.01, "{rate} L/h by pencil, {:?}", plan.boil_off);
    assert!((plan.process.post_boil_l() - (plan.day.volumes.pre_boil_l - rate)).abs() < 0.02);
    assert!((plan.boil_off.0 - lossy.boil_off.0 - 300.0 / 625.7).abs() < 0.01);
    assert!(text::page(&plan).contains("L/h in the boil, as measured on 3 days"));
}

#[test]
fn says_what_a_rig_cannot_do() {
    let cases: [(&str, Changes, Changes); 6] = [
        (
            "gives 3380 W at the rig's 208 V",
            &[
                ("voltage = \"240 V\"", "voltage = \"208 V\""),
                ("element = \"4500 W\"", "element = { power = \"4500 W\", rated = \"240 V\" }"),
            ],
            &[],
        ),
        ("too little for the foam", &[("capacity = \"60 L\"", "capacity = \"34 L\"")], &[]),
        ("a weak boil", &[], &[("at = \"60 %\"", "at = \"15 %\"")]),
        ("its enzymes suffer", &[], &[("to = \"71 C\"", "to = \"74 C\"")]),
        ("Mash out begins", &[SLOW_COIL], &[]),
        ("slower than is good for wort", &[TINY_CHILLER], &[]),
    ];
    for (words, rig, sheet) in cases {
        let plan = plan(&changed(rig, sheet), ONE);
        assert!(cannot(&plan).iter().any(|text| text.contains(words)), "no {words:?} in {:?}", plan.limits);
        assert!(text::page(&plan).contains("What this rig cannot do"));
    }
}

#[test]
fn a_sheet_that_does_not_fit_is_refused_with_the_place() {
    let (rig, sheet) = changed(&[], &[("fill = \"36 L\"", "fill = \"80 L\"")]);
    let error = refused(&rig, &sheet);
    assert!(error.contains("sheet:11") && error.contains("holds 45 L"), "{error}");
}

#[test]
fn a_day_that_ends_in_a_trip_is_told_first() {
    // A coil of a thirtieth of the usual conductance cannot lift the mash to the second rest, until the guard misses the brewer.
    let plan = plan(&changed(&[TINY_COIL], &[]), ONE);
    assert!(!plan.day.trips.is_empty());
    let first = cannot(&plan)[0];
    assert!(first.contains("ends in a trip") && first.contains(plan.day.trips[0].cause.as_str()), "{first}");
    assert_eq!((plan.boil_s, plan.gravity), (None, None));
}

/// No sheet is known that makes the guarded controller go on for ever: the words are checked as they stand.
#[test]
fn a_day_that_never_ends_says_where_and_what_stands_against_it() {
    let limit = Limit { weight: Weight::Cannot, text: "The water is too hot.".to_owned() };
    let text = PlanError::Endless { step: "High rest".to_owned(), limits: vec![limit] }.to_string();
    for words in ["\"High rest\"", "The water is too hot.", "coil"] {
        assert!(text.contains(words), "{text}");
    }
}

#[test]
fn the_page_keeps_to_its_width_and_cautions() {
    let begin = Some(Begin::BoilAt("14:00".parse().unwrap()));
    let page = text::page(&plan(&demo(), Wishes { begin, price_per_kwh: Some(0.32), ..ONE }));
    for line in page.lines() {
        assert!(line.width() <= 100, "{line}");
    }
    for words in ["Begin at ", "CAUTION, information only", "licensed electrician", "at 0.32 per kWh"] {
        assert!(page.contains(words), "no {words:?} in\n{page}");
    }
}
