//! The campaign as a page: a matrix that is read at a glance.

use super::figures::{Quiet, figures};
use super::kind::{ELSEWHERE, Kind};
use super::scene::Phase;
use super::table::{Cell, cell, unseen};
use super::{Outcome, SHEATH_LIMIT_C};
use crate::report::html::{dressed, escaped};
use std::fmt::Write;

const STYLE: &str = "
.matrix{border-collapse:separate;border-spacing:3px;width:100%;font-size:.8125rem}
.matrix th{font-weight:600;text-align:left;padding:4px 6px;vertical-align:bottom;border:0}
.matrix th.row{font-weight:400;vertical-align:top}.matrix th.row b{font-weight:600}
.matrix td{position:relative;padding:5px 6px 8px;border:1px solid var(--rule);min-width:5.8em;vertical-align:top;text-align:left;line-height:1.3}
.matrix td.good{background:var(--band)}
.matrix td.bad{border:2px solid var(--trip);color:var(--trip);font-weight:600}
.matrix td.blind{border-style:dashed;color:var(--quiet)}
.matrix td.none{border:0}
.matrix small{display:block;color:var(--quiet);font-weight:400}
.matrix i{position:absolute;left:0;bottom:0;height:3px;background:var(--quiet)}
.matrix td.bad i{background:var(--trip)}
.facts{display:grid;grid-template-columns:minmax(12rem,auto) 1fr;gap:6px 24px;margin:0}
.facts dt{color:var(--quiet)}.facts dd{margin:0}.facts dt::first-letter{text-transform:uppercase}
@media (max-width:60rem){
.matrix,.matrix tbody,.matrix tr,.matrix th.row,.matrix td{display:block}
.matrix thead{display:none}
.matrix tr{display:grid;grid-template-columns:repeat(auto-fill,minmax(6.2rem,1fr));gap:3px;margin:0 0 16px}
.matrix th.row{grid-column:1/-1;padding:4px 0}.matrix th.row small{display:inline;margin-left:.5em}
.matrix td{min-width:0}.matrix td.none{display:none}
.matrix td::before{content:attr(data-phase);display:block;color:var(--quiet);font-weight:400;font-size:.75rem}
.facts{grid-template-columns:1fr;gap:0}.facts dd{margin:0 0 10px}
}
";

/// The page.
pub fn page(outcomes: &[Outcome], quiet: &Quiet) -> String {
    let failed = outcomes.iter().filter(|o| !o.passed).count();
    let well = failed == 0 && quiet.false_trips() == 0;
    let headline = if well { "Every fault got the answer it should." } else { "Some faults did not get the answer they should." };
    let mut body = format!(
        "<header>\n<h1>Drills</h1>\n<p class=\"quiet\">Faults injected on purpose, in simulation, against the real controller.</p>\n\
         <div class=\"answer {}\">\n<p class=\"verdict\">{headline}</p>\n<p>{} drills, {failed} not as expected. {} whole days and {} random \
         rigs without a fault, {} false trips.</p>\n</div>\n</header>\n<main>\n",
        if well { "well" } else { "tripped" },
        outcomes.len(),
        quiet.days,
        quiet.rigs,
        quiet.false_trips(),
    );
    let facts = figures(outcomes, quiet)
        .iter()
        .fold(String::new(), |facts, (name, figure)| facts + &format!("<dt>{name}</dt><dd>{}</dd>\n", escaped(figure)));
    section(&mut body, "figures", "What it showed", &format!("<dl class=\"facts\">\n{facts}</dl>\n"));
    section(
        &mut body,
        "matrix",
        "Fault by fault, phase by phase",
        &format!(
            "<p class=\"quiet\">Each cell: the slowest answer of all its drills, and the hottest water. The bar is the greatest share of its \
             time limit that an answer took; limits follow from the rig. Dashed: software cannot see it there, or not in time; the reasons are \
             below. Empty: the fault has no meaning there.</p>\n{}",
            matrix(outcomes)
        ),
    );
    let list = |items: &[(&str, &str)]| {
        let items = items
            .iter()
            .fold(String::new(), |html, (name, why)| html + &format!("<li><b>{}</b>: {}</li>\n", escaped(name), escaped(why)));
        format!("<ul>\n{items}</ul>\n")
    };
    let blind = format!("<p>For these, hardware or a person must act.</p>\n{}", list(&unseen(outcomes)));
    section(&mut body, "unseen", "What software cannot see", &blind);
    section(&mut body, "elsewhere", "Rows of the hazard table that no drill here can show", &list(&ELSEWHERE));
    body.push_str("</main>\n");
    dressed("Drills", STYLE, &body)
}

fn section(body: &mut String, id: &str, title: &str, content: &str) {
    let _ = write!(body, "<section aria-labelledby=\"{id}\">\n<h2 id=\"{id}\">{title}</h2>\n{content}</section>\n");
}

fn matrix(outcomes: &[Outcome]) -> String {
    let mut html = String::from("<table class=\"matrix\">\n<thead><tr><th scope=\"col\">fault</th>");
    for phase in Phase::ALL {
        let _ = write!(html, "<th scope=\"col\">{}</th>", phase.name());
    }
    html.push_str("</tr></thead>\n<tbody>\n");
    for kind in Kind::ALL.into_iter().chain([Kind::None]) {
        let (row, name) = kind.name();
        let row = if row == "-" { "" } else { row };
        let _ = write!(html, "<tr><th scope=\"row\" class=\"row\"><b>{name}</b> <small>{row}</small></th>");
        for phase in Phase::ALL {
            match cell(outcomes, kind, phase) {
                Some(cell) => html.push_str(&show(&cell, phase)),
                None => html.push_str("<td class=\"none\"></td>"),
            }
        }
        html.push_str("</tr>\n");
    }
    html.push_str("</tbody>\n</table>\n");
    html
}

fn seconds(s: f64) -> String {
    match s {
        s if s < 10.0 => format!("{s:.1} s"),
        s if s < 600.0 => format!("{s:.0} s"),
        s if s < 7_200.0 => format!("{:.0} min", s / 60.0),
        s => format!("{:.1} h", s / 3_600.0),
    }
}

fn show(cell: &Cell, phase: Phase) -> String {
    let class = if cell.passed < cell.run {
        "bad"
    } else if cell.unseen.is_some() {
        "blind"
    } else {
        "good"
    };
    let slowest = seconds(cell.slowest_s);
    let glows = cell.sheath_c >= SHEATH_LIMIT_C;
    let main = match (class, cell.tripped) {
        ("bad", _) => format!("{} of {} wrong", cell.run - cell.passed, cell.run),
        ("blind", 0) => "unseen".to_owned(),
        ("blind", tripped) if tripped < cell.run => format!("{tripped} of {} seen", cell.run),
        ("blind", _) if glows => format!("late, {slowest}"),
        ("blind", _) => format!("seen, {slowest}"),
        (_, _) if cell.off => format!("off, {slowest}"),
        (_, 0) => "borne".to_owned(),
        _ => format!("trip, {slowest}"),
    };
    let hottest = if glows { format!("sheath {:.0} °C", cell.sheath_c) } else { format!("water {:.0} °C", cell.water_c) };
    let bar = cell.nearest.map_or(String::new(), |share| format!("<i style=\"width:{:.0}%\"></i>", (share * 100.0).min(100.0)));
    format!("<td class=\"{class}\" data-phase=\"{}\">{main}<small>{hottest}</small>{bar}</td>", phase.name())
}
