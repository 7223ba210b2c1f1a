//! BeerJSON 1.0: every quantity is `{"value": 20, "unit": "l"}`. From memory.

use super::recipe::{Addition, KILOGRAMS, LITRES, MASH_C, MINUTES, Place, Problems, Recipe, Rest, mass_text};
use crate::files::{Diagnostic, Problem, ProblemKind};
use serde_json::Value;

/// What a quantity measures, with its units and their size in our own (kg, L, min); temperatures are converted apart.
struct Measure {
    what: &'static str,
    ours: &'static str,
    units: &'static [(&'static str, f64)],
}

const GALLON_L: f64 = 3.785_411_784;
const IMPERIAL_GALLON_L: f64 = 4.546_09;
const POUND_KG: f64 = 0.453_592_37;

const MASS: Measure = Measure {
    what: "mass",
    ours: "kg",
    units: &[("mg", 1e-6), ("g", 1e-3), ("kg", 1.0), ("lb", POUND_KG), ("oz", POUND_KG / 16.0)],
};
const VOLUME: Measure = Measure {
    what: "volume",
    ours: "L",
    units: &[
        ("ml", 1e-3),
        ("l", 1.0),
        ("tsp", GALLON_L / 768.0),
        ("tbsp", GALLON_L / 256.0),
        ("floz", GALLON_L / 128.0),
        ("cup", GALLON_L / 16.0),
        ("pt", GALLON_L / 8.0),
        ("qt", GALLON_L / 4.0),
        ("gal", GALLON_L),
        ("bbl", GALLON_L * 31.0),
        ("ifloz", IMPERIAL_GALLON_L / 160.0),
        ("ipt", IMPERIAL_GALLON_L / 8.0),
        ("iqt", IMPERIAL_GALLON_L / 4.0),
        ("igal", IMPERIAL_GALLON_L),
        ("ibbl", IMPERIAL_GALLON_L * 36.0),
    ],
};
const TIME: Measure = Measure {
    what: "time",
    ours: "min",
    units: &[("sec", 1.0 / 60.0), ("min", 1.0), ("hr", 60.0), ("day", 1440.0), ("week", 10_080.0)],
};
const TEMPERATURE: Measure = Measure { what: "temperature", ours: "C", units: &[("C", 1.0), ("F", 1.0 / 1.8)] };

/// Reads every recipe of a document.
///
/// # Errors
/// Everything that is wrong with it, with its place.
pub fn read(path: &str, text: &str) -> Result<Vec<Recipe>, Diagnostic> {
    let document: Value = serde_json::from_str(text).map_err(|error| {
        let (row, column) = (u32::try_from(error.line()).unwrap_or(1), u32::try_from(error.column()).unwrap_or(1));
        let at = super::beer_xml::offset(text, row, column);
        let problem =
            Problem::at(ProblemKind::NotJson, at..at + 1, format!("not JSON: {error}"), "JSON", "export the recipe again");
        Diagnostic::new(path, text, vec![problem])
    })?;
    let mut reader = Reader { problems: Problems::default() };
    let root = At { value: &document, path: String::new() };
    let beer = root.get("beerjson");
    let recipes = match beer.as_ref().and_then(|beer| beer.get("recipes")) {
        Some(list) => list.items().iter().map(|item| reader.recipe(item)).collect(),
        None => Vec::new(),
    };
    if let Some(beer) = &beer {
        let version = beer.get("version").and_then(|version| version.value.as_f64());
        if version.is_some_and(|version| !(1.0..2.0).contains(&version)) {
            let message = format!("BeerJSON of version {}", version.unwrap_or_default());
            reader.fault(ProblemKind::UnknownFormat, beer, &message, "version 1.0", "export as BeerJSON 1.0");
        }
    }
    if recipes.is_empty() && reader.problems.0.is_empty() {
        let remedy = "give a BeerJSON 1.0 document: {\"beerjson\": {\"version\": 1.0, \"recipes\": [ ... ]}}";
        reader.fault(ProblemKind::UnknownFormat, &root, "there is no recipe in it", "beerjson.recipes with a recipe", remedy);
    }
    if reader.problems.0.is_empty() { Ok(recipes) } else { Err(Diagnostic::new(path, text, reader.problems.0)) }
}

