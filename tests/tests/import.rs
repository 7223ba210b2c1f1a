//! Import of BeerXML 1.0 and BeerJSON 1.0. The documents are of our own invention and follow the published schemas as remembered; the schemas
//! themselves were not opened.

use copperhold::files::{self, Diagnostic, ProblemKind};
use copperhold::import::recipe::Recipe;
use copperhold::import::{self, Import};
use copperhold::rehearse::Rehearsal;
use copperhold_core::sheet::Step;
use proptest::prelude::*;
use std::path::Path;

fn document(name: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("recipes").join(name)).unwrap()
}

fn only(name: &str, text: &str) -> Recipe {
    let mut recipes = import::recipes(name, text).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(recipes.len(), 1);
    recipes.remove(0)
}

fn imported(name: &str) -> Import {
    import::sheet(name, &only(name, &document(name)), &files::demo_rig().unwrap()).unwrap_or_else(|error| panic!("{error}"))
}

/// What is wrong with a document after a change; the change must be one.
fn problems(name: &str, from: &str, to: &str) -> Diagnostic {
    let text = document(name);
    assert!(text.contains(from), "no {from:?} in {name}");
    match import::recipes(name, &text.replacen(from, to, 1)) {
        Ok(_) => panic!("{name} was read with {to:?} in place of {from:?}"),
        Err(diagnostic) => diagnostic,
    }
}

#[test]
fn both_formats_give_the_same_recipe() {
    let (xml, json) =
        (only("harbour-lane.xml", &document("harbour-lane.xml")), only("harbour-lane.json", &document("harbour-lane.json")));
    assert_eq!(xml.name, "Harbour Lane & Sons \"mild\"");
    assert_eq!((xml.batch_l, xml.pre_boil_l, xml.boil_s), (23.0, Some(28.5), 3600.0));
    assert_eq!((xml.strike_l, xml.sparge_c), (Some(13.5), Some(76.0)));
    assert_eq!(xml.rests.iter().map(|r| (r.at_c, r.lasts_s)).collect::<Vec<_>>(), [(67.0, 3600.0), (76.0, 600.0)]);
    let left: Vec<(&str, &str, f64)> = xml.additions.iter().map(|a| (a.name.as_str(), a.amount.as_str(), a.left_s)).collect();
    assert_eq!(left, [("Quayside", "24 g", 3600.0), ("Quayside", "12 g", 600.0), ("Kettle finings", "5 g", 900.0)]);
    assert!((xml.grain_kg - 4.5).abs() < 1e-9 && (json.grain_kg - 4.5).abs() < 1e-9);
    assert!((json.grain_c.unwrap() - 18.0).abs() < 1e-9 && xml.grain_c == Some(18.0));
    let same = Recipe { grain_kg: xml.grain_kg, grain_c: xml.grain_c, left_out: xml.left_out.clone(), ..json };
    assert_eq!(same, xml);
}

#[test]
fn the_sheet_can_be_brewed_and_says_what_it_is_not() {
    for name in ["harbour-lane.xml", "harbour-lane.json"] {
        let import = imported(name);
        let (rig, sheet) = (files::demo_rig().unwrap(), files::parse_sheet(name, &import.sheet).unwrap_or_else(|e| panic!("{e}")));
        assert_eq!((sheet.name.as_str(), sheet.grain_kg, sheet.grain_c), ("Harbour Lane & Sons \"mild\"", 4.5, 18.0));
        let compiled = sheet.compile(&rig).unwrap_or_else(|error| panic!("{error}"));
        assert!(matches!(compiled.steps[2], Step::Rest { .. }) && matches!(compiled.steps[3], Step::MashOut { .. }));
        let left = import.left_out.join("\n");
        for told in [
            "20 g Ropewalk",
            "250 g Brown sugar",
            "yeast: House ale",
            "4.2 kg of the grain is Pale malt",
            "style",
            "notes",
            "efficiency",
        ] {
            assert!(left.contains(told), "{name}: no {told:?} in\n{left}");
            assert!(import.sheet.contains(told), "{name}: no {told:?} in the sheet's head");
        }
        assert!(import.assumed.iter().any(|line| line.contains("60 % of the kettle's element")), "{:?}", import.assumed);
        assert!(import.sheet.contains("Read it through before you brew"));
    }
}

