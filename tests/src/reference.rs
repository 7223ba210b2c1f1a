//! The reference tables in `tests/reference/`: facts that were computed or published elsewhere, one schema for every file.
//!
//! A row passes if `|x - value| <= tol_abs` or `|x - value| <= tol_rel * |value|`; with neither tolerance the value must match exactly.

use std::collections::BTreeMap;
use std::path::Path;

/// The columns of every table, in order.
const COLUMNS: &str = "case_id,quantity,inputs,value,unit,tol_abs,tol_rel,kind,source,note";

/// One row of a reference table.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Names the row within its file.
    pub case_id: String,
    /// What the value is.
    pub quantity: String,
    /// What the value depends on: `key=value` pairs.
    pub inputs: BTreeMap<String, String>,
    /// The value as written.
    pub value: String,
    /// Its unit.
    pub unit: String,
    /// Allowed absolute error, in the value's unit.
    pub tol_abs: Option<f64>,
    /// Allowed error as a share of the value.
    pub tol_rel: Option<f64>,
    /// `a` computed by a library, `b` published, `c` from memory.
    pub kind: String,
    /// Source, as numbered in the file's header.
    pub source: String,
    /// Remark.
    pub note: String,
}

/// Every row of `tests/reference/{file}`, in order.
///
/// # Panics
/// If the file is missing, empty, or a line does not fit the schema: a table that cannot be read must not pass as one that agrees.
pub fn rows(file: &str) -> Vec<Row> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference").join(file);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{file}: {error}"));
    let mut lines = text.lines().enumerate().filter(|(_, line)| !line.starts_with('#') && !line.trim().is_empty());
    let (_, header) = lines.next().unwrap_or_else(|| panic!("{file}: no header row"));
    assert_eq!(header.trim(), COLUMNS, "{file}: header");
    let rows: Vec<Row> = lines.map(|(n, line)| parse(line).unwrap_or_else(|why| panic!("{file}:{}: {why}", n + 1))).collect();
    assert!(!rows.is_empty(), "{file}: no rows");
    rows
}

fn parse(line: &str) -> Result<Row, String> {
    let fields: Vec<&str> = line.split(',').map(str::trim).collect();
    let [case_id, quantity, inputs, value, unit, tol_abs, tol_rel, kind, source, note] = fields[..] else {
        return Err(format!("{} fields instead of 10", fields.len()));
    };
    let inputs = inputs
        .split(';')
        .filter(|pair| !pair.is_empty())
        .map(|pair| match pair.split_once('=') {
            Some((key, value)) => Ok((key.trim().to_owned(), value.trim().to_owned())),
            None => Err(format!("input {pair:?} has no '='")),
        })
        .collect::<Result<_, String>>()?;
    Ok(Row {
        case_id: case_id.to_owned(),
        quantity: quantity.to_owned(),
        inputs,
        value: value.to_owned(),
        unit: unit.to_owned(),
        tol_abs: tolerance(tol_abs)?,
        tol_rel: tolerance(tol_rel)?,
        kind: kind.to_owned(),
        source: source.to_owned(),
        note: note.to_owned(),
    })
}

fn tolerance(text: &str) -> Result<Option<f64>, String> {
    if text.is_empty() {
        return Ok(None);
    }
    match text.parse::<f64>() {
        Ok(tolerance) if tolerance.is_finite() && tolerance >= 0.0 => Ok(Some(tolerance)),
        _ => Err(format!("tolerance {text:?}")),
    }
}

impl Row {
    /// The value as a number.
    ///
    /// # Panics
    /// If it is text.
    pub fn num(&self) -> f64 {
        self.value.parse().unwrap_or_else(|_| panic!("{}: value {:?} is no number", self.case_id, self.value))
    }

    /// An input as a number.
    ///
    /// # Panics
    /// If the row has no such input or it is text.
    pub fn input(&self, key: &str) -> f64 {
        let text = self.inputs.get(key).unwrap_or_else(|| panic!("{}: no input {key:?}", self.case_id));
        text.parse().unwrap_or_else(|_| panic!("{}: input {key}={text:?} is no number", self.case_id))
    }

