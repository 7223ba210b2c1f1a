//! BeerXML 1.0: upper-case elements, fixed units (kg, L, min, degrees Celsius, percent). From memory.

use super::recipe::{Addition, KILOGRAMS, LITRES, MASH_C, MINUTES, Place, Problems, Recipe, Rest, mass_text};
use crate::files::{Diagnostic, Problem, ProblemKind};
use roxmltree::{Document, Node, ParsingOptions};
use std::ops::Range;

/// No recipe has more elements.
const MOST_NODES: u32 = 200_000;

/// Reads every recipe of a document.
///
/// # Errors
/// Everything that is wrong with it, with its place.
pub fn read(path: &str, text: &str) -> Result<Vec<Recipe>, Diagnostic> {
    // Document types are refused: no entity is worth what can be done with one.
    let options = ParsingOptions { allow_dtd: false, nodes_limit: MOST_NODES, ..ParsingOptions::default() };
    let document = Document::parse_with_options(text, options).map_err(|error| {
        let at = match error {
            roxmltree::Error::DtdDetected => text.find("<!DOCTYPE").unwrap_or(0),
            _ => offset(text, error.pos().row, error.pos().col),
        };
        let remedy = "export the recipe again; a document type (<!DOCTYPE>) is not accepted";
        let problem =
            Problem::at(ProblemKind::NotXml, at..at + 1, format!("not well-formed XML: {error}"), "well-formed XML 1.0", remedy);
        Diagnostic::new(path, text, vec![problem])
    })?;
    let mut reader = Reader { problems: Problems::default() };
    let root = document.root_element();
    let found: Vec<Node<'_, '_>> = match root.tag_name().name() {
        "RECIPES" => children(root, "RECIPE").collect(),
        "RECIPE" => vec![root],
        other => {
            let message = format!("the root element is <{other}>");
            reader.fault(
                ProblemKind::UnknownFormat,
                root,
                &message,
                "<RECIPES> or <RECIPE>",
                "export recipes, not ingredients or styles",
            );
            Vec::new()
        }
    };
    if found.is_empty() && reader.problems.0.is_empty() {
        reader.fault(ProblemKind::MissingKey, root, "there is no recipe in it", "<RECIPE>", "export at least one recipe");
    }
    let recipes: Vec<Recipe> = found.into_iter().map(|node| reader.recipe(node)).collect();
    if reader.problems.0.is_empty() { Ok(recipes) } else { Err(Diagnostic::new(path, text, reader.problems.0)) }
}

/// Byte offset of a row and column, both from 1.
pub(super) fn offset(text: &str, row: u32, column: u32) -> usize {
    let start: usize = text.split_inclusive('\n').take(row.saturating_sub(1) as usize).map(str::len).sum();
    let line = text.get(start..).unwrap_or("");
    start + line.char_indices().nth(column.saturating_sub(1) as usize).map_or(line.len(), |(at, _)| at)
}

fn children<'a, 'd>(node: Node<'a, 'd>, name: &'static str) -> impl Iterator<Item = Node<'a, 'd>> {
    node.children().filter(move |child| child.has_tag_name(name))
}

fn child<'a, 'd>(node: Node<'a, 'd>, name: &'static str) -> Option<Node<'a, 'd>> {
    children(node, name).next()
}

fn text(node: Node<'_, '_>, name: &'static str) -> Option<String> {
    child(node, name).and_then(|child| child.text()).map(|text| text.trim().to_owned()).filter(|text| !text.is_empty())
}

/// Where to point for an element: all of one that is on a line, the start tag of a longer one.
fn shown(node: Node<'_, '_>) -> Range<usize> {
    let range = node.range();
    let text = node.document().input_text().get(range.clone()).unwrap_or("");
    let end = if text.contains('\n') { text.find('>').map_or(text.len(), |at| at + 1) } else { text.len() };
    range.start..range.start + end
}

struct Reader {
    problems: Problems,
}

impl Reader {
    fn fault(&mut self, kind: ProblemKind, node: Node<'_, '_>, message: &str, expected: &str, remedy: &str) {
        self.problems.add(kind, &Place::Bytes(shown(node)), message, expected, remedy);
    }

