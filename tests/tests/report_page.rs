//! The page: whole by itself, well-formed, readable, and true to the day.

use copperhold::day::{AdditionRecord, Day, Sample, TripRecord};
use copperhold::report::html::page;
use copperhold::report::palette::{Colour, DARK, LIGHT, Palette};
use copperhold_core::vessel::{Element, PerElement, PerVessel};
use copperhold_tests::sample_day::{good_day, short_day, tripped_day, us_day};
use roxmltree::{Document, Node, ParsingOptions};

const SVG: &str = "http://www.w3.org/2000/svg";

fn parsed(html: &str) -> Document<'_> {
    let options = ParsingOptions { allow_dtd: true, ..ParsingOptions::default() };
    Document::parse_with_options(html, options).expect("the page is well-formed")
}

fn words(node: Node<'_, '_>) -> String {
    let text: String = node.descendants().filter(Node::is_text).filter_map(|text| text.text()).collect();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn charts<'a>(document: &'a Document<'_>, size: &str) -> Vec<Node<'a, 'a>> {
    let class = format!("chart {size}");
    document.descendants().filter(|node| node.attribute("class") == Some(class.as_str())).collect()
}

#[test]
fn the_same_day_gives_the_same_bytes() {
    assert_eq!(page(&tripped_day()), page(&tripped_day()));
}

#[test]
fn a_six_hour_day_stays_small() {
    for day in [good_day(), tripped_day(), us_day()] {
        let size = page(&day).len();
        assert!(size < 400_000, "{size} bytes");
    }
}

#[test]
fn a_day_of_pure_noise_stays_small_too() {
    let mut day = good_day();
    for (index, sample) in day.samples.iter_mut().enumerate() {
        let reading = 20.0 + ((index * 7919) % 8000) as f64 / 100.0;
        sample.reading_c = PerVessel::build(|_| Some(reading));
        sample.setpoint_c = PerVessel::build(|_| Some(100.0 - reading));
        sample.volume_l = PerVessel::build(|_| 20.0);
        sample.duty = PerElement::build(|_| reading / 100.0);
        sample.grant = [None, Some(Element::LiquorTank), Some(Element::BoilKettle)][index % 3];
    }
    let size = page(&day).len();
    assert!(size < 400_000, "{size} bytes");
}

#[test]
fn nothing_is_fetched_from_elsewhere() {
    let html = page(&tripped_day());
    let stripped = html.replace(SVG, "").replace("http://www.w3.org/1999/xhtml", "");
    for reference in ["http:", "https:", "//", "url(", "@import", "fetch(", "XMLHttp", "import("] {
        assert!(!stripped.contains(reference), "the page holds {reference}");
    }
    let document = parsed(&html);
    for node in document.descendants() {
        assert!(!matches!(node.tag_name().name(), "link" | "img" | "iframe" | "object" | "embed" | "use" | "image" | "base"));
        for attribute in node.attributes() {
            assert!(!matches!(attribute.name(), "src" | "href" | "srcset" | "action" | "data" | "poster"), "{}", attribute.name());
        }
    }
}

#[test]
fn hostile_names_stay_text() {
    let hostile = "<script>alert(1)</script>\"'&amp;]]></style><!--\u{0}\u{1b}";
    let mut day = tripped_day();
    day.sheet = hostile.to_owned();
    day.rig = hostile.to_owned();
    day.steps[12].name = hostile.to_owned();
    day.prompts[0].text = hostile.to_owned();
    day.additions[0].name = hostile.to_owned();
    day.trips[0].cause = hostile.to_owned();
    day.trips[0].remedy = hostile.to_owned();
    day.advice[0].text = hostile.to_owned();
    let html = page(&day);
    assert_eq!(html.matches("<script").count(), page(&tripped_day()).matches("<script").count());
    let document = parsed(&html);
    let heading = document.descendants().find(|node| node.has_tag_name(("http://www.w3.org/1999/xhtml", "h1"))).expect("a heading");
    assert_eq!(heading.text(), Some("<script>alert(1)</script>\"'&amp;]]></style><!--��"));
}

#[test]
fn identifiers_are_unique_and_every_reference_is_met() {
    let html = page(&tripped_day());
    let document = parsed(&html);
    let mut ids: Vec<&str> = document.descendants().filter_map(|node| node.attribute("id")).collect();
    ids.sort_unstable();
    assert!(ids.windows(2).all(|pair| pair[0] != pair[1]), "{ids:?}");
    for node in document.descendants() {
        for name in ["aria-labelledby", "aria-describedby", "for"] {
            if let Some(id) = node.attribute(name) {
                assert!(ids.binary_search(&id).is_ok(), "{name} names {id}, which is not there");
            }
        }
    }
}