    /// Whether `x` agrees with the value within the row's tolerances.
    ///
    /// # Errors
    /// Says what was expected and by how much `x` misses it. A value that is not finite never agrees.
    pub fn check(&self, x: f64) -> Result<(), String> {
        let value = self.num();
        let error = (x - value).abs();
        let within_abs = self.tol_abs.is_some_and(|tol| error <= tol);
        let within_rel = self.tol_rel.is_some_and(|tol| error <= tol * value.abs());
        let exact = self.tol_abs.is_none() && self.tol_rel.is_none() && x == value;
        if within_abs || within_rel || exact {
            return Ok(());
        }
        Err(format!(
            "{} {}: got {x} {unit}, expected {value} {unit}, off by {error:.3e} (allowed: abs {:?}, rel {:?}; source {})",
            self.case_id,
            self.quantity,
            self.tol_abs,
            self.tol_rel,
            self.source,
            unit = self.unit,
        ))
    }
}

/// Checks every row of `file` for which `model` has an answer; the others must be named in `excluded`, by quantity or by case, with why.
/// `expected` are the numbers of rows checked and left out.
///
/// # Panics
/// If a row disagrees, is neither answered nor excluded, or is both; if an exclusion names no row; if the counts differ.
pub fn check(file: &str, expected: (usize, usize), excluded: &[(&str, &str)], model: impl Fn(&Row) -> Option<f64>) {
    let (mut checked, mut left_out, mut failures) = (0, 0, Vec::new());
    for row in rows(file) {
        let reason = excluded.iter().find(|(name, _)| *name == row.quantity || *name == row.case_id);
        match (model(&row), reason) {
            (Some(x), None) => {
                checked += 1;
                failures.extend(row.check(x).err());
            }
            (None, Some(_)) => left_out += 1,
            (Some(_), Some(_)) => failures.push(format!("{}: answered, yet excluded", row.case_id)),
            (None, None) => failures.push(format!("{} {}: not answered and not excluded", row.case_id, row.quantity)),
        }
    }
    for (name, _) in excluded {
        if !rows(file).iter().any(|row| row.quantity == *name || row.case_id == *name) {
            failures.push(format!("{name}: excluded, but no such row"));
        }
    }
    assert!(failures.is_empty(), "{file}:\n{}", failures.join("\n"));
    assert_eq!((checked, left_out), expected, "{file}: rows checked and left out");
}

#[cfg(test)]
mod tests {
    use super::*;

    const LINE: &str = "T_1,thing,a=2;b=wood chip,100.0,W,0.5,1e-3,a,S1,remark";

    #[test]
    fn reads_every_field_of_a_row() {
        let row = parse(LINE).unwrap();
        assert_eq!((row.case_id.as_str(), row.num(), row.input("a")), ("T_1", 100.0, 2.0));
        assert_eq!((row.inputs["b"].as_str(), row.tol_abs, row.tol_rel), ("wood chip", Some(0.5), Some(1e-3)));
        assert_eq!((row.unit.as_str(), row.kind.as_str(), row.source.as_str(), row.note.as_str()), ("W", "a", "S1", "remark"));
    }

    #[test]
    fn passes_within_either_tolerance_and_no_further() {
        let row = parse(LINE).unwrap();
        assert!(row.check(100.5).is_ok() && row.check(99.5).is_ok());
        assert!(row.check(100.6).is_err() && row.check(f64::NAN).is_err());
        let relative = Row { tol_abs: None, ..row.clone() };
        assert!(relative.check(100.1).is_ok() && relative.check(100.2).is_err());
        let exact = Row { tol_abs: None, tol_rel: None, ..row };
        assert!(exact.check(100.0).is_ok() && exact.check(100.000_001).is_err());
    }

    #[test]
    fn refuses_a_line_that_does_not_fit() {
        assert!(parse("a,b,c").is_err());
        assert!(parse("T,thing,a2,1,W,,,a,S1,").is_err());
        assert!(parse("T,thing,,1,W,wide,,a,S1,").is_err());
        assert!(parse("T,thing,,1,W,-1,,a,S1,").is_err());
    }

    #[test]
    fn reads_every_table_in_the_folder() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference");
        let mut tables = 0;
        for entry in std::fs::read_dir(folder).unwrap() {
            let entry = entry.unwrap();
            // Folders hold the screens of the panel.
            if entry.file_type().unwrap().is_dir() {
                continue;
            }
            let name = entry.file_name().into_string().unwrap();
            assert!(!rows(&name).is_empty());
            tables += 1;
        }
        assert!(tables >= 5, "{tables} tables");
    }
}