    /// A number in the format's own unit, if the element is there and not empty.
    fn number(&mut self, node: Node<'_, '_>, name: &'static str, range: (f64, f64), unit: &str) -> Option<f64> {
        let element = child(node, name)?;
        let written = element.text().map(str::trim).filter(|text| !text.is_empty())?;
        let plain = written.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'+' | b'e' | b'E'));
        match written.parse::<f64>() {
            Ok(value) if plain => self.problems.within(&Place::Bytes(element.range()), &format!("<{name}>"), value, range, unit),
            _ => {
                let message = format!("<{name}> is {written:?}, which is not a bare number");
                let expected = format!("a number in {unit}, without a unit, with a point");
                self.fault(
                    ProblemKind::WrongUnit,
                    element,
                    &message,
                    &expected,
                    "BeerXML has fixed units: convert, and leave the unit out",
                );
                None
            }
        }
    }

    fn needed(&mut self, node: Node<'_, '_>, name: &'static str, range: (f64, f64), unit: &str) -> Option<f64> {
        let given = text(node, name).is_some();
        if !given {
            let (message, expected) = (format!("<{}> has no <{name}>", node.tag_name().name()), format!("<{name}> in {unit}"));
            self.fault(
                ProblemKind::MissingKey,
                node,
                &message,
                &expected,
                "fill it in where the recipe was written, and export it again",
            );
        }
        self.number(node, name, range, unit)
    }

    fn name(&mut self, node: Node<'_, '_>) -> String {
        text(node, "NAME").unwrap_or_else(|| {
            let message = format!("<{}> has no <NAME>", node.tag_name().name());
            self.fault(ProblemKind::MissingKey, node, &message, "<NAME>", "give it a name where the recipe was written");
            String::new()
        })
    }

    fn recipe(&mut self, node: Node<'_, '_>) -> Recipe {
        let mut recipe = Recipe { name: self.name(node), ..Recipe::default() };
        let kind = text(node, "TYPE").unwrap_or_default();
        if !kind.eq_ignore_ascii_case("all grain") {
            let message = format!("a recipe of the type {kind:?}");
            self.fault(ProblemKind::UnknownWord, node, &message, "All Grain", "this controller mashes: give an all-grain recipe");
        }
        recipe.batch_l = self.needed(node, "BATCH_SIZE", LITRES, "L").unwrap_or_default();
        recipe.pre_boil_l = self.number(node, "BOIL_SIZE", (0.0, 1000.0), "L").filter(|litres| *litres > 0.0);
        recipe.boil_s = 60.0 * self.needed(node, "BOIL_TIME", (1.0, MINUTES.1), "min").unwrap_or_default();
        self.fermentables(node, &mut recipe);
        self.hops(node, &mut recipe);
        self.miscs(node, &mut recipe);
        self.mash(node, &mut recipe);
        for (list, one, what) in [("YEASTS", "YEAST", "yeast"), ("WATERS", "WATER", "water profile")] {
            for item in child(node, list).into_iter().flat_map(|list| children(list, one)) {
                recipe.left_out.push(format!("{what}: {}", text(item, "NAME").unwrap_or_default()));
            }
        }
        for (name, what) in [
            ("STYLE", "style"),
            ("EQUIPMENT", "equipment: the rig file has it"),
            ("EFFICIENCY", "efficiency: `copperhold plan --efficiency` takes it"),
            ("NOTES", "notes"),
            ("TASTE_NOTES", "taste notes"),
            ("CARBONATION", "carbonation"),
            ("PRIMARY_TEMP", "fermentation"),
        ] {
            if child(node, name).is_some() {
                recipe.left_out.push(what.to_owned());
            }
        }
        recipe
    }

    fn fermentables(&mut self, node: Node<'_, '_>, recipe: &mut Recipe) {
        for item in child(node, "FERMENTABLES").into_iter().flat_map(|list| children(list, "FERMENTABLE")) {
            let name = self.name(item);
            let Some(kg) = self.needed(item, "AMOUNT", KILOGRAMS, "kg") else { continue };
            let kind = text(item, "TYPE").unwrap_or_default();
            if kind.eq_ignore_ascii_case("grain") || kind.eq_ignore_ascii_case("adjunct") {
                recipe.grain_kg += kg;
                recipe.left_out.push(format!("that {} of the grain is {name}: a sheet knows the grain's mass only", mass_text(kg)));
            } else {
                recipe.left_out.push(format!("{} {name} ({kind}): add it by hand", mass_text(kg)));
            }
        }
    }

    fn hops(&mut self, node: Node<'_, '_>, recipe: &mut Recipe) {
        for item in child(node, "HOPS").into_iter().flat_map(|list| children(list, "HOP")) {
            let name = self.name(item);
            let amount = self.needed(item, "AMOUNT", KILOGRAMS, "kg").map(mass_text).unwrap_or_default();
            self.timed(item, recipe, name, amount);
        }
    }

    fn miscs(&mut self, node: Node<'_, '_>, recipe: &mut Recipe) {
        for item in child(node, "MISCS").into_iter().flat_map(|list| children(list, "MISC")) {
            let name = self.name(item);
            let weighed = text(item, "AMOUNT_IS_WEIGHT").is_some_and(|word| word.eq_ignore_ascii_case("true"));
            let unit = if weighed { "kg" } else { "L" };
            let amount = self.needed(item, "AMOUNT", KILOGRAMS, unit);
            let amount =
                amount.map(|value| if weighed { mass_text(value) } else { format!("{} mL", (value * 1e5).round() / 100.0) });
            self.timed(item, recipe, name, amount.unwrap_or_default());
        }
    }

    /// A hop or another ingredient, by its use.
    fn timed(&mut self, item: Node<'_, '_>, recipe: &mut Recipe, name: String, amount: String) {
        let mut usage = text(item, "USE").unwrap_or_default();
        usage.make_ascii_lowercase();
        match usage.as_str() {
            "boil" => {
                let Some(minutes) = self.needed(item, "TIME", MINUTES, "min") else { return };
                if minutes * 60.0 > recipe.boil_s && recipe.boil_s > 0.0 {
                    let message =
                        format!("{name:?} goes in {minutes} min before the end of a boil of {} min", recipe.boil_s / 60.0);
                    let expected = format!("at most {} min", recipe.boil_s / 60.0);
                    self.fault(ProblemKind::LateAddition, item, &message, &expected, "lower its <TIME>, or raise <BOIL_TIME>");
                    return;
                }
                recipe.additions.push(Addition { name, amount, left_s: minutes * 60.0 });
            }
            "first wort" => {
                recipe
                    .left_out
                    .push(format!("that {amount} {name} is for the first wort: the sheet has it at the start of the boil"));
                recipe.additions.push(Addition { name, amount, left_s: recipe.boil_s });
            }
            "aroma" => {
                recipe.left_out.push(format!("how long {amount} {name} steeps after the boil: the sheet has it at its end"));
                recipe.additions.push(Addition { name, amount, left_s: 0.0 });
            }
            "mash" | "dry hop" | "primary" | "secondary" | "bottling" => {
                recipe.left_out.push(format!("{amount} {name} ({usage}): add it by hand"));
            }
            other => {
                let message = format!("{name:?} has the use {other:?}");
                let expected = "Boil, First Wort, Aroma, Mash, Dry Hop, Primary, Secondary or Bottling";
                self.fault(ProblemKind::UnknownWord, item, &message, expected, "correct its <USE>");
            }
        }
    }

    fn mash(&mut self, node: Node<'_, '_>, recipe: &mut Recipe) {
        let Some(mash) = child(node, "MASH") else {
            self.fault(ProblemKind::MissingKey, node, "the recipe has no <MASH>", "<MASH>", "give it a mash where it was written");
            return;
        };
        recipe.grain_c = self.number(mash, "GRAIN_TEMP", (-20.0, 40.0), "C");
        recipe.sparge_c = self.number(mash, "SPARGE_TEMP", (0.0, 100.0), "C").filter(|c| *c > 0.0);
        let steps: Vec<Node<'_, '_>> = child(mash, "MASH_STEPS").into_iter().flat_map(|list| children(list, "MASH_STEP")).collect();
        if steps.is_empty() {
            self.fault(ProblemKind::MissingKey, mash, "the mash has no step", "<MASH_STEP>", "give the mash at least one step");
        }
        for (index, step) in steps.into_iter().enumerate() {
            let name = text(step, "NAME").unwrap_or_default();
            let at_c = self.needed(step, "STEP_TEMP", MASH_C, "C");
            let minutes = self.needed(step, "STEP_TIME", MINUTES, "min");
            let infused_l = self.number(step, "INFUSE_AMOUNT", (0.0, 1000.0), "L").filter(|litres| *litres > 0.0);
            let kind = text(step, "TYPE").unwrap_or_default();
            match (kind.to_ascii_lowercase().as_str(), index) {
                ("infusion", 0) => recipe.strike_l = infused_l,
                ("infusion", _) => {
                    if let Some(litres) = infused_l {
                        recipe.left_out.push(format!("the infusion of {litres} L at {name:?}: the coil does the step"));
                    }
                }
                ("temperature", _) => {}
                ("decoction", _) => recipe.left_out.push(format!("the decoction at {name:?}: the coil does the step")),
                _ => {
                    let message = format!("a mash step of the type {kind:?}");
                    self.fault(
                        ProblemKind::UnknownWord,
                        step,
                        &message,
                        "Infusion, Temperature or Decoction",
                        "correct its <TYPE>",
                    );
                }
            }
            if let (Some(at_c), Some(minutes)) = (at_c, minutes) {
                let rest = Rest { name, at_c, lasts_s: minutes * 60.0 };
                self.problems.rest(&mut recipe.rests, &Place::Bytes(shown(step)), &at_c.to_string(), rest);
            }
        }
    }
}