#[test]
fn each_chart_says_what_it_shows() {
    let html = page(&good_day());
    let document = parsed(&html);
    for size in ["wide", "medium", "narrow"] {
        let charts = charts(&document, size);
        assert_eq!(charts.len(), 5);
        for chart in charts {
            assert_eq!(chart.attribute("role"), Some("img"));
            assert!(chart.attribute("aria-label").is_some_and(|label| label.len() > 20));
            let description = chart.children().find(|node| node.has_tag_name((SVG, "desc"))).map(words);
            assert!(description.is_some_and(|text| text.len() > 60));
        }
    }
}

#[test]
fn every_table_head_has_a_scope() {
    let html = page(&tripped_day());
    let document = parsed(&html);
    let heads: Vec<_> = document.descendants().filter(|node| node.tag_name().name() == "th").collect();
    assert!(heads.len() > 30);
    assert!(heads.iter().all(|head| matches!(head.attribute("scope"), Some("col" | "row"))));
}

#[test]
fn every_trip_is_in_the_words_and_in_every_chart() {
    let day = tripped_day();
    let html = page(&day);
    let document = parsed(&html);
    let text = words(document.root_element());
    for (index, trip) in day.trips.iter().enumerate() {
        assert!(text.contains(&trip.cause) && text.contains(&trip.remedy), "trip {index}");
        for size in ["wide", "medium", "narrow"] {
            for chart in charts(&document, size) {
                let label = format!("trip {}", index + 1);
                assert!(chart.descendants().any(|node| node.text() == Some(label.as_str())), "{label} in {size}");
            }
        }
    }
    assert!(text.contains("The day had 2 trips.") && !text.contains("went well"));
}

#[test]
fn the_cautions_are_there() {
    let text = words(parsed(&page(&short_day())).root_element());
    for caution in
        ["240 V", "scalds", "codes", "licensed electrician", "GFCI", "RCD", "emergency stop", "no software", "fail shorted"]
    {
        assert!(text.contains(caution), "{caution}");
    }
    for caution in ["cut-out", "rehearsal", "No certification"] {
        assert!(text.contains(caution), "{caution}");
    }
}

#[test]
fn us_units_reach_tiles_tables_and_axes() {
    let mut day = us_day();
    day.volumes.strike_l = 37.854;
    let html = page(&day);
    let text = words(parsed(&html).root_element());
    assert!(text.contains("10.00 gal") && text.contains("gal/h"));
    assert!(text.contains("boils at 210.9 °F"));
    assert!(!text.contains("°C"), "a Celsius figure is left");
}

#[test]
fn the_style_uses_only_the_palette() {
    let html = page(&good_day());
    let known: Vec<String> = [LIGHT, DARK].iter().flat_map(all_colours).collect();
    let style = html.split("<style>").nth(1).and_then(|rest| rest.split("</style>").next()).expect("a style");
    let mut seen = 0;
    for piece in style.split('#').skip(1) {
        let digits: String = piece.chars().take_while(char::is_ascii_hexdigit).collect();
        if digits.len() == 6 {
            assert!(known.contains(&format!("#{digits}")), "#{digits} is not of the palette");
            seen += 1;
        }
    }
    assert_eq!(seen, known.len());
}

fn all_colours(palette: &Palette) -> Vec<String> {
    let grounds = [palette.paper, palette.band, palette.rule];
    palette.text_colours().into_iter().chain(grounds).map(Colour::hex).collect()
}

#[test]
fn a_peak_and_a_dip_of_one_sample_survive_the_thinning() {
    let curve = |day: &Day, size: &str| {
        let html = page(day);
        let document = parsed(&html);
        let chart = charts(&document, size)[0];
        let path = chart.descendants().find(|node| node.attribute("class") == Some("reading liquor_tank"));
        reach(path.and_then(|path| path.attribute("d")).expect("a curve"))
    };
    for size in ["wide", "medium", "narrow"] {
        let mut day = good_day();
        for sample in &mut day.samples {
            sample.reading_c.liquor_tank = Some(50.0);
            sample.setpoint_c.liquor_tank = Some(90.0);
        }
        // The scale must not move between the two: it also covers the first sample.
        day.samples[0].reading_c.liquor_tank = Some(10.0);
        day.samples[1001].reading_c.liquor_tank = Some(90.0);
        let (peak, _) = curve(&day, size);
        day.samples[1001].reading_c.liquor_tank = Some(50.0);
        let (level, _) = curve(&day, size);
        assert!(level - peak > 70.0, "{size}: peak {peak}, level {level}");
        day.samples[0].reading_c.liquor_tank = Some(90.0);
        day.samples[1001].reading_c.liquor_tank = Some(10.0);
        let (_, dip) = curve(&day, size);
        assert!(dip - level > 70.0, "{size}: dip {dip}, level {level}");
    }
}

