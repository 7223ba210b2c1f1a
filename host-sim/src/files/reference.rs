//! The tables of keys for the guide, made from the same lists that the reader uses.

use super::key::{Form, Key};
use super::{rig_keys, sheet_keys};
use crate::day::Units;
use std::fmt::Write;

/// Every key of rig and sheet files with what it holds, its range and its default, as Markdown.
pub fn reference() -> String {
    let mut text = String::from("### Rig file\n\n");
    table(&mut text, "", rig_keys::RIG);
    text.push_str("\n### Sheet file\n\n");
    table(&mut text, "", sheet_keys::SHEET);
    for word in sheet_keys::WORDS {
        let _ = write!(text, "\n#### `do = \"{word}\"`\n\n");
        table(&mut text, "", sheet_keys::of_step(word));
    }
    text
}

fn table(text: &mut String, prefix: &str, keys: &[&Key]) {
    if prefix.is_empty() {
        text.push_str("| key | holds | range | default | what it is |\n| --- | --- | --- | --- | --- |\n");
    }
    rows(text, prefix, keys);
}

fn rows(text: &mut String, prefix: &str, keys: &[&Key]) {
    for key in keys {
        if let Form::OneOf(forms) = key.form {
            rows(text, prefix, forms);
            continue;
        }
        let range = match key.form {
            Form::Quantity(range) | Form::QuantityOrTable(range, _) => {
                range.dimension.show_range(range.least, range.most, Units::Metric, 3)
            }
            _ => String::new(),
        };
        let name = format!("{prefix}{}", key.name);
        let _ = writeln!(text, "| `{name}` | {} | {range} | {} | {} |", key.wants(), key.default, key.about);
        match key.form {
            Form::Table(inner) | Form::QuantityOrTable(_, inner) | Form::WordOrTable(_, inner) => {
                table(text, &format!("{name}."), inner)
            }
            Form::Tables(inner) if key.name != sheet_keys::STEP.name => table(text, &format!("{name}."), inner),
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::reference;

    #[test]
    fn names_nested_keys_with_range_and_default() {
        let text = reference();
        for row in [
            "| `liquor_tank.element.rated` | a voltage in quotes | 90 V to 480 V | the mains voltage | voltage of the element's rating |",
            "| `boil_kettle.probe.kind` | one of pt100, ntc10k, ds18b20 |",
            "| `additions.left` | a time in quotes |",
            "| `at` | a percentage in quotes | 5 % to 100 % |",
            "| `at` | a power in quotes | 50 W to 20000 W |",
            "| `at` | a flow in quotes | 0.1 L/h to 30 L/h |",
            "| `mains.measured` | true or false |",
        ] {
            assert!(text.contains(row), "no {row} in:\n{text}");
        }
        assert!(!text.contains("mash_tun.element"));
    }
}
