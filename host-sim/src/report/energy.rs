//! Where the heat went, as a table with bars.

use std::fmt::Write;

use super::facts;
use super::measure::fixed;
use super::svg::At;
use crate::day::Day;

/// The section's table.
pub fn table(day: &Day) -> String {
    let account = &day.energy;
    let total = account.total_kwh();
    let inputs = [
        ("liquor_tank", "Into the liquor tank", account.element_kwh.liquor_tank),
        ("boil_kettle", "Into the boil kettle", account.element_kwh.boil_kettle),
    ];
    let uses = facts::energy_uses(account);
    let figures = inputs.iter().map(|input| input.2).chain(uses.iter().map(|used| used.1));
    let most = figures.filter(|kwh| kwh.is_finite()).map(f64::abs).fold(0.0, f64::max);
    let mut html = String::from(
        "<table class=\"energy\"><thead><tr><th scope=\"col\">Heat</th><th scope=\"col\">kWh</th><th scope=\"col\">Share</th>\
         <th scope=\"col\" class=\"bar\"><span class=\"unseen\">Bar</span></th></tr></thead><tbody>\n",
    );
    for (class, name, kwh) in inputs {
        row(&mut html, class, name, kwh, total, most);
    }
    for (index, (name, kwh)) in uses.into_iter().enumerate() {
        let class = if index == 0 { "used first" } else { "used" };
        row(&mut html, class, &capitalised(name), kwh, total, most);
    }
    html.push_str("</tbody></table>\n");
    html
}

fn row(html: &mut String, class: &str, name: &str, kwh: f64, total: f64, most: f64) {
    let length = if kwh > 0.0 && most > 0.0 { kwh / most * 100.0 } else { 0.0 };
    let _ = writeln!(
        html,
        "<tr class=\"{class}\"><th scope=\"row\">{name}</th><td>{}</td><td>{}</td><td class=\"bar\" aria-hidden=\"true\">\
         <span style=\"width:{}%\"></span></td></tr>",
        fixed(kwh, 2),
        facts::share_text(kwh, total),
        At(length)
    );
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