/// A value and the path to it.
struct At<'a> {
    value: &'a Value,
    path: String,
}

impl<'a> At<'a> {
    fn get(&self, key: &str) -> Option<At<'a>> {
        let value = self.value.get(key).filter(|value| !value.is_null())?;
        let path = if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) };
        Some(At { value, path })
    }

    fn items(&self) -> Vec<At<'a>> {
        let list = self.value.as_array().map_or(&[][..], Vec::as_slice);
        list.iter().enumerate().map(|(index, value)| At { value, path: format!("{}[{index}]", self.path) }).collect()
    }

    fn text(&self, key: &str) -> Option<&'a str> {
        self.value.get(key)?.as_str().map(str::trim).filter(|text| !text.is_empty())
    }
}

struct Reader {
    problems: Problems,
}

impl Reader {
    fn fault(&mut self, kind: ProblemKind, at: &At<'_>, message: &str, expected: &str, remedy: &str) {
        let path = if at.path.is_empty() { "the top" } else { at.path.as_str() };
        self.problems.add(kind, &Place::Path(path.to_owned()), message, expected, remedy);
    }

    fn quantity(&mut self, at: &At<'_>, measure: &Measure, range: (f64, f64)) -> Option<f64> {
        let known: Vec<&str> = measure.units.iter().map(|(name, _)| *name).collect();
        let expected = format!("{{\"value\": a number, \"unit\": one of {}}}", known.join(", "));
        let (Some(value), Some(unit)) =
            (at.value.get("value").and_then(Value::as_f64), at.value.get("unit").and_then(Value::as_str))
        else {
            let message = format!("a {} is not given as a value with its unit", measure.what);
            self.fault(ProblemKind::WrongType, at, &message, &expected, "write the quantity as BeerJSON does");
            return None;
        };
        let Some((_, factor)) = measure.units.iter().find(|(name, _)| *name == unit) else {
            let message = format!("{unit:?} is no unit of {}", measure.what);
            self.fault(ProblemKind::WrongUnit, at, &message, &expected, "use a unit that BeerJSON has; nothing is guessed");
            return None;
        };
        let ours = if unit == "F" { (value - 32.0) / 1.8 } else { value * factor };
        self.problems.within(&Place::Path(at.path.clone()), measure.what, ours, range, measure.ours)
    }

    fn optional(&mut self, at: &At<'_>, key: &str, measure: &Measure, range: (f64, f64)) -> Option<f64> {
        at.get(key).and_then(|inner| self.quantity(&inner, measure, range))
    }

    fn needed(&mut self, at: &At<'_>, key: &str, measure: &Measure, range: (f64, f64)) -> Option<f64> {
        if at.get(key).is_none() {
            let message = format!("`{key}` is missing");
            self.fault(
                ProblemKind::MissingKey,
                at,
                &message,
                &format!("`{key}`, a {}", measure.what),
                "fill it in where the recipe was written",
            );
        }
        self.optional(at, key, measure, range)
    }

    fn name(&mut self, at: &At<'_>) -> String {
        at.text("name").map(str::to_owned).unwrap_or_else(|| {
            self.fault(
                ProblemKind::MissingKey,
                at,
                "`name` is missing",
                "`name`, a text",
                "give it a name where the recipe was written",
            );
            String::new()
        })
    }