/// The smallest and the largest y of a path of `M` and `l`: its highest and its lowest point.
fn reach(path: &str) -> (f64, f64) {
    let (mut y, mut least, mut most) = (0.0, f64::INFINITY, f64::NEG_INFINITY);
    for piece in path.split_inclusive(['M', 'l']).collect::<Vec<_>>().windows(2) {
        let step = piece[1].trim_end_matches(['M', 'l']).trim_end_matches("h0").split(' ').nth(1);
        let step: f64 = step.and_then(|step| step.parse().ok()).expect("a coordinate");
        y = if piece[0].ends_with('M') { step } else { y + step };
        (least, most) = (f64::min(least, y), f64::max(most, y));
    }
    (least, most)
}

#[test]
fn a_probe_fault_leaves_a_gap() {
    let html = page(&tripped_day());
    let document = parsed(&html);
    let gaps = |class: &str| {
        let path = charts(&document, "wide")
            .into_iter()
            .flat_map(|chart| chart.descendants())
            .find(|n| n.attribute("class") == Some(class));
        path.and_then(|path| path.attribute("d")).map_or(0, |data| data.matches('M').count())
    };
    let whole = page(&good_day());
    let whole = parsed(&whole);
    let path = charts(&whole, "wide")[0]
        .descendants()
        .find(|n| n.attribute("class") == Some("reading liquor_tank"))
        .and_then(|n| n.attribute("d"));
    assert_eq!(gaps("reading liquor_tank"), path.map_or(0, |data| data.matches('M').count()) + 1);
}

#[test]
fn odd_days_are_drawn_without_panic() {
    let nan = f64::NAN;
    let sample =
        Sample { t_s: nan, reading_c: PerVessel::build(|_| Some(nan)), duty: PerElement::build(|_| nan), ..Sample::default() };
    let mut broken = tripped_day();
    broken.samples[10] = sample;
    broken.steps[2].started_s = nan;
    broken.steps[3].ended_s = f64::INFINITY;
    broken.boiling_c = nan;
    broken.energy.lost_kwh = nan;
    broken.trips.push(TripRecord { t_s: nan, cause: "Unknown.".to_owned(), remedy: "Look.".to_owned() });
    broken.additions.push(AdditionRecord { t_s: -5.0, name: "Early".to_owned(), minutes_left: nan });
    let mut one = short_day();
    one.samples = vec![Sample { reading_c: PerVessel::build(|_| Some(20.0)), ..Sample::default() }];
    let mut faulty = good_day();
    for sample in &mut faulty.samples {
        sample.reading_c = PerVessel::default();
    }
    for day in [Day::default(), short_day(), one, faulty, broken, Day { samples: vec![sample], ..Day::default() }] {
        let html = page(&day);
        let document = parsed(&html);
        for node in document.descendants().filter(|node| node.tag_name().namespace() == Some(SVG)) {
            for attribute in node.attributes() {
                let value = attribute.value();
                assert!(!value.contains("NaN") && !value.contains("inf "), "{}={value}", attribute.name());
            }
        }
    }
}

#[test]
fn labels_of_steps_keep_clear_of_each_other() {
    let html = page(&good_day());
    let document = parsed(&html);
    for size in ["wide", "medium", "narrow"] {
        let chart = charts(&document, size)[0];
        let above = chart.descendants().filter(|node| node.has_tag_name((SVG, "text")) && node.attribute("y") == Some("14"));
        let spans: Vec<(f64, f64)> = above
            .map(|node| {
                let x: f64 = node.attribute("x").and_then(|x| x.parse().ok()).expect("a place");
                let half = node.text().unwrap_or("").chars().count() as f64 * 12.0 * 0.55 / 2.0;
                (x - half, x + half)
            })
            .collect();
        assert!(spans.len() >= 8, "{size}: {} labels", spans.len());
        assert!(spans.windows(2).all(|pair| pair[0].1 < pair[1].0), "{size}: {spans:?}");
    }
}

#[test]
fn the_figures_of_the_cursor_are_json_of_one_length() {
    let html = page(&us_day());
    let document = parsed(&html);
    let figures = document.descendants().find(|node| node.attribute("id") == Some("figures")).and_then(|node| node.text());
    let figures: serde_json::Value = serde_json::from_str(figures.expect("figures")).expect("JSON");
    let moments = figures["t"].as_array().expect("times").len();
    assert!((300..=720).contains(&moments));
    for key in ["liquor_tank", "mash_tun_set", "boil_kettle_duty"] {
        assert_eq!(figures[key].as_array().map(Vec::len), Some(moments), "{key}");
    }
    assert_eq!(figures["steps"].as_array().map(Vec::len), Some(18));
}
