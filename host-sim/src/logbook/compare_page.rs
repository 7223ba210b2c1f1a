//! The comparison as one page with charts: the two days' curves over each other, each step begun at the same place.

use super::compare::{Comparison, Pair};
use crate::day::{Day, Sample};
use crate::report::html::dressed;
use crate::report::measure::{Measure, NONE, fixed};
use crate::report::svg::{Anchor, Opening, Svg, escape};
use crate::report::thin;
use copperhold_core::vessel::Vessel;
use std::fmt::Write;

/// Widths of the three drawings, of which the page shows the one that fits, with their class.
const WIDTHS: [(&str, f64); 3] = [("wide", 1040.0), ("medium", 640.0), ("narrow", 344.0)];
const TOP: f64 = 20.0;
const HEIGHT: f64 = 200.0;
const BOTTOM: f64 = 8.0;
const LEFT: f64 = 46.0;
const RIGHT: f64 = 10.0;
/// Below this a vessel counts as empty, L.
const EMPTY_L: f64 = 0.5;
/// A step is drawn at least this long, s, so that short ones can be seen.
const LEAST_S: f64 = 120.0;

/// Styles beyond the report's.
const MORE: &str = "svg .second{stroke:var(--ink);stroke-width:1.5;stroke-dasharray:5 4;stroke-linecap:butt}\n";

/// The page. The same two days give the same bytes.
pub fn page(comparison: &Comparison<'_>) -> String {
    let (first, second) = (comparison.first, comparison.second);
    let title = format!("Day {} and day {}", first.number, second.number);
    let mut html = format!("<header>\n<h1>{title}</h1>\n");
    for day in [first, second] {
        let kind = if day.rehearsed { "rehearsed" } else { "brewed" };
        let (sheet, rig) = (escape(&day.day.sheet), escape(&day.day.rig));
        let _ = writeln!(html, "<p class=\"quiet\">Day {}, {kind} {}: {sheet} on {rig}.</p>", day.number, escape(&day.begun_utc));
    }
    html.push_str("</header>\n<main>\n");
    differences(&mut html, comparison);
    charts(&mut html, comparison);
    figures(&mut html, comparison);
    html.push_str("</main>\n");
    dressed(&format!("{title} compared"), MORE, &html)
}

fn differences(html: &mut String, comparison: &Comparison<'_>) {
    html.push_str("<section aria-labelledby=\"words\">\n<h2 id=\"words\">What differed</h2>\n");
    let words = comparison.words();
    if words.is_empty() {
        html.push_str("<p>Nothing beyond the brewer's pace and the thermometers' grain.</p>\n");
    } else {
        html.push_str("<ul>\n");
        for text in &words {
            let _ = writeln!(html, "<li>{}</li>", escape(text));
        }
        html.push_str("</ul>\n");
    }
    html.push_str("</section>\n");
}

fn charts(html: &mut String, comparison: &Comparison<'_>) {
    let _ = writeln!(
        html,
        "<section aria-labelledby=\"curves\">\n<h2 id=\"curves\">Temperatures, step by step</h2>\n<p class=\"quiet\">Both days begin each step at \
         the same place. Solid: day {}. Dashed: day {}. Numbers above the curves are the steps, listed below.</p>",
        comparison.first.number, comparison.second.number
    );
    let pairs = comparison.pairs();
    for vessel in Vessel::ALL {
        let _ = writeln!(html, "<figure class=\"{}\">\n<h3>{}</h3>", vessel.key(), vessel.label());
        for (class, width) in WIDTHS {
            html.push_str(&chart(comparison, &pairs, vessel, class, width));
        }
        html.push_str("</figure>\n");
    }
    html.push_str("<ol>\n");
    for pair in &pairs {
        let _ = writeln!(html, "<li>{}</li>", escape(pair.name()));
    }
    html.push_str("</ol>\n</section>\n");
}