    fn recipe(&mut self, at: &At<'_>) -> Recipe {
        let mut recipe = Recipe { name: self.name(at), ..Recipe::default() };
        let kind = at.text("type").unwrap_or_default();
        if kind != "all grain" {
            let message = format!("a recipe of the type {kind:?}");
            self.fault(ProblemKind::UnknownWord, at, &message, "\"all grain\"", "this controller mashes: give an all-grain recipe");
        }
        recipe.batch_l = self.needed(at, "batch_size", &VOLUME, LITRES).unwrap_or_default();
        match at.get("boil") {
            Some(boil) => {
                recipe.boil_s = 60.0 * self.needed(&boil, "boil_time", &TIME, (1.0, MINUTES.1)).unwrap_or_default();
                recipe.pre_boil_l = self.optional(&boil, "pre_boil_size", &VOLUME, LITRES);
            }
            None => {
                self.fault(ProblemKind::MissingKey, at, "`boil` is missing", "`boil` with a boil_time", "give the recipe a boil")
            }
        }
        if let Some(ingredients) = at.get("ingredients") {
            self.fermentables(&ingredients, &mut recipe);
            for key in ["hop_additions", "miscellaneous_additions"] {
                for item in ingredients.get(key).map(|list| list.items()).unwrap_or_default() {
                    self.timed(&item, &mut recipe);
                }
            }
            for item in ingredients.get("culture_additions").map(|list| list.items()).unwrap_or_default() {
                recipe.left_out.push(format!("yeast: {}", item.text("name").unwrap_or_default()));
            }
            for item in ingredients.get("water_additions").map(|list| list.items()).unwrap_or_default() {
                recipe.left_out.push(format!("water profile: {}", item.text("name").unwrap_or_default()));
            }
        }
        self.mash(at, &mut recipe);
        for (key, what) in [
            ("style", "style"),
            ("efficiency", "efficiency: `copperhold plan --efficiency` takes it"),
            ("fermentation", "fermentation"),
            ("packaging", "packaging"),
            ("carbonation", "carbonation"),
            ("notes", "notes"),
            ("taste", "taste notes"),
        ] {
            if at.get(key).is_some() {
                recipe.left_out.push(what.to_owned());
            }
        }
        recipe
    }

    fn fermentables(&mut self, ingredients: &At<'_>, recipe: &mut Recipe) {
        for item in ingredients.get("fermentable_additions").map(|list| list.items()).unwrap_or_default() {
            let name = self.name(&item);
            let kind = item.text("type").unwrap_or_default();
            let Some(amount) = item.get("amount") else {
                self.fault(
                    ProblemKind::MissingKey,
                    &item,
                    "`amount` is missing",
                    "`amount`, a mass",
                    "fill it in where the recipe was written",
                );
                continue;
            };
            let by_volume = amount
                .value
                .get("unit")
                .and_then(Value::as_str)
                .is_some_and(|unit| VOLUME.units.iter().any(|(name, _)| *name == unit));
            if by_volume && kind != "grain" {
                recipe.left_out.push(format!("{name} ({kind}): add it by hand"));
                continue;
            }
            let Some(kg) = self.quantity(&amount, &MASS, KILOGRAMS) else { continue };
            if kind == "grain" {
                recipe.grain_kg += kg;
                recipe.left_out.push(format!("that {} of the grain is {name}: a sheet knows the grain's mass only", mass_text(kg)));
            } else {
                recipe.left_out.push(format!("{} {name} ({kind}): add it by hand", mass_text(kg)));
            }
        }
    }

    /// A hop or another ingredient, by its timing: `duration` is how long it stays in the boil, `time` when it goes in.
    fn timed(&mut self, item: &At<'_>, recipe: &mut Recipe) {
        let name = self.name(item);
        let amount = self.amount(item);
        let Some(timing) = item.get("timing") else {
            self.fault(ProblemKind::MissingKey, item, "`timing` is missing", "`timing` with its `use`", "say when it goes in");
            return;
        };
        match timing.text("use").unwrap_or_default() {
            "add_to_boil" => {
                let duration = self.optional(&timing, "duration", &TIME, MINUTES);
                let after = self.optional(&timing, "time", &TIME, MINUTES);
                let left_s = match (duration, after) {
                    (Some(minutes), _) => minutes * 60.0,
                    (None, Some(minutes)) => recipe.boil_s - minutes * 60.0,
                    (None, None) => {
                        let remedy = "say how long it boils (`duration`), or when it goes in (`time`)";
                        self.fault(
                            ProblemKind::MissingKey,
                            &timing,
                            "an addition to the boil without a time",
                            "`duration` or `time`",
                            remedy,
                        );
                        return;
                    }
                };
                if recipe.boil_s > 0.0 && !(0.0..=recipe.boil_s).contains(&left_s) {
                    let message = format!("{name:?} lies outside the boil of {} min", recipe.boil_s / 60.0);
                    self.fault(
                        ProblemKind::LateAddition,
                        &timing,
                        &message,
                        "a time within the boil",
                        "correct its time, or the boil's",
                    );
                    return;
                }
                recipe.additions.push(Addition { name, amount, left_s });
            }
            "add_to_mash" | "add_to_fermentation" | "add_to_package" => {
                let usage = timing.text("use").unwrap_or_default().replace('_', " ");
                recipe.left_out.push(format!("{amount} {name} ({usage}): do it by hand"));
            }
            other => {
                let message = format!("{name:?} has the use {other:?}");
                let expected = "add_to_mash, add_to_boil, add_to_fermentation or add_to_package";
                self.fault(ProblemKind::UnknownWord, &timing, &message, expected, "correct its `use`");
            }
        }
    }

