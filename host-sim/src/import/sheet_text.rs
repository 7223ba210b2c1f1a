//! Writes a recipe as a sheet.

use super::Import;
use super::recipe::{Addition, Recipe, Rest};
use crate::brewing::mash::{Strike, WaterHeat};
use crate::brewing::volumes::{Process, TRUB_SHARE};
use crate::files::{Problem, ProblemKind, RigFile};
use crate::plant::vessel::STEEL_J_PER_KG_K;
use crate::plant::water;
use crate::report::measure::plain;
use copperhold_core::sheet::MAX_ADDITIONS;
use std::fmt::Write;

/// Strike water where the recipe says none, L/kg. Common practice, no source.
const THICKNESS_L_PER_KG: f64 = 3.0;
/// Boil-off where the recipe says no volume before the boil, share of the batch an hour. Common practice, no source.
const BOIL_OFF_SHARE: f64 = 0.12;
/// Share of the element for the boil. Common practice, no source.
const BOIL_DUTY: &str = "60 %";
/// Sparge water where the recipe says nothing, degrees Celsius. Common practice, no source.
const SPARGE_C: f64 = 77.0;
/// From here on a last rest is a mash out, degrees Celsius. Common practice, no source: 76 to 77.
const MASH_OUT_C: f64 = 74.0;
/// Pitching temperature, degrees Celsius, and how far above the tap a chiller gets.
const CHILL_C: f64 = 20.0;
const CHILL_OVER_TAP_K: f64 = 4.0;
/// Grain's temperature where the recipe says none, degrees Celsius.
const GRAIN_C: f64 = 20.0;
/// Shortest rest or boil of a sheet, s.
const SHORTEST_S: f64 = 60.0;

/// The sheet, or what stands against it.
pub fn write(recipe: &Recipe, rig: &RigFile) -> Result<Import, Vec<Problem>> {
    if recipe.grain_kg < 0.1 || recipe.rests.is_empty() {
        let what = if recipe.rests.is_empty() { "no rest" } else { "no grain to mash" };
        let remedy = "give an all-grain recipe with its mash";
        return Err(vec![Problem::whole(
            ProblemKind::MissingKey,
            format!("the recipe {:?} has {what}", plain(&recipe.name)),
            remedy,
        )]);
    }
    let mut page = Page { left_out: recipe.left_out.clone(), assumed: Vec::new(), body: String::new() };
    page.day(recipe, rig);
    let mut sheet =
        String::from("# Imported. Read it through before you brew: it was made from a recipe, which knows nothing of your rig.\n");
    for (title, list) in [("Not carried over:", &page.left_out), ("Assumed, because the recipe does not say:", &page.assumed)] {
        if !list.is_empty() {
            let _ = writeln!(sheet, "#\n# {title}");
        }
        for line in list {
            let _ = writeln!(sheet, "#   - {}", plain(line));
        }
    }
    let _ = write!(sheet, "\nname = {}\nunits = \"metric\"\n", quoted(&recipe.name));
    sheet.push_str(&page.body);
    Ok(Import { sheet, left_out: page.left_out, assumed: page.assumed })
}

struct Page {
    left_out: Vec<String>,
    assumed: Vec<String>,
    body: String,
}

impl Page {
    /// A figure of the recipe, or one that is assumed and told.
    fn or(&mut self, given: Option<f64>, assumed: f64, words: &str) -> f64 {
        given.unwrap_or_else(|| {
            self.assumed.push(words.to_owned());
            assumed
        })
    }

    fn step(&mut self, what: &str, lines: &[(&str, String)]) {
        let _ = write!(self.body, "\n[[step]]\ndo = \"{what}\"\n");
        for (key, value) in lines {
            let _ = writeln!(self.body, "{key} = {value}");
        }
    }

    fn day(&mut self, recipe: &Recipe, rig: &RigFile) {
        let grain_c = self.or(recipe.grain_c, GRAIN_C, &format!("the grain lies at {GRAIN_C} C"));
        let _ = write!(self.body, "grain = {}\ngrain_at = {}\n", kg(recipe.grain_kg), degrees(grain_c));
        let usual_l = THICKNESS_L_PER_KG * recipe.grain_kg;
        let strike_l = tenth(self.or(recipe.strike_l, usual_l, &format!("{THICKNESS_L_PER_KG} L of strike water per kg")));
        let sparge_l = self.sparge_l(recipe, rig, strike_l);
        let first_c = recipe.rests.first().map_or(66.0, |rest| rest.at_c);
        let tank = &rig.rig.liquor_tank;
        // The coil and the element stay covered, and a little more.
        let stays_l = tenth(1.3 * tank.element_top_l.max(tank.dead_space_l));
        let refill_l = tenth((sparge_l + tank.dead_space_l + 1.0 - stays_l).max(0.0));
        self.assumed.push(format!("water for the rig {:?}: {stays_l} L stay in the tank, {refill_l} L are refilled", rig.rig.name));
        self.assumed.push("strike temperature: by heat balance, for this rig's tun and the heat of slaking".to_owned());
        self.step(
            "heat strike",
            &[("fill", litres(strike_l + stays_l)), ("to", degrees(strike_c(recipe, rig, grain_c, strike_l, first_c)))],
        );
        self.step("dough in", &[("strike", litres(strike_l)), ("refill", litres(refill_l))]);
        self.rests(&recipe.rests);
        let sparge_c = self.or(recipe.sparge_c, SPARGE_C, &format!("sparge water at {SPARGE_C} C"));
        self.step("sparge", &[("water", litres(sparge_l)), ("at", degrees(sparge_c))]);
        self.step("bring to boil", &[]);
        self.boil(recipe);
        self.step("knock out", &[]);
        let chill_c = CHILL_C.max(rig.rig.site.tap_c + CHILL_OVER_TAP_K);
        self.assumed.push(format!("the wort is chilled to {chill_c} C"));
        self.step("chill", &[("to", degrees(chill_c))]);
    }

