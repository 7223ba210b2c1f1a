//! Every kind of problem in a rig or a sheet: what is told, where, what was expected and what to do.

use copperhold::files::{self, Diagnostic, ProblemKind, RigFile};
use std::path::{Path, PathBuf};

/// One problem as a test expects it: kind, line, column and pieces of the text shown.
type Expected<'a> = (ProblemKind, usize, usize, &'a [&'a str]);

#[track_caller]
fn expect(found: Result<impl std::fmt::Debug, Diagnostic>, expected: &[Expected<'_>]) {
    let found = found.expect_err("no problem was found");
    let text = found.to_string();
    let places: Vec<_> = found.problems().iter().map(|p| (p.kind, p.line, p.column)).collect();
    let wanted: Vec<_> = expected.iter().map(|e| (e.0, e.1, e.2)).collect();
    assert_eq!(places, wanted, "\n{text}");
    for (_, line, column, pieces) in expected {
        if *line > 0 {
            let place = format!("{}:{line}:{column}", found.path());
            assert!(text.contains(&place), "no {place} in:\n{text}");
        }
        for piece in *pieces {
            assert!(text.contains(piece), "no {piece:?} in:\n{text}");
        }
    }
    for problem in found.problems() {
        assert!(!problem.message.is_empty() && !problem.remedy.is_empty(), "{problem:?}");
        assert!(problem.line == 0 || !problem.expected.is_empty(), "{problem:?}");
    }
}

#[track_caller]
fn rig(text: &str, expected: &[Expected<'_>]) {
    expect(files::parse_rig("my-rig.toml", text), expected);
}

#[track_caller]
fn sheet(text: &str, expected: &[Expected<'_>]) {
    expect(files::parse_sheet("my-sheet.toml", text), expected);
}

const THREE_LINES: &str = "liquor_tank = { element = \"5500 W\" }\nmash_tun = {}\nboil_kettle = { element = \"5500 W\" }\n";

fn good_rig() -> RigFile {
    files::parse_rig("rig.toml", THREE_LINES).unwrap_or_else(|e| panic!("{e}"))
}

/// The demo sheet with one piece of text exchanged, against a rig.
#[track_caller]
fn changed(from: &str, to: &str, rig: &RigFile, expected: &[Expected<'_>]) {
    assert_eq!(files::DEMO_SHEET.matches(from).count(), 1, "{from:?} is not there once");
    let sheet = files::parse_sheet("my-sheet.toml", &files::DEMO_SHEET.replace(from, to)).unwrap_or_else(|e| panic!("{e}"));
    expect(sheet.compile(rig), expected);
}

/// A file in a place of its own that goes when the test ends.
struct Scratch(PathBuf);

impl Scratch {
    fn new(name: &str, bytes: &[u8]) -> Scratch {
        let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
        std::fs::write(&path, bytes).unwrap();
        Scratch(path)
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.0);
    }
}

#[test]
fn the_whole_text_of_a_wrong_unit() {
    let found = files::parse_rig("my-rig.toml", "[boil_kettle]\nelement = \"38 L\"\n").unwrap_err();
    let expected = "\
error: `element` is a power, but \"L\" is a unit of volume
 --> my-rig.toml:2:11
  |
2 | element = \"38 L\"
  |           ^^^^^^ a power in W or kW
  |
  = help: write element = \"5500 W\"

1 problem in my-rig.toml
";
    assert_eq!(found.render(false), expected);
}

#[test]
fn an_unknown_key_with_the_one_that_was_meant() {
    rig(
        "[liquor_tank]\nelment = \"5500 W\"\n",
        &[(ProblemKind::UnknownKey, 2, 1, &["unknown key `elment`", "not a key of liquor_tank", "did you mean `element`?"])],
    );
    rig(
        "[liquor_tank]\nfizz = 1\n",
        &[(ProblemKind::UnknownKey, 2, 1, &["remove it; the keys of liquor_tank are element, probe"])],
    );
    rig(
        "[liquor_tank]\nelement = { power = \"1 kW\", ratde = \"230 V\" }\n",
        &[(ProblemKind::UnknownKey, 2, 29, &["did you mean `rated`?"])],
    );
}

#[test]
fn an_element_in_the_mash_tun() {
    rig(
        &THREE_LINES.replace("{}", "{ element = \"2 kW\" }"),
        &[(
            ProblemKind::UnknownKey,
            2,
            14,
            &["the mash tun has no element of its own", "the coil in the liquor tank heats the mash"],
        )],
    );
}

#[test]
fn a_wrong_unit_and_a_missing_one() {
    rig(
        "[liquor_tank]\ncapacity = \"5500 W\"\n",
        &[(ProblemKind::WrongUnit, 2, 12, &["\"W\" is a unit of power", "L, gal, mL, qt or pt"])],
    );
    rig(
        "[liquor_tank]\ncapacity = \"3 firkins\"\n",
        &[(ProblemKind::WrongUnit, 2, 12, &["unknown unit \"firkins\"", "write capacity = \"38 L\""])],
    );
    rig(
        "[liquor_tank]\ncapacity = \"40\"\n",
        &[(ProblemKind::WrongUnit, 2, 12, &["without a unit", "write capacity = \"40 L\" if that"])],
    );
    rig(
        "[liquor_tank]\ncapacity = 40\n",
        &[(ProblemKind::WrongType, 2, 12, &["without a unit", "write capacity = \"40 L\" if that"])],
    );
    rig("[liquor_tank]\ncapacity = 40.5\n", &[(ProblemKind::WrongType, 2, 12, &["write capacity = \"40.5 L\" if that"])]);
}

#[test]
fn what_is_not_a_quantity() {
    rig("[liquor_tank]\ncapacity = \"lots\"\n", &[(ProblemKind::NotAQuantity, 2, 12, &["not a number with a unit: \"lots\""])]);
    rig(
        "[liquor_tank]\nelement = \"5,5 kW\"\n",
        &[(ProblemKind::NotAQuantity, 2, 11, &["decimal comma", "write a point: element = \"5.5 kW\""])],
    );
}

#[test]
fn a_negative_volume() {
    rig(
        "[liquor_tank]\ncapacity = \"-40 L\"\n",
        &[(ProblemKind::Negative, 2, 12, &["`capacity` cannot be below zero", "from 2 L to 1000 L"])],
    );
}

#[test]
fn values_out_of_range() {
    rig("[liquor_tank]\nlimit = \"300 F\"\n", &[(ProblemKind::OutOfRange, 2, 9, &["`limit` is too large", "from 86 F to 239 F"])]);
    rig(
        "[liquor_tank]\nelement = \"5.5 W\"\n",
        &[(ProblemKind::OutOfRange, 2, 11, &["`element` is too small", "from 100 W to 20000 W"])],
    );
    rig("liquor_tank = {}\nmains = { frequency = \"55 Hz\" }\n", &[(ProblemKind::OutOfRange, 2, 23, &["neither 50 Hz nor 60 Hz"])]);
    rig("name = \" \"\nliquor_tank = {}\n", &[(ProblemKind::OutOfRange, 1, 8, &["`name` is empty"])]);
}

#[test]
fn values_of_the_wrong_type() {
    rig("name = 5\nliquor_tank = {}\n", &[(ProblemKind::WrongType, 1, 8, &["`name` cannot be a bare number", "text in quotes"])]);
    rig("liquor_tank = \"big\"\n", &[(ProblemKind::WrongType, 1, 15, &["`liquor_tank` cannot be text", "a table"])]);
    rig("[liquor_tank]\nlid = \"yes\"\n", &[(ProblemKind::WrongType, 2, 7, &["true or false", "write lid = true"])]);
    rig(
        "[liquor_tank]\nelement = [1]\n",
        &[(ProblemKind::WrongType, 2, 11, &["`element` cannot be a list", "a power in quotes, or a table"])],
    );
    sheet("step = [1]\n", &[(ProblemKind::WrongType, 1, 9, &["`step` cannot be a bare number"])]);
    sheet("step = 3\n", &[(ProblemKind::WrongType, 1, 8, &["a list of tables"])]);
}

#[test]
fn a_word_that_is_none_of_the_permitted() {
    rig(
        "[liquor_tank]\nprobe = \"pt10\"\n",
        &[(ProblemKind::UnknownWord, 2, 9, &["one of pt100, ntc10k, ds18b20", "did you mean \"pt100\"?"])],
    );
    rig("units = \"stone\"\nliquor_tank = {}\n", &[(ProblemKind::UnknownWord, 1, 9, &["write one of metric, us"])]);
    sheet("[[step]]\ndo = \"spargge\"\n", &[(ProblemKind::UnknownWord, 2, 6, &["did you mean \"sparge\"?"])]);
}

#[test]
fn values_that_contradict_each_other() {
    rig(
        "[liquor_tank]\ncapacity = \"40 L\"\nelement_top = \"45 L\"\ndead_space = \"40 L\"\n",
        &[
            (ProblemKind::Conflict, 3, 15, &["`element_top` is not below the capacity of the liquor tank", "less than 40 L"]),
            (ProblemKind::Conflict, 4, 14, &["`dead_space` is not below"]),
        ],
    );
}

#[test]
fn a_key_that_must_be_there() {
    rig("", &[(ProblemKind::MissingKey, 1, 1, &["a rig lacks `liquor_tank`", "add liquor_tank = { element = \"5500 W\" }"])]);
    rig("[boil_kettle]\nelement = { rated = \"240 V\" }\n", &[(ProblemKind::MissingKey, 2, 11, &["element lacks `power`"])]);
    sheet("name = \"x\"\n", &[(ProblemKind::MissingKey, 1, 1, &["the sheet has no steps", "do = \"heat strike\""])]);
    sheet("[[step]]\nname = \"x\"\n", &[(ProblemKind::MissingKey, 1, 1, &["a step lacks `do`"])]);
    sheet(
        "[[step]]\ndo = \"heat strike\"\n\n[[step]]\ndo = \"dough in\"\nstrike = \"10 L\"\n",
        &[
            (ProblemKind::MissingKey, 1, 1, &["a sheet lacks `grain`"]),
            (ProblemKind::MissingKey, 1, 1, &["lacks `fill`"]),
            (ProblemKind::MissingKey, 1, 1, &["lacks `to`"]),
        ],
    );
}

#[test]
fn a_duplicate_key() {
    rig(
        "[liquor_tank]\nelement = \"1 kW\"\nelement = \"2 kW\"\n",
        &[(ProblemKind::DuplicateKey, 3, 1, &["a key is given twice", "already given above", "remove the other"])],
    );
    rig("[liquor_tank]\n[liquor_tank]\n", &[(ProblemKind::DuplicateKey, 2, 2, &[])]);
}

#[test]
fn what_is_not_toml() {
    rig("liquor_tank = {\n", &[(ProblemKind::NotToml, 1, 16, &["this is not TOML", "one `key = value` to a line"])]);
    rig("heat the water\n", &[(ProblemKind::NotToml, 1, 6, &["this is not TOML"])]);
}

#[test]
fn a_file_that_cannot_be_read() {
    let path = Path::new("no-such-folder/rig.toml");
    expect(
        files::load_rig(path),
        &[(ProblemKind::Unreadable, 0, 0, &["cannot be read", "no-such-folder/rig.toml", "check the path"])],
    );
    expect(files::load_sheet(path), &[(ProblemKind::Unreadable, 0, 0, &[])]);
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    expect(files::load_rig(folder), &[(ProblemKind::Unreadable, 0, 0, &[])]);
}

#[test]
fn a_file_that_is_not_utf8() {
    let file = Scratch::new("latin1.toml", b"units = \"us\"\nname = \"caf\xe9\"\n");
    expect(files::load_rig(&file.0), &[(ProblemKind::NotUtf8, 2, 12, &["not UTF-8", "save the file as UTF-8"])]);
}

#[test]
fn a_file_that_is_far_too_large() {
    let file = Scratch::new("large.toml", &vec![b'#'; (1 << 20) + 1]);
    expect(files::load_sheet(&file.0), &[(ProblemKind::TooLarge, 0, 0, &["larger than 1 MiB"])]);
    let file =
        Scratch::new("just.toml", &[vec![b'#'; (1 << 20) - THREE_LINES.len() - 1], b"\n".to_vec(), THREE_LINES.into()].concat());
    assert!(files::load_rig(&file.0).is_ok());
}

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
    for unheld in ["4 L/h", "99 C"] {
        sheet(
            &files::DEMO_SHEET.replace("60 %", unheld),
            &[(ProblemKind::WrongUnit, 46, 6, &["a boil cannot be held at", "at = \"3300 W\""])],
        );
    }
    sheet(&files::DEMO_SHEET.replace("60 %", "160 %"), &[(ProblemKind::OutOfRange, 46, 6, &["from 5 % to 100 %"])]);
}

#[test]
fn wort_cannot_be_chilled_below_the_tap() {
    let mut rig = good_rig();
    rig.rig.site.tap_c = 20.0;
    changed("Low rest", "Low", &rig, &[(ProblemKind::OutOfRange, 64, 6, &["cannot be chilled to 20 C with tap water at 20 C"])]);
}

#[test]
fn all_problems_of_a_file_come_at_once_in_its_order() {
    rig(
        "name = 5\n[liquor_tank]\nelement = \"38 L\"\ncapacity = \"-1 L\"\n[site]\nhumidty = \"50 %\"\nair = \"500 F\"\n",
        &[
            (ProblemKind::WrongType, 1, 8, &[]),
            (ProblemKind::WrongUnit, 3, 11, &[]),
            (ProblemKind::Negative, 4, 12, &[]),
            (ProblemKind::UnknownKey, 6, 1, &["did you mean `humidity`?"]),
            (ProblemKind::OutOfRange, 7, 7, &["5 problems in my-rig.toml"]),
        ],
    );
}
