//! What stands against brewing a sheet on a rig.

use super::{Expected, changed, expect, good_rig, sheet};
use copperhold::files::{self, ProblemKind};

#[test]
fn a_target_above_boiling_depends_on_the_altitude() {
    let mut rig = good_rig();
    changed(
        "to = \"71 C\"",
        "to = \"101 C\"",
        &rig,
        &[(ProblemKind::AboveBoiling, 12, 6, &["101 C is not below the boiling point", "100 C at 0 m"])],
    );
    // Water boils at 89.9 C at 3000 m in the standard atmosphere.
    rig.rig.site.altitude_m = 3000.0;
    let told: &[&str] = &["a target of 90.5 C is not below the boiling point", "at 3000 m, where the rig stands"];
    changed("at = \"76 C\"", "at = \"90.5 C\"", &rig, &[(ProblemKind::AboveBoiling, 33, 6, told)]);
}

#[test]
fn a_target_above_the_guards_limit() {
    let mut rig = good_rig();
    rig.rig.mash_tun.limit_c = Some(75.0);
    changed(
        "at = \"76 C\"",
        "at = \"75 C\"",
        &rig,
        &[(ProblemKind::OutOfRange, 33, 6, &["would trip the guard of the mash tun", "below its limit of 75 C"])],
    );
}

#[test]
fn a_missing_element_is_told_of_once() {
    let rig = files::parse_rig("r", "liquor_tank = {}\nmash_tun = {}\nboil_kettle = { element = \"4 kW\" }\n").unwrap();
    changed(
        "Low rest",
        "Low",
        &rig,
        &[(
            ProblemKind::MissingElement,
            10,
            6,
            &["heats the liquor tank", "gives it no element", "liquor_tank = { element = \"5500 W\" }"],
        )],
    );
}

#[test]
fn a_vessel_that_the_rig_lacks_is_told_of_once() {
    let rig = files::parse_rig("r", "name = \"Bare\"\nliquor_tank = { element = \"5500 W\" }\nmash_tun = {}\n").unwrap();
    changed(
        "Low rest",
        "Low",
        &rig,
        &[(
            ProblemKind::MissingVessel,
            37,
            6,
            &["needs a boil kettle, and the rig \"Bare\" has none", "add a line `boil_kettle = { element = \"5500 W\" }`"],
        )],
    );
}

#[test]
fn volumes_that_do_not_fit() {
    let rig = good_rig();
    changed(
        "fill = \"36 L\"",
        "fill = \"56 L\"",
        &rig,
        &[(ProblemKind::DoesNotFit, 11, 8, &["the liquor tank holds 55 L", "1 L too much"])],
    );
    // The tank gives what it holds less 1.65 L dead space.
    changed(
        "strike = \"20.5 L\"",
        "strike = \"35 L\"",
        &rig,
        &[
            (ProblemKind::DoesNotFit, 16, 10, &["35 L of strike water is asked for, and the tank can give 34.4 L"]),
            // Nothing but the refill of 12 L is left for the sparge.
            (ProblemKind::DoesNotFit, 38, 9, &["the tank can give 12 L"]),
        ],
    );
    changed("refill = \"12 L\"", "refill = \"40 L\"", &rig, &[(ProblemKind::DoesNotFit, 17, 10, &["with the refill is 55.5 L"])]);
    // 36 - 20.5 + 12 L are in the tank.
    changed("water = \"19 L\"", "water = \"27 L\"", &rig, &[(ProblemKind::DoesNotFit, 38, 9, &["the tank can give 25.9 L"])]);
    changed(
        "grain = \"6.8 kg\"",
        "grain = \"60 kg\"",
        &rig,
        &[
            (
                ProblemKind::DoesNotFit,
                16,
                10,
                &["the mash, grain and strike water together, is 60.7 L, and the mash tun holds 55 L"],
            ),
            (ProblemKind::DoesNotFit, 38, 9, &["no wort reaches the kettle", "grain and tun keep 61.7 L of 39.5 L"]),
        ],
    );
    let mut low = rig.clone();
    low.rig.boil_kettle.capacity_l = 30.0;
    // 20.5 + 19 L less 6.8 L in the grain and 1.65 L in the tun.
    changed(
        "Low rest",
        "Low",
        &low,
        &[(
            ProblemKind::DoesNotFit,
            38,
            9,
            &["the wort before the boil is 31.1 L, and the boil kettle holds 30 L", "1.1 L too much"],
        )],
    );
}

#[test]
fn water_that_does_not_cover_an_element() {
    let rig = good_rig();
    let mut high = rig.clone();
    high.rig.liquor_tank.element_top_l = 37.0;
    changed(
        "refill = \"12 L\"",
        "refill = \"22 L\"",
        &high,
        &[(ProblemKind::UncoveredElement, 11, 8, &["36 L before the heat-up", "at least 37 L covers it"])],
    );
    high.rig.liquor_tank.element_top_l = 15.6;
    let rests: Vec<Expected<'_>> = [20, 26, 32]
        .into_iter()
        .map(|line| (ProblemKind::UncoveredElement, line, 6, &["15.5 L while it holds the mash"] as &[&str]))
        .collect();
    changed("refill = \"12 L\"", "refill = \"0 L\"", &high, &[&rests[..], &[(ProblemKind::DoesNotFit, 38, 9, &[])]].concat());
    // 31.1 L less all of 5500 W as vapour for six hours: 54.9 L.
    changed(
        "at = \"60 %\"\nfor = \"60 min\"",
        "at = \"100 %\"\nfor = \"6 h\"",
        &rig,
        &[(ProblemKind::UncoveredElement, 47, 7, &["the boil kettle holds 0 L at the end of the boil"])],
    );
}

