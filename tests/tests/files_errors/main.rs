//! Every kind of problem in a rig or a sheet: what is told, where, what was expected and what to do.

mod brewing;
mod reading;

use copperhold::files::{self, Diagnostic, ProblemKind, RigFile};

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
