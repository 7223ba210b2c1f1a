//! What is wrong with a file on its own.

use super::{THREE_LINES, expect, rig, sheet};
use copperhold::files::{self, ProblemKind};
use std::path::{Path, PathBuf};

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
        "liquor_tank = {}\n[pumps]\nflow_meter = 450\n",
        &[(ProblemKind::WrongType, 3, 14, &["true or false", "write flow_meter = true"])],
    );
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