#[test]
fn steps_out_of_order() {
    let rig = good_rig();
    let order = |text: &str, expected: &[Expected<'_>]| {
        let sheet = files::parse_sheet("my-sheet.toml", text).unwrap_or_else(|e| panic!("{e}"));
        expect(sheet.compile(&rig), expected);
    };
    order(
        "[[step]]\ndo = \"bring to boil\"\n",
        &[(ProblemKind::StepOrder, 2, 6, &["\"bring to boil\" without \"sparge\" before it", "do = \"sparge\""])],
    );
    let strike = "grain = \"5 kg\"\n[[step]]\ndo = \"heat strike\"\nfill = \"40 L\"\nto = \"70 C\"\n[[step]]\ndo = \"dough in\"\nstrike = \"15 L\"\n";
    order(
        &format!(
            "{strike}[[step]]\ndo = \"mash out\"\nat = \"76 C\"\nfor = \"5 min\"\n[[step]]\ndo = \"rest\"\nat = \"77 C\"\nfor = \"5 min\"\n"
        ),
        &[(ProblemKind::StepOrder, 14, 6, &["\"rest\" comes after \"mash out\" (line 9)"])],
    );
    order(
        &format!("{strike}[[step]]\ndo = \"dough in\"\nstrike = \"15 L\"\n"),
        &[(ProblemKind::StepOrder, 10, 6, &["a second \"dough in\"; the first is on line 6", "only a rest may be repeated"])],
    );
    changed(
        "at = \"69 C\"",
        "at = \"63 C\"",
        &rig,
        &[(ProblemKind::StepOrder, 28, 6, &["a rest at 63 C after one at 64 C", "can be warmed, not cooled"])],
    );
}

#[test]
fn an_addition_before_its_boil_begins() {
    let text = files::DEMO_SHEET.replace("left = \"60 min\"", "left = \"1 h 15 min\"");
    sheet(&text, &[(ProblemKind::LateAddition, 49, 52, &["75 min before the end of a boil of 60 min", "at most 60 min"])]);
}

#[test]
fn more_than_the_controller_holds() {
    let rest = "\n[[step]]\ndo = \"rest\"\nat = \"64 C\"\nfor = \"5 min\"\n";
    // The demo has 11 steps; 13 more fill the list.
    let full = files::DEMO_SHEET.replacen("\n[[step]]\ndo = \"rest\"\n", &(rest.repeat(13) + "\n[[step]]\ndo = \"rest\"\n"), 1);
    assert_eq!(files::parse_sheet("x", &full).unwrap().compile(&good_rig()).unwrap().steps.len(), 24);
    let over = full.replacen(rest, &rest.repeat(2), 1);
    let last = over.lines().position(|l| l == "do = \"chill\"").unwrap() + 1;
    let found = files::parse_sheet("my-sheet.toml", &over).unwrap();
    expect(found.compile(&good_rig()), &[(ProblemKind::TooMany, last, 6, &["the sheet has 25 steps", "holds 24"])]);

    let addition = "  { add = \"Tarnholm hops\", amount = \"24 g\", left = \"60 min\" },\n";
    let full = files::DEMO_SHEET.replace(addition, &addition.repeat(9));
    assert_eq!(files::parse_sheet("x", &full).unwrap().steps[7].additions.len(), 12);
    let over = files::DEMO_SHEET.replace(addition, &addition.repeat(10));
    sheet(&over, &[(ProblemKind::TooMany, 61, 3, &["the boil has 13 additions", "holds 12"])]);
}

#[test]
fn a_boil_in_watts_is_a_share_of_this_rigs_element() {
    let mut rig = good_rig();
    changed(
        "at = \"60 %\"",
        "at = \"6 kW\"",
        &rig,
        &[(ProblemKind::OutOfRange, 46, 6, &["asks for 6000 W, and the kettle's element gives 5500 W"])],
    );
    // At 208 V a 240 V element gives 5500 (208/240)^2 = 4131 W.
    rig.rig.mains.volts = 208.0;
    changed("at = \"60 %\"", "at = \"5 kW\"", &rig, &[(ProblemKind::OutOfRange, 46, 6, &["gives 4131 W"])]);
    sheet(
        &files::DEMO_SHEET.replace("60 %", "99 C"),
        &[(ProblemKind::WrongUnit, 46, 6, &["a boil cannot be held at", "at = \"3300 W\"", "at = \"4 L/h\""])],
    );
    rig.rig.mains.volts = 240.0;
    // 8 L/h alone takes 5006 W; wall and surface of the demo's kettle take the rest.
    changed("at = \"60 %\"", "at = \"8.5 L/h\"", &rig, &[(ProblemKind::OutOfRange, 46, 6, &["kettle's element gives 5500 W"])]);
    sheet(&files::DEMO_SHEET.replace("60 %", "40 L/h"), &[(ProblemKind::OutOfRange, 46, 6, &["30 L/h"])]);
    sheet(&files::DEMO_SHEET.replace("60 %", "160 %"), &[(ProblemKind::OutOfRange, 46, 6, &["from 5 % to 100 %"])]);
}

#[test]
fn wort_cannot_be_chilled_below_the_tap() {
    let mut rig = good_rig();
    rig.rig.site.tap_c = 20.0;
    changed("Low rest", "Low", &rig, &[(ProblemKind::OutOfRange, 64, 6, &["cannot be chilled to 20 C with tap water at 20 C"])]);
}