fn chart(comparison: &Comparison<'_>, pairs: &[Pair<'_>], vessel: Vessel, class: &str, width: f64) -> String {
    let units = Measure(comparison.first.day.units);
    let places = places(pairs, width);
    let days = [&comparison.first.day, &comparison.second.day];
    let readings = || days.iter().flat_map(|day| day.samples.iter()).filter_map(|sample| reading(sample, vessel));
    let low = units.temperature(readings().fold(f64::INFINITY, f64::min));
    let high = units.temperature(readings().fold(f64::NEG_INFINITY, f64::max));
    let (low, high) = if low < high { (low - 1.0, high + 1.0) } else { (0.0, 100.0) };
    let floor = TOP + HEIGHT;
    let y = |c: f64| floor - HEIGHT * (units.temperature(c) - low) / (high - low);
    let description = if readings().next().is_none() {
        format!("Neither day has a reading of the {}.", vessel.label())
    } else {
        format!(
            "Readings of the {} lie between {} and {} {}.",
            vessel.label(),
            fixed(low + 1.0, 1),
            fixed(high - 1.0, 1),
            units.degrees()
        )
    };
    let mut svg = Svg::open(&Opening {
        class: &format!("chart {class}"),
        id: &format!("both-{}-{class}", vessel.key()),
        width,
        height: floor + BOTTOM,
        axis: (LEFT, width - RIGHT),
        plot: (TOP, floor),
        label: &format!("Temperature in the {} on both days", vessel.label()),
        description: &description,
    });
    for (index, (from, to)) in places.iter().enumerate() {
        if index % 2 == 0 {
            svg.rect("band", (*from, TOP), (to - from, HEIGHT));
        }
        if to - from > 16.0 {
            svg.text("faint", Anchor::Middle, ((from + to) / 2.0, TOP - 6.0), &(index + 1).to_string());
        }
    }
    grid(&mut svg, units, (low, high), width);
    let curve = |day: &Day, of_step: &dyn Fn(&Pair<'_>) -> Option<(f64, f64)>| {
        let mut points = Vec::new();
        for (pair, (from, to)) in pairs.iter().zip(&places) {
            let Some((started_s, ended_s)) = of_step(pair) else { continue };
            let scale = (to - from) / pair.longest_s().max(LEAST_S);
            for sample in within(&day.samples, started_s, ended_s) {
                points.push(reading(sample, vessel).map(|c| (from + (sample.t_s - started_s) * scale, y(c))));
            }
            points.push(None);
        }
        thin::path(points.into_iter())
    };
    let ends = |step: &crate::day::StepRecord| (step.started_s, step.ended_s);
    svg.path(&format!("reading {}", vessel.key()), &curve(days[0], &|pair| pair.first.map(ends)));
    svg.path("second", &curve(days[1], &|pair| pair.second.map(ends)));
    svg.finish()
}

/// Where each step lies: as wide as the longer of the two took.
fn places(pairs: &[Pair<'_>], width: f64) -> Vec<(f64, f64)> {
    let long = |pair: &Pair<'_>| pair.longest_s().max(LEAST_S);
    let total: f64 = pairs.iter().map(long).sum();
    let per_s = (width - LEFT - RIGHT) / total.max(1.0);
    let mut at = LEFT;
    pairs
        .iter()
        .map(|pair| {
            let from = at;
            at += long(pair) * per_s;
            (from, at)
        })
        .collect()
}

fn within(samples: &[Sample], from_s: f64, to_s: f64) -> &[Sample] {
    let first = samples.partition_point(|sample| sample.t_s < from_s);
    let last = samples.partition_point(|sample| sample.t_s <= to_s).max(first);
    samples.get(first..last).unwrap_or(&[])
}

fn reading(sample: &Sample, vessel: Vessel) -> Option<f64> {
    sample.reading_c.get(vessel).filter(|c| c.is_finite() && *sample.volume_l.get(vessel) > EMPTY_L)
}

fn grid(svg: &mut Svg, units: Measure, (low, high): (f64, f64), width: f64) {
    let every = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0].into_iter().find(|every| (high - low) / every <= 6.0).unwrap_or(100.0);
    let (first, last) = ((low / every).ceil() as i64, (high / every).floor() as i64);
    for index in first..=last {
        let figure = every * index as f64;
        let y = TOP + HEIGHT - HEIGHT * (figure - low) / (high - low);
        svg.line("grid", (LEFT, y), (width - RIGHT, y));
        let unit = if index == last { units.degrees() } else { "" };
        svg.text("faint", Anchor::End, (LEFT - 6.0, y + 4.0), format!("{} {unit}", fixed(figure, 0)).trim_end());
    }
}

fn figures(html: &mut String, comparison: &Comparison<'_>) {
    let _ = write!(
        html,
        "<section aria-labelledby=\"whole\">\n<h2 id=\"whole\">The day as a whole</h2>\n<table><thead><tr><th scope=\"col\">Figure</th>\
         <th scope=\"col\">Day {}</th><th scope=\"col\">Day {}</th></tr></thead><tbody>\n",
        comparison.first.number, comparison.second.number
    );
    for figure in comparison.figures() {
        let cell = |text: Option<String>| text.map_or_else(|| NONE.to_owned(), |text| escape(&text));
        let (first, second) = (cell(figure.first), cell(figure.second));
        let _ = writeln!(html, "<tr><th scope=\"row\">{}</th><td>{first}</td><td>{second}</td></tr>", figure.name);
    }
    html.push_str("</tbody></table>\n</section>\n");
}
