//! The page's tables and lists.

use std::fmt::Write;

use super::chart::letter;
use super::facts::{self, StepLine};
use super::measure::{Measure, NONE, clock, duration};
use super::svg::escape;
use crate::day::Day;

/// The table of steps.
pub fn steps(day: &Day) -> String {
    let mut html = String::from(
        "<table id=\"steps\" role=\"table\"><thead role=\"rowgroup\"><tr role=\"row\"><th scope=\"col\" role=\"columnheader\">No.</th>\
         <th scope=\"col\" role=\"columnheader\" class=\"name\">Step</th>",
    );
    for head in COLUMNS {
        let _ = write!(html, "<th scope=\"col\" role=\"columnheader\">{head}</th>");
    }
    html.push_str("</tr></thead><tbody role=\"rowgroup\">\n");
    for line in facts::step_lines(day) {
        step(&mut html, &line);
    }
    html.push_str("</tbody></table>\n");
    html
}

const COLUMNS: [&str; 9] = ["Start", "Planned", "Took", "From", "To", "Target", "Over", "Hold", "kWh"];

fn step(html: &mut String, line: &StepLine) {
    let _ = write!(
        html,
        "<tr role=\"row\"><td role=\"cell\" class=\"number\">{}</td><th scope=\"row\" role=\"rowheader\" class=\"name\">{}</th>",
        line.number,
        escape(&line.name)
    );
    let figures =
        [&line.start, &line.planned, &line.took, &line.from, &line.to, &line.target, &line.over, &line.hold, &line.energy];
    for (figure, head) in figures.into_iter().zip(COLUMNS) {
        let class = if figure == NONE { " class=\"none\"" } else { "" };
        let _ = write!(html, "<td role=\"cell\"{class} data-head=\"{head}\">{figure}</td>");
    }
    html.push_str("</tr>\n");
}

/// The volumes of the day.
pub fn volumes(day: &Day) -> String {
    let units = Measure(day.units);
    let volumes = &day.volumes;
    let rows = [
        ("Strike water", facts::volume_text(units, volumes.strike_l)),
        ("Sparge water", facts::volume_text(units, volumes.sparge_l)),
        ("In the kettle when the boil began", facts::volume_text(units, volumes.pre_boil_l)),
        ("In the kettle when the boil ended", facts::volume_text(units, volumes.post_boil_l)),
        ("Boil-off", facts::boil_off_text(day)),
    ];
    let mut html = String::from("<table><thead><tr><th scope=\"col\">Volume</th><th scope=\"col\">Cold</th></tr></thead><tbody>\n");
    for (name, volume) in rows {
        let _ = writeln!(html, "<tr><th scope=\"row\">{name}</th><td>{volume}</td></tr>");
    }
    html.push_str("</tbody></table>\n");
    html
}

/// The waits for the person.
pub fn waits(day: &Day) -> String {
    let mut html = format!("<p>{}</p>\n", facts::waits_text(day));
    if day.prompts.is_empty() {
        return html;
    }
    html.push_str(
        "<table class=\"waits\"><thead><tr><th scope=\"col\" class=\"name\">Asked</th><th scope=\"col\">At</th><th scope=\"col\">Waited</th></tr></thead>\
         <tbody>\n",
    );
    for prompt in &day.prompts {
        let _ = writeln!(
            html,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td></tr>",
            escape(&prompt.text),
            clock(prompt.asked_s),
            duration(prompt.answered_s - prompt.asked_s)
        );
    }
    html.push_str("</tbody></table>\n");
    html
}

/// The key to the letters under the kettle's curve.
pub fn additions(day: &Day) -> String {
    if day.additions.is_empty() {
        return String::new();
    }
    let mut html = String::from("<ul class=\"key\" aria-label=\"Timed additions\">\n");
    for (index, addition) in day.additions.iter().enumerate() {
        let _ = writeln!(
            html,
            "<li><b>{}</b> <span class=\"time\">{}</span> {}</li>",
            letter(index),
            clock(addition.t_s),
            escape(&facts::addition_text(addition))
        );
    }
    html.push_str("</ul>\n");
    html
}

/// Trips with cause and remedy, then advice.
pub fn troubles(day: &Day) -> String {
    let mut html = String::new();
    for (index, trip) in day.trips.iter().enumerate() {
        let _ = writeln!(
            html,
            "<li class=\"trip\"><b>Trip {} at {}.</b> {}<br/><b>What to do:</b> {}</li>",
            index + 1,
            clock(trip.t_s),
            escape(&trip.cause),
            escape(&trip.remedy)
        );
    }
    for advice in &day.advice {
        let _ = writeln!(html, "<li><b>Advice at {}.</b> {}</li>", clock(advice.t_s), escape(&advice.text));
    }
    if html.is_empty() { html } else { format!("<ul class=\"troubles\">\n{html}</ul>\n") }
}