    fn sparge_l(&mut self, recipe: &Recipe, rig: &RigFile, strike_l: f64) -> f64 {
        let kettle_dead_l = rig.rig.boil_kettle.dead_space_l;
        let hours = recipe.boil_s / 3600.0;
        let usual = (recipe.batch_l + kettle_dead_l) * (1.0 + TRUB_SHARE) + BOIL_OFF_SHARE * recipe.batch_l * hours;
        let words = format!("{} % of the batch boils off in an hour", BOIL_OFF_SHARE * 100.0);
        let pre_boil_l = self.or(recipe.pre_boil_l, usual, &words);
        let process =
            Process { grain_kg: recipe.grain_kg, strike_l, tun_dead_l: rig.rig.mash_tun.dead_space_l, ..Process::empty() };
        tenth(process.sparge_for(pre_boil_l)).max(0.5)
    }

    fn rests(&mut self, rests: &[Rest]) {
        for (index, rest) in rests.iter().enumerate() {
            let last = index + 1 == rests.len() && index > 0;
            let what = if last && rest.at_c >= MASH_OUT_C { "mash out" } else { "rest" };
            let lasts_s = if rest.lasts_s < SHORTEST_S {
                self.assumed.push(format!("a minute for the rest at {} C, which has no length", rest.at_c));
                SHORTEST_S
            } else {
                rest.lasts_s
            };
            let mut lines = Vec::new();
            if !rest.name.is_empty() {
                lines.push(("name", quoted(&rest.name)));
            }
            lines.extend([("at", degrees(rest.at_c)), ("for", minutes(lasts_s))]);
            self.step(what, &lines);
        }
    }

    fn boil(&mut self, recipe: &Recipe) {
        self.assumed.push(format!("the boil at {BOIL_DUTY} of the kettle's element"));
        self.step("boil", &[("at", format!("\"{BOIL_DUTY}\"")), ("for", minutes(recipe.boil_s))]);
        let additions = self.joined(recipe);
        if additions.is_empty() {
            return;
        }
        self.body.push_str("additions = [\n");
        for addition in additions {
            let amount =
                if addition.amount.is_empty() { String::new() } else { format!(", amount = {}", quoted(&addition.amount)) };
            let _ = writeln!(self.body, "  {{ add = {}{amount}, left = {} }},", quoted(&addition.name), minutes(addition.left_s));
        }
        self.body.push_str("]\n");
    }

    /// The additions, longest time left first; those of one time together if there are too many for the controller.
    fn joined(&mut self, recipe: &Recipe) -> Vec<Addition> {
        let mut additions = recipe.additions.clone();
        additions.sort_by(|a, b| b.left_s.total_cmp(&a.left_s));
        if additions.len() <= MAX_ADDITIONS {
            return additions;
        }
        let mut list: Vec<Addition> = Vec::new();
        for addition in additions {
            let words = format!("{} {}", addition.amount, addition.name).trim().to_owned();
            match list.last_mut().filter(|before| before.left_s == addition.left_s) {
                Some(before) => before.name = format!("{}, {words}", before.name),
                None => list.push(Addition { name: words, amount: String::new(), left_s: addition.left_s }),
            }
        }
        for extra in list.drain(MAX_ADDITIONS.min(list.len())..) {
            let left = extra.left_s / 60.0;
            self.left_out.push(format!("{} with {left} min left: the controller holds {MAX_ADDITIONS} additions", extra.name));
        }
        list
    }
}

fn strike_c(recipe: &Recipe, rig: &RigFile, grain_c: f64, strike_l: f64, first_c: f64) -> f64 {
    let tun = &rig.rig.mash_tun;
    let balance = Strike {
        grain_kg: recipe.grain_kg,
        grain_c,
        water_kg: strike_l * water::density(20.0) / 1000.0,
        tun_j_per_k: tun.wall_kg * STEEL_J_PER_KG_K,
        tun_c: rig.rig.site.air_c,
        ..Strike::real()
    };
    balance.water_c(first_c, WaterHeat::Iapws)
}

fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

fn litres(value: f64) -> String {
    format!("\"{} L\"", tenth(value))
}

fn degrees(value: f64) -> String {
    format!("\"{} C\"", tenth(value))
}

fn kg(value: f64) -> String {
    format!("\"{} kg\"", (value * 1000.0).round() / 1000.0)
}

fn minutes(seconds: f64) -> String {
    format!("\"{} min\"", (seconds / 6.0).round() / 10.0)
}

/// A TOML basic string (TOML 1.0, "String").
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for letter in plain(text).chars() {
        match letter {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            letter => out.push(letter),
        }
    }
    out.push('"');
    out
}