/// The volumes and the strike temperature are reckoned for the rig: the rehearsed day must give them back.
#[test]
fn the_rehearsed_import_comes_to_its_rest_and_its_volume() {
    let import = imported("harbour-lane.xml");
    let (rig, sheet) = (files::demo_rig().unwrap(), files::parse_sheet("import", &import.sheet).unwrap());
    let day = Rehearsal::new(&rig, &sheet, 1).unwrap().run(|_| {}).unwrap();
    assert!(day.trips.is_empty(), "{:?}", day.trips);
    let dough_in_c = day.steps[1].to_c.unwrap();
    // A little below: the balance knows no losses.
    assert!((65.0..=67.5).contains(&dough_in_c), "{dough_in_c}");
    // The recipe asks for 28.5 L before the boil; up to a litre leaves as vapour on the way there.
    assert!((27.0..=28.6).contains(&day.volumes.pre_boil_l), "{}", day.volumes.pre_boil_l);
}

#[test]
fn wrong_units_values_and_words_are_told_with_their_place() {
    use ProblemKind as K;
    let xml = [
        (K::WrongUnit, "<BATCH_SIZE>23.0<", "<BATCH_SIZE>23.0 L<", 9),
        (K::WrongUnit, "<BATCH_SIZE>23.0<", "<BATCH_SIZE>23,0<", 9),
        (K::WrongUnit, "<STEP_TEMP>67.0<", "<STEP_TEMP>NaN<", 35),
        (K::OutOfRange, "<STEP_TEMP>67.0<", "<STEP_TEMP>152<", 35),
        (K::OutOfRange, "<AMOUNT>0.024<", "<AMOUNT>-0.024<", 15),
        (K::MissingKey, "<BOIL_TIME>60.0</BOIL_TIME>", "", 4),
        (K::MissingKey, "<NAME>Pale malt</NAME>", "", 20),
        (K::UnknownWord, "<TYPE>All Grain<", "<TYPE>Extract<", 4),
        (K::UnknownWord, "<USE>Dry Hop<", "<USE>Sprinkle<", 17),
        (K::UnknownWord, "<TYPE>Temperature<", "<TYPE>Magic<", 36),
        (K::LateAddition, "<TIME>60<", "<TIME>90<", 15),
        (K::StepOrder, "<STEP_TEMP>76.0<", "<STEP_TEMP>60.0<", 36),
        (K::UnknownFormat, "<RECIPES>", "<HOPS>", 3),
        (K::NotXml, "</MASH_STEPS>", "</MASH>", 37),
        (K::NotXml, "<RECIPES>", "<!DOCTYPE RECIPES [<!ENTITY a \"b\">]><RECIPES>", 3),
    ];
    for (kind, from, to, line) in xml {
        // The end tag goes with the start tag where the root is renamed.
        let diagnostic = if to == "<HOPS>" {
            let text = document("harbour-lane.xml").replace("RECIPES>", "HOPS>");
            import::recipes("harbour-lane.xml", &text).unwrap_err()
        } else {
            problems("harbour-lane.xml", from, to)
        };
        let problem = &diagnostic.problems()[0];
        assert_eq!((problem.kind, problem.line), (kind, line), "{to}: {diagnostic}");
        assert!(!problem.remedy.is_empty() && !problem.message.is_empty());
    }
    let json = [
        (K::WrongUnit, "\"value\": 23.0, \"unit\": \"l\"", "\"value\": 23.0, \"unit\": \"L\"", "recipes[0].batch_size"),
        (K::WrongUnit, "\"value\": 67, \"unit\": \"C\"", "\"value\": 67, \"unit\": \"K\"", "mash_steps[0].step_temperature"),
        (K::WrongType, "\"value\": 67, \"unit\": \"C\"", "\"value\": \"67\", \"unit\": \"C\"", "mash_steps[0].step_temperature"),
        (K::WrongType, "{ \"value\": 67, \"unit\": \"C\" }", "67", "mash_steps[0].step_temperature"),
        (K::OutOfRange, "\"value\": 67, \"unit\": \"C\"", "\"value\": 670, \"unit\": \"C\"", "mash_steps[0].step_temperature"),
        (K::MissingKey, "\"boil_time\"", "\"boil_tim\"", "recipes[0].boil"),
        (K::UnknownWord, "\"all grain\"", "\"cider\"", "recipes[0]"),
        (K::UnknownWord, "add_to_fermentation", "add_to_shelf", "hop_additions[2].timing"),
        (K::UnknownWord, "\"type\": \"temperature\"", "\"type\": \"magic\"", "mash_steps[1]"),
        (K::LateAddition, "\"value\": 50, \"unit\": \"min\"", "\"value\": 70, \"unit\": \"min\"", "hop_additions[1].timing"),
        (K::StepOrder, "\"value\": 76, \"unit\": \"C\"", "\"value\": 60, \"unit\": \"C\"", "mash_steps[1]"),
        (K::UnknownFormat, "\"version\": 1.0", "\"version\": 2.06", "beerjson"),
        (K::UnknownFormat, "\"beerjson\"", "\"wine\"", "the top"),
        (K::NotJson, "\"recipes\": [", "\"recipes\": [,", "not JSON"),
    ];
    for (kind, from, to, place) in json {
        let diagnostic = problems("harbour-lane.json", from, to);
        let problem = &diagnostic.problems()[0];
        assert_eq!(problem.kind, kind, "{to}: {diagnostic}");
        assert!(problem.message.contains(place), "{to}: no {place:?} in {:?}", problem.message);
        assert!(!problem.remedy.is_empty());
    }
    assert_eq!(problems("harbour-lane.json", "\"recipes\": [", "\"recipes\": [,").problems()[0].line, 4);
    let neither = import::recipes("notes.txt", "a shopping list").unwrap_err();
    assert_eq!(neither.problems()[0].kind, K::UnknownFormat);
}

