//! The day as one page that needs nothing else: no network, no fonts, no other files. It is well-formed XML too.

use std::fmt::Write;

use copperhold_core::vessel::{Element, Vessel};

use super::facts::{self, Tone};
use super::frame::Size;
use super::measure::{Measure, NONE, duration, fixed};
use super::svg::escape;
use super::{chart, cursor, energy, palette, strip, tables};
use crate::day::Day;

pub(crate) const STYLE: &str = include_str!("style.css");
pub(crate) const CAUTIONS: &str = include_str!("cautions.html");

/// The page. The same day gives the same bytes.
pub fn page(day: &Day) -> String {
    let mut html = head(&day.sheet, "script-src 'unsafe-inline'", "");
    html.push_str(&answer(day));
    html.push_str("<main>\n");
    html.push_str(&charts(day));
    section(&mut html, "steps-title", "Steps", &steps(day));
    html.push_str("<div class=\"pair\">\n");
    section(&mut html, "energy-title", "Where the heat went", &energy::table(day));
    section(&mut html, "volumes-title", "Volumes", &tables::volumes(day));
    html.push_str("</div>\n");
    section(&mut html, "waits-title", "Waits for you", &tables::waits(day));
    html.push_str("</main>\n");
    html.push_str(CAUTIONS);
    let _ = write!(
        html,
        "<script type=\"application/json\" id=\"figures\">{}</script>\n<script>\n{}</script>\n</body>\n</html>\n",
        cursor::figures(day),
        cursor::SCRIPT
    );
    html
}

/// Text made safe for a page.
pub fn escaped(text: &str) -> String {
    escape(text)
}

/// A page of another kind in the same dress: `title`, rules on top of the common style, and what goes between the header and the cautions.
pub fn dressed(title: &str, style: &str, body: &str) -> String {
    let mut html = head(title, "", style);
    html.push_str(body);
    html.push_str(CAUTIONS);
    html.push_str("</body>\n</html>\n");
    html
}

fn head(title: &str, scripts: &str, style: &str) -> String {
    // The policy keeps the page from fetching anything, whatever a sheet's name may hold.
    format!(
        "<!DOCTYPE html>\n<html xmlns=\"http://www.w3.org/1999/xhtml\" lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; {scripts}\"/>\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n<meta name=\"color-scheme\" content=\"light dark\"/>\n\
         <title>{} – Copperhold</title>\n<style>\n:root{{{}}}\n@media screen and (prefers-color-scheme:dark){{:root{{{}}}}}\n{STYLE}{style}\
         </style>\n</head>\n<body>\n",
        escape(title),
        palette::LIGHT.properties(),
        palette::DARK.properties()
    )
}

pub(crate) fn section(html: &mut String, id: &str, title: &str, content: &str) {
    let _ = write!(html, "<section aria-labelledby=\"{id}\">\n<h2 id=\"{id}\">{title}</h2>\n{content}</section>\n");
}

fn answer(day: &Day) -> String {
    let verdict = facts::verdict(day);
    let tone = match verdict.tone {
        Tone::Well => "well",
        Tone::Look => "look",
        Tone::Tripped => "tripped",
    };
    let mut html = format!(
        "<header>\n<h1>{}</h1>\n<p class=\"quiet\">Rehearsed on {}, seed {}.</p>\n<div class=\"answer {tone}\">\n<p class=\"verdict\">{}</p>\n",
        escape(&day.sheet),
        escape(&day.rig),
        day.seed,
        escape(&verdict.headline)
    );
    let _ = writeln!(html, "<p>{}</p>", escape(&verdict.reasons.join(" ")));
    html.push_str(&tables::troubles(day));
    html.push_str("</div>\n<dl class=\"tiles\">\n");
    for (name, figure) in tiles(day) {
        let _ = writeln!(html, "<div><dt>{name}</dt><dd>{figure}</dd></div>");
    }
    html.push_str("</dl>\n</header>\n");
    html
}

