//! The survey as one page that needs nothing else. It is well-formed XML too.

use super::plot::{chart, figure, is_ours, title};
use super::text::MISSES_LEAD;
use super::{Contender, Field, Measure, Survey, ranges};
use crate::report::frame::Size;
use crate::report::html::{dressed, section};
use crate::report::measure::{duration, fixed};
use crate::report::svg::escape;
use crate::rig::ProbeKind;
use std::fmt::Write;

const OWN_STYLE: &str = include_str!("survey.css");
/// So many of the worst rigs are listed for each measure.
const WORST: usize = 4;

/// The page. The same survey gives the same bytes.
pub fn page(survey: &Survey) -> String {
    let mut html = String::new();
    html.push_str(&answer(survey));
    html.push_str("<main>\n");
    section(&mut html, "figures-title", "Figures", &figures(survey));
    for measure in Measure::ALL {
        let charts = Size::ALL.map(|size| chart(survey, measure, size)).concat();
        let content = format!("<p class=\"quiet\">{}</p>\n<figure>\n{charts}</figure>\n", lead(measure));
        section(
            &mut html,
            &format!("{}-title", title(measure).split(' ').next().unwrap_or("").to_lowercase()),
            title(measure),
            &content,
        );
    }
    section(&mut html, "worst-title", "Where we are worst", &worst(survey));
    if survey.field == Field::Limits {
        section(&mut html, "limits-title", "What limits ours", &limits(survey));
    }
    section(&mut html, "who-title", "Who heats", &who(survey));
    section(&mut html, "ranges-title", "What is drawn", &drawn());
    html.push_str("</main>\n");
    dressed("Survey of heat-ups", OWN_STYLE, &html)
}

fn answer(survey: &Survey) -> String {
    let spread = |measure| survey.spread(Contender::OursFirst, measure);
    let (ratio, over, hold) = (spread(Measure::Ratio), spread(Measure::Overshoot), spread(Measure::Hold));
    let mut html = format!(
        "<header>\n<h1>Survey of heat-ups</h1>\n<p class=\"quiet\">{} random rigs, seed {}; every law on the same plant, probe and noise.</p>\n\
         <div class=\"answer\">\n<p class=\"verdict\">First heat-up, nothing known: {} times the least possible time</p>\n\
         <p>Half of the rigs arrive within that and pass the target by no more than {} K; the worst takes {} and passes it by {} K. \
         Arrived means: the true temperature of the bulk is within 0.3 K of the target and stays there. The least possible time is full power on the same rig \
         until the bulk is there.</p>\n</div>\n<dl class=\"tiles\">\n",
        survey.rigs.len(),
        survey.seed,
        fixed(ratio.median, 3),
        fixed(over.median, 2),
        fixed(ratio.worst, 3),
        fixed(over.worst, 2)
    );
    let tiles = [
        ("Ratio, median", fixed(ratio.median, 4)),
        ("Ratio, 95 %", fixed(ratio.p95, 4)),
        ("Ratio, worst", fixed(ratio.worst, 4)),
        ("Overshoot, 95 %", format!("{} K", fixed(over.p95, 3))),
        ("Overshoot, worst", format!("{} K", fixed(over.worst, 3))),
        ("Hold, median", format!("{} K", fixed(hold.median, 3))),
    ];
    for (name, text) in tiles {
        let _ = writeln!(html, "<div><dt>{name}</dt><dd>{text}</dd></div>");
    }
    html.push_str("</dl>\n</header>\n");
    html
}

fn lead(measure: Measure) -> &'static str {
    match measure {
        Measure::Ratio => {
            "One mark per rig, on a logarithmic scale of the excess over 1; marks at the left end are at the least possible time. Tall mark: median. Dot: 95th percentile. \
             The figures at the right: median, 95th percentile, worst."
        }
        Measure::Overshoot => "Marks at the left end did not pass the target by more than 0.002 K.",
        Measure::Hold => "A heat-up that has not settled by then shows here as well.",
    }
}

fn figures(survey: &Survey) -> String {
    let mut html = String::from(
        "<div class=\"scroll\"><table><thead>\n<tr class=\"groups\"><th></th><th colspan=\"3\" scope=\"colgroup\">Time ratio</th>\
         <th colspan=\"3\" scope=\"colgroup\">Overshoot, K</th><th colspan=\"3\" scope=\"colgroup\">Hold RMS, K</th><th></th><th></th></tr>\n<tr><th></th>",
    );
    for _ in Measure::ALL {
        html.push_str("<th scope=\"col\">median</th><th scope=\"col\">95 %</th><th scope=\"col\">worst</th>");
    }
    html.push_str("<th scope=\"col\">not in</th><th scope=\"col\">behind</th></tr></thead><tbody>\n");
    for contender in survey.contenders() {
        let class = if is_ours(contender) { " class=\"ours\"" } else { "" };
        let _ = write!(html, "<tr{class}><th scope=\"row\">{}</th>", contender.label());
        for measure in Measure::ALL {
            let spread = survey.spread(contender, measure);
            for value in [spread.median, spread.p95, spread.worst] {
                let _ = write!(html, "<td>{}</td>", figure(measure, value));
            }
        }
        let behind = if contender == Contender::OursFirst { "–".to_owned() } else { survey.behind_ours(contender).to_string() };
        let _ = writeln!(html, "<td>{}</td><td>{behind}</td></tr>", survey.unsettled(contender));
    }
    html.push_str(
        "</tbody></table></div>\n<p class=\"quiet\">Not in: rigs not within 0.3 K at the end of the trial, 50 minutes after the least time; their ratio is a lower bound. \
         Behind: rigs on which our first heat-up has the lower (ratio − 1) / 0.02 + overshoot / 0.12 K.</p>\n",
    );
    for (number, which, trip) in survey.trips() {
        let _ = writeln!(html, "<p><b>Rig {number}, {which} heat-up, tripped:</b> {}</p>", escape(&trip.to_string()));
    }
    html
}

