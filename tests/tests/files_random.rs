//! Whatever is in a file, reading it ends in a value or a diagnostic, and the diagnostic can be shown.

use copperhold::day::Units;
use copperhold::files::quantity::Dimension;
use copperhold::files::{self, Diagnostic};
use proptest::prelude::*;

/// Shows the diagnostic, if there is one, in both manners.
fn show(outcome: Result<(), Diagnostic>) -> Result<(), TestCaseError> {
    if let Err(found) = outcome {
        prop_assert!(!found.problems().is_empty());
        let text = found.render(false);
        prop_assert!(!text.contains('\u{1b}'), "{text:?}");
        prop_assert!(found.render(true).contains("error"));
    }
    Ok(())
}

fn read_all(text: &str) -> Result<(), TestCaseError> {
    show(files::parse_rig("r.toml", text).map(drop))?;
    let sheet = files::parse_sheet("s.toml", text);
    if let (Ok(sheet), Ok(rig)) = (&sheet, files::demo_rig()) {
        show(sheet.compile(&rig).map(drop))?;
    }
    show(sheet.map(drop))
}

/// A shipped file with a stretch of it replaced.
fn spoilt() -> impl Strategy<Value = String> {
    let piece = prop_oneof![
        ".{0,6}",
        "[\\[\\]{}=\"',.#\n\r\t 0-9a-zA-Z°%-]{0,12}",
        "-?[0-9]{0,30}\\.?[0-9]{0,5} ?(L|gal|C|F|W|kW|min|h|%|kg|lb|K|V|Hz|W/K|L/min)",
    ];
    (prop::bool::ANY, any::<prop::sample::Index>(), 0usize..20, piece).prop_map(|(rig, at, cut, piece)| {
        let text = if rig { files::DEMO_RIG } else { files::DEMO_SHEET };
        let chars: Vec<char> = text.chars().collect();
        let start = at.index(chars.len());
        let end = (start + cut).min(chars.len());
        chars[..start].iter().collect::<String>() + &piece + &chars[end..].iter().collect::<String>()
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 600, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn random_text_never_panics(text in "(?s).{0,200}") {
        read_all(&text)?;
    }

    #[test]
    fn random_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        read_all(&String::from_utf8_lossy(&bytes))?;
    }

    #[test]
    fn a_spoilt_file_never_panics(text in spoilt()) {
        read_all(&text)?;
    }

    #[test]
    fn random_text_as_a_quantity_never_panics_and_is_finite(text in "(?s).{0,40}", dimension in prop::sample::select(&Dimension::ALL)) {
        if let Ok(quantity) = dimension.parse(&text) {
            prop_assert!(quantity.value.is_finite());
        }
    }

    #[test]
    fn text_much_like_a_quantity_never_panics_and_is_finite(
        text in "[PT+-]{0,2}[0-9.]{0,400}[ ,]?(h|min|s|H|M|S|L|°F|F|C|%|W|W/K)( ?[0-9]{1,3} ?(min|s))?",
        dimension in prop::sample::select(&Dimension::ALL),
    ) {
        if let Ok(quantity) = dimension.parse(&text) {
            prop_assert!(quantity.value.is_finite());
        }
    }

    #[test]
    fn a_quantity_that_is_written_reads_back(
        value in -1e6f64..1e6,
        dimension in prop::sample::select(&Dimension::ALL),
        us in prop::bool::ANY,
    ) {
        let written = dimension.write(value, if us { Units::Us } else { Units::Metric });
        let back = dimension.parse(&written).map_err(|e| TestCaseError::fail(format!("{written:?}: {e:?}")))?;
        // Three roundings of a double, against the largest number in the sum.
        prop_assert!((back.value - value).abs() <= 1e-14 * value.abs().max(100.0), "{value} -> {written:?} -> {}", back.value);
    }
}