#[test]
fn units_of_beerjson_are_converted_exactly() {
    let swap = |to: &str| only("x", &document("harbour-lane.json").replacen("\"value\": 23.0, \"unit\": \"l\"", to, 1)).batch_l;
    // NIST SP 811: the US gallon is 3.785411784 L; the imperial one 4.54609 L.
    assert!((swap("\"value\": 6, \"unit\": \"gal\"") - 22.712_470_704).abs() < 1e-9);
    assert!((swap("\"value\": 5, \"unit\": \"igal\"") - 22.730_45).abs() < 1e-9);
    assert!((swap("\"value\": 24, \"unit\": \"qt\"") - 22.712_470_704).abs() < 1e-9);
    assert!((swap("\"value\": 0.2, \"unit\": \"bbl\"") - 23.469_553_060_8).abs() < 1e-9);
}

#[test]
fn a_recipe_without_mash_or_grain_is_refused() {
    let rig = files::demo_rig().unwrap();
    for (recipe, words) in [
        (Recipe { rests: Vec::new(), ..only("x", &document("harbour-lane.xml")) }, "no rest"),
        (Recipe { grain_kg: 0.0, ..only("x", &document("harbour-lane.xml")) }, "no grain"),
    ] {
        let error = import::sheet("x", &recipe, &rig).unwrap_err().to_string();
        assert!(error.contains(words), "{error}");
    }
}

#[test]
fn more_additions_than_the_controller_holds_are_joined_by_time() {
    let mut recipe = only("x", &document("harbour-lane.xml"));
    let one = recipe.additions[0].clone();
    recipe.additions.extend((0..20).map(|n| copperhold::import::recipe::Addition {
        name: format!("Hop {n}"),
        left_s: 600.0,
        ..one.clone()
    }));
    let import = import::sheet("x", &recipe, &files::demo_rig().unwrap()).unwrap();
    let sheet = files::parse_sheet("x", &import.sheet).unwrap_or_else(|error| panic!("{error}"));
    let boil = sheet.steps.iter().find(|step| matches!(step.step, Step::Boil { .. })).unwrap();
    assert_eq!(boil.additions.len(), 3);
    assert!(boil.additions.iter().any(|a| a.name.contains("Hop 0") && a.name.contains("Hop 19")));
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(300) })]

    /// Whatever the document, reading it never panics, and what it gives is a sheet that reads as one.
    #[test]
    fn broken_documents_never_panic(cut in 0_usize..4000, insert in ".{0,6}", json in any::<bool>()) {
        let name = if json { "harbour-lane.json" } else { "harbour-lane.xml" };
        let mut text = document(name);
        let at = (0..=cut.min(text.len())).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0);
        text.insert_str(at, &insert);
        if let Ok(recipes) = import::recipes(name, &text) {
            for recipe in recipes {
                if let Ok(import) = import::sheet(name, &recipe, &files::demo_rig().unwrap()) {
                    prop_assert!(files::parse_sheet(name, &import.sheet).is_ok(), "{}", import.sheet);
                }
            }
        }
    }
}