fn worst(survey: &Survey) -> String {
    let mut numbers: Vec<usize> = Vec::new();
    for contender in [Contender::OursFirst, Contender::OursSecond] {
        for measure in Measure::ALL {
            let mut order: Vec<usize> = (0..survey.rigs.len()).collect();
            let value = |index: usize| {
                survey.rigs.get(index).and_then(|rig| rig.outcomes.get(contender)).map_or(0.0, |outcome| measure.of(outcome))
            };
            order.sort_by(|a, b| value(*b).total_cmp(&value(*a)));
            for index in order.into_iter().take(WORST) {
                if !numbers.contains(&index) {
                    numbers.push(index);
                }
            }
        }
    }
    let mut html = String::from(
        "<div class=\"scroll\"><table><thead><tr><th scope=\"col\">Rig</th><th scope=\"col\">Water</th><th scope=\"col\">Power</th><th scope=\"col\">Lag</th>\
         <th scope=\"col\">Probe</th><th scope=\"col\">Noise</th><th scope=\"col\">From</th><th scope=\"col\">To</th><th scope=\"col\">Least</th>\
         <th scope=\"col\">Ratio</th><th scope=\"col\">Over</th><th scope=\"col\">Hold</th><th scope=\"col\">Ratio 2</th><th scope=\"col\">Over 2</th></tr></thead><tbody>\n",
    );
    for rig in numbers.into_iter().filter_map(|index| survey.rigs.get(index)) {
        let (draw, first, second) = (&rig.draw, rig.outcomes.first(), rig.outcomes.second());
        let cells = [
            format!("{} L", fixed(draw.litres, 0)),
            format!("{} kW", fixed(rig.plant.power_w / 1000.0, 1)),
            format!("{} s", fixed(rig.plant.lag_s, 0)),
            probe(draw.tank().probe.kind).to_owned(),
            format!("{} K", fixed(draw.tank().probe.noise_k, 3)),
            format!("{} °C", fixed(draw.start_c, 0)),
            format!("{} °C", fixed(draw.target_c, 0)),
            duration(rig.least_s),
            figure(Measure::Ratio, first.ratio),
            figure(Measure::Overshoot, first.overshoot_k),
            figure(Measure::Hold, first.hold_rms_k),
            figure(Measure::Ratio, second.ratio),
            figure(Measure::Overshoot, second.overshoot_k),
        ];
        let _ = write!(html, "<tr><th scope=\"row\">{}</th>", rig.number);
        for cell in cells {
            let _ = write!(html, "<td>{}</td>", escape(&cell));
        }
        html.push_str("</tr>\n");
    }
    html.push_str("</tbody></table></div>\n<p class=\"quiet\">The worst four rigs of each measure, first and second heat-up. 2: second heat-up.</p>\n");
    html
}

fn limits(survey: &Survey) -> String {
    let mut html = format!("<p class=\"quiet\">{MISSES_LEAD}</p>\n<ul>\n");
    for miss in survey.misses() {
        let _ = writeln!(html, "<li>{}</li>", escape(&miss.to_string()));
    }
    html.push_str("</ul>\n");
    html
}

const fn probe(kind: ProbeKind) -> &'static str {
    match kind {
        ProbeKind::Pt100 => "Pt100",
        ProbeKind::Ntc10k => "thermistor",
        ProbeKind::Ds18b20 => "one-wire",
    }
}

fn who(survey: &Survey) -> String {
    let mut html = String::from("<dl class=\"who\">\n");
    for contender in survey.contenders() {
        let _ = writeln!(html, "<dt>{}</dt><dd>{}</dd>", contender.label(), escape(contender.about()));
    }
    html.push_str("</dl>\n");
    html
}

fn drawn() -> String {
    let mut html = String::from(
        "<table class=\"plain\"><thead><tr><th scope=\"col\">Quantity</th><th scope=\"col\">From</th><th scope=\"col\">To</th><th scope=\"col\">Spread</th></tr></thead><tbody>\n",
    );
    for range in ranges::ALL {
        let evenly = match range.evenly {
            ranges::Evenly::Plain => "every value as likely",
            ranges::Evenly::ByRatio => "every doubling as likely",
        };
        let value = |value: f64| format!("{value} {}", range.unit);
        let _ = writeln!(
            html,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{evenly}</td></tr>",
            range.name,
            value(range.low).trim_end(),
            value(range.high).trim_end()
        );
    }
    html.push_str("<tr><th scope=\"row\">lid</th><td colspan=\"3\">on every second rig</td></tr>\n");
    for (_, about) in ranges::PROBES {
        let _ = writeln!(html, "<tr><th scope=\"row\">probe, every third rig</th><td colspan=\"3\">{}</td></tr>", escape(about));
    }
    let _ = write!(html, "</tbody></table>\n<p class=\"quiet\">{}</p>\n", escape(&ranges::REDRAWN.join(" ")));
    html
}
