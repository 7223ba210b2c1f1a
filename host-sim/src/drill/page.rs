//! The campaign as a page: a matrix that is read at a glance.

use super::fault::Kind;
use super::scene::Phase;
use super::table::{Cell, cell};
use super::{Expected, Outcome};
use crate::report::html::{dressed, escaped};
use std::fmt::Write;

const STYLE: &str = "
.matrix{border-collapse:separate;border-spacing:3px;width:100%;font-size:.8125rem}
.matrix th{font-weight:600;text-align:left;padding:4px 6px;vertical-align:bottom}
.matrix th.row{white-space:nowrap;font-weight:400}.matrix th.row b{font-weight:600}
.matrix td{padding:5px 6px;border:1px solid var(--rule);min-width:5.2em;vertical-align:top;line-height:1.3}
.matrix td.good{background:var(--band)}
.matrix td.bad{border:2px solid var(--trip);color:var(--trip);font-weight:600}
.matrix td.blind{border-style:dashed;color:var(--quiet)}
.matrix td.none{border:0}
.matrix small{display:block;color:var(--quiet)}
.matrix th:first-child{position:sticky;left:0;background:var(--paper)}
.wide{overflow-x:auto}
";

/// The page.
pub fn page(outcomes: &[Outcome], quiet_days: usize, false_trips: usize) -> String {
    let failed = outcomes.iter().filter(|o| !o.passed).count();
    let headline = if failed == 0 && false_trips == 0 {
        "Every fault got the answer it should."
    } else {
        "Some faults did not get the answer they should."
    };
    let tone = if failed == 0 && false_trips == 0 { "well" } else { "tripped" };
    let sheath = outcomes.iter().filter(|o| o.kind != Kind::Dry).map(|o| o.sheath_c).fold(f64::NEG_INFINITY, f64::max);
    let mut body = format!(
        "<header>\n<h1>Drills</h1>\n<p class=\"quiet\">Faults injected on purpose, in simulation, against the real controller.</p>\n\
         <div class=\"answer {tone}\">\n<p class=\"verdict\">{headline}</p>\n<p>{} drills, {failed} not as expected. {quiet_days} whole days \
         without a fault, {false_trips} false trips.</p>\n</div>\n<dl class=\"tiles\">\n{}{}{}{}</dl>\n</header>\n<main>\n",
        outcomes.len(),
        tile("Drills", &outcomes.len().to_string()),
        tile("As expected", &(outcomes.len() - failed).to_string()),
        tile("False trips", &format!("{false_trips} in {quiet_days} days")),
        tile("Hottest sheath, covered", &format!("{sheath:.0} °C")),
    );
    let _ = write!(
        body,
        "<section aria-labelledby=\"matrix\">\n<h2 id=\"matrix\">What was seen, and how fast</h2>\n<p class=\"quiet\">Times are the slowest \
         of all drills in the cell, with the limit that follows from the rig. Dashed: software cannot see it there, or not in time; the reasons are below.\
         </p>\n<div class=\"wide\">\n{}</div>\n</section>\n",
        matrix(outcomes)
    );
    let _ = write!(
        body,
        "<section aria-labelledby=\"unseen\">\n<h2 id=\"unseen\">What software cannot see</h2>\n<p>For these, hardware or a person must act.\
         </p>\n<ul>\n{}</ul>\n</section>\n</main>\n",
        unseen(outcomes)
    );
    dressed("Drills", STYLE, &body)
}

fn tile(name: &str, figure: &str) -> String {
    format!("<div><dt>{name}</dt><dd>{figure}</dd></div>\n")
}

fn matrix(outcomes: &[Outcome]) -> String {
    let mut html = String::from("<table class=\"matrix\">\n<thead><tr><th scope=\"col\">fault</th>");
    for phase in Phase::ALL {
        let _ = write!(html, "<th scope=\"col\">{}</th>", phase.name());
    }
    html.push_str("</tr></thead>\n<tbody>\n");
    for kind in Kind::ALL.into_iter().chain([Kind::None]) {
        let (row, name) = kind.name();
        let _ = write!(html, "<tr><th scope=\"row\" class=\"row\"><b>{name}</b> <small>{row}</small></th>");
        for phase in Phase::ALL {
            match cell(outcomes, kind, phase) {
                Some(cell) => html.push_str(&show(&cell)),
                None => html.push_str("<td class=\"none\"></td>"),
            }
        }
        html.push_str("</tr>\n");
    }
    html.push_str("</tbody>\n</table>\n");
    html
}

fn show(cell: &Cell) -> String {
    let class = if cell.passed < cell.run {
        "bad"
    } else if cell.unseen.is_some() {
        "blind"
    } else {
        "good"
    };
    let main = match (class, cell.tripped) {
        ("bad", _) => format!("{} of {} wrong", cell.run - cell.passed, cell.run),
        ("blind", 0) => "unseen".to_owned(),
        ("blind", tripped) if tripped < cell.run => format!("{tripped} of {} seen", cell.run),
        ("blind", _) => format!("late: {:.0} s", cell.slowest_s),
        (_, 0) if cell.limit_s.is_some() => "off at once".to_owned(),
        (_, 0) => "borne".to_owned(),
        _ => format!("trip {:.1} s", cell.slowest_s),
    };
    let limit = cell
        .limit_s
        .filter(|_| cell.tripped > 0)
        .map_or(String::new(), |s| if s < 10.0 { format!("limit {s:.1} s · ") } else { format!("limit {s:.0} s · ") });
    format!("<td class=\"{class}\">{main}<small>{limit}{:.0} °C</small></td>", cell.water_c)
}

fn unseen(outcomes: &[Outcome]) -> String {
    let mut said = Vec::new();
    let mut html = String::new();
    for o in outcomes {
        if let Expected::Unseen(why) = o.expected
            && !said.contains(&why)
        {
            said.push(why);
            let _ = writeln!(html, "<li><b>{}</b>: {}</li>", escaped(o.kind.name().1), escaped(why));
        }
    }
    html
}