fn tiles(day: &Day) -> [(&'static str, String); 6] {
    let units = Measure(day.units);
    let difference = |kelvin: Option<f64>| kelvin.map_or_else(|| NONE.to_owned(), |kelvin| units.difference_text(kelvin));
    [
        ("Length", duration(facts::length_s(day))),
        ("Energy", format!("{} kWh", fixed(day.energy.total_kwh(), 1))),
        ("Boil-off", facts::boil_off_text(day)),
        ("Worst overshoot", difference(facts::worst_overshoot_k(day))),
        ("Mash held within", difference(facts::worst_hold_k(day, Some(Vessel::MashTun)))),
        ("Trips", day.trips.len().to_string()),
    ]
}

fn charts(day: &Day) -> String {
    let mut html = String::from(
        "<section aria-labelledby=\"curves-title\">\n<h2 id=\"curves-title\">Temperatures and elements</h2>\n\
         <p class=\"quiet\">Time runs in h:mm from the start. Numbers above the curves are the steps, listed below. Solid: what the \
         thermometer read; no line while the vessel is empty or the probe has a fault. Dashed: the setpoint.</p>\n",
    );
    html.push_str(READOUT);
    for vessel in Vessel::ALL {
        let mut caption: Vec<String> = vessel.element().map_or_else(Vec::new, |element| facts::heat_up_texts(day, element));
        if let Some(hold) = facts::worst_hold_k(day, Some(vessel)) {
            caption.push(format!("Worst hold: {} from the target (RMS)", Measure(day.units).difference_text(hold)));
        }
        let caption = caption.iter().map(|text| format!("{text}. ")).collect::<String>();
        let key = if vessel == Vessel::BoilKettle { tables::additions(day) } else { String::new() };
        let mut drawn = Size::ALL.map(|size| chart::temperature(day, vessel, size)).concat();
        if vessel == Vessel::MashTun {
            drawn.push_str("<h4>Distance from the setpoint</h4>\n");
            drawn.push_str(&Size::ALL.map(|size| chart::distance(day, vessel, size)).concat());
        }
        figure(
            &mut html,
            vessel.key(),
            vessel.label(),
            &drawn,
            &format!("{key}<p class=\"quiet\">{}</p>\n", escape(caption.trim_end())),
        );
    }
    let drawn = Size::ALL.map(|size| strip::elements(day, size)).concat();
    let held = Element::ALL.map(|element| format!("{} {}", element.vessel().label(), duration(strip::granted_s(day, element))));
    let yielded = facts::yielded_texts(day).iter().map(|text| format!(" {text}.")).collect::<String>();
    let caption = format!("Time with the grant: {}. {}{yielded}", held.join(", "), facts::interlock_text(day));
    let caption = format!("<p class=\"quiet\">Bar: duty. Line under it: this element held the grant. {}</p>\n", escape(&caption));
    figure(&mut html, "", "elements", &drawn, &caption);
    html.push_str("</section>\n");
    html
}

fn figure(html: &mut String, class: &str, title: &str, drawn: &str, caption: &str) {
    let _ = write!(html, "<figure class=\"{class}\">\n<h3>{title}</h3>\n{drawn}<figcaption>\n{caption}</figcaption>\n</figure>\n");
}

/// Hidden until the script is there to fill it.
const READOUT: &str = "<div id=\"cursor\" hidden=\"hidden\">\n<label for=\"moment\">Look at a moment</label>\n\
    <input id=\"moment\" type=\"range\" min=\"0\" step=\"30\" value=\"0\"/>\n\
    <div class=\"readout\"><span class=\"when\"><b id=\"at-time\"></b> <span id=\"at-step\"></span></span>\n\
    <span class=\"liquor_tank\">tank <b id=\"at-liquor_tank\"></b></span>\n\
    <span class=\"mash_tun\">tun <b id=\"at-mash_tun\"></b></span>\n\
    <span class=\"boil_kettle\">kettle <b id=\"at-boil_kettle\"></b></span></div>\n</div>\n";

fn steps(day: &Day) -> String {
    format!(
        "{}<p class=\"quiet\">Temperatures in {}. Over: furthest past the target. Hold: root mean square of the distance from the target while it was held. \
         {NONE}: does not apply.</p>\n",
        tables::steps(day),
        Measure(day.units).degrees()
    )
}