    /// An amount in words: a mass, a volume, or a count.
    fn amount(&mut self, item: &At<'_>) -> String {
        let Some(amount) = item.get("amount") else { return String::new() };
        let unit = amount.value.get("unit").and_then(Value::as_str).unwrap_or_default();
        if ["1", "unit", "each", "dimensionless", "pkg"].contains(&unit) {
            return amount.value.get("value").and_then(Value::as_f64).map_or_else(String::new, |count| count.to_string());
        }
        if VOLUME.units.iter().any(|(name, _)| *name == unit) {
            let litres = self.quantity(&amount, &VOLUME, (0.0, 1000.0));
            return litres.map_or_else(String::new, |l| format!("{} mL", (l * 1e4).round() / 10.0));
        }
        self.quantity(&amount, &MASS, KILOGRAMS).map_or_else(String::new, mass_text)
    }

    fn mash(&mut self, at: &At<'_>, recipe: &mut Recipe) {
        let Some(mash) = at.get("mash") else {
            self.fault(ProblemKind::MissingKey, at, "`mash` is missing", "`mash` with mash_steps", "give the recipe a mash");
            return;
        };
        recipe.grain_c = self.optional(&mash, "grain_temperature", &TEMPERATURE, (-20.0, 40.0));
        let steps = mash.get("mash_steps").map(|list| list.items()).unwrap_or_default();
        if steps.is_empty() {
            self.fault(ProblemKind::MissingKey, &mash, "the mash has no step", "`mash_steps`", "give the mash at least one step");
        }
        for step in &steps {
            let name = step.text("name").unwrap_or_default().to_owned();
            let kind = step.text("type").unwrap_or_default();
            let amount_l = self.optional(step, "amount", &VOLUME, (0.0, 1000.0)).filter(|litres| *litres > 0.0);
            match kind {
                "infusion" if recipe.rests.is_empty() => recipe.strike_l = amount_l,
                "infusion" => {
                    if let Some(litres) = amount_l {
                        recipe.left_out.push(format!("the infusion of {litres:.1} L at {name:?}: the coil does the step"));
                    }
                }
                "temperature" => {}
                "decoction" => recipe.left_out.push(format!("the decoction at {name:?}: the coil does the step")),
                "sparge" => {
                    recipe.sparge_c = self.needed(step, "step_temperature", &TEMPERATURE, (20.0, 100.0));
                    continue;
                }
                "drain mash tun" | "souring mash" | "souring wort" => {
                    recipe.left_out.push(format!("the mash step {name:?} ({kind})"));
                    continue;
                }
                other => {
                    let message = format!("a mash step of the type {other:?}");
                    let expected = "infusion, temperature, decoction, sparge, drain mash tun, souring mash or souring wort";
                    self.fault(ProblemKind::UnknownWord, step, &message, expected, "correct its `type`");
                    continue;
                }
            }
            let at_c = self.needed(step, "step_temperature", &TEMPERATURE, MASH_C);
            let minutes = self.needed(step, "step_time", &TIME, MINUTES);
            if let (Some(at_c), Some(minutes)) = (at_c, minutes) {
                let rest = Rest { name, at_c, lasts_s: minutes * 60.0 };
                self.problems.rest(&mut recipe.rests, &Place::Path(step.path.clone()), &format!("{at_c:.1}"), rest);
            }
        }
    }
}
