//! The strip of the elements: who held the grant, and at what duty.

use copperhold_core::vessel::Element;

use super::facts;
use super::frame::{Frame, Size};
use super::measure::{duration, fixed};
use super::svg::{Anchor, At, Svg};
use super::thin;
use crate::day::{Day, Sample};

const LANE: f64 = 74.0;
const BAR: f64 = 38.0;

/// Both lanes in one size.
pub fn elements(day: &Day, size: Size) -> String {
    let frame = Frame::new(day, size, LANE * Element::ALL.len() as f64);
    let mut svg = frame.open("elements", "Which element held the grant, and at what duty", &description(day));
    for (index, element) in Element::ALL.into_iter().enumerate() {
        lane(&mut svg, &frame, element, frame.top() + LANE * index as f64);
    }
    svg.finish()
}

/// The time an element held the grant, s.
pub fn granted_s(day: &Day, element: Element) -> f64 {
    day.samples.iter().filter(|sample| sample.grant == Some(element)).count() as f64 * day.sample_s
}

fn description(day: &Day) -> String {
    let of =
        |element: Element| format!("The {} held the grant for {}.", element.vessel().label(), duration(granted_s(day, element)));
    format!(
        "Two lanes, one for each element. The height of the bar is the duty, the line under it marks the grant. {} {} {}",
        of(Element::LiquorTank),
        of(Element::BoilKettle),
        facts::interlock_text(day)
    )
}

fn lane(svg: &mut Svg, frame: &Frame<'_>, element: Element, top: f64) {
    let vessel = element.vessel();
    let floor = top + LANE - 12.0;
    let kilowatts = frame.day.element_w.get(element) / 1000.0;
    svg.text(
        "ink halo",
        Anchor::Start,
        (frame.left() + 6.0, top + 16.0),
        &format!("{}, {} kW", vessel.label(), fixed(kilowatts, 1)),
    );
    svg.line("grid", (frame.left(), floor - BAR), (frame.right(), floor - BAR));
    svg.line("grid", (frame.left(), floor), (frame.right(), floor));
    svg.text("faint", Anchor::End, (frame.left() - 6.0, floor - BAR + 4.0), "100 %");
    svg.text("faint", Anchor::End, (frame.left() - 6.0, floor + 4.0), "0");
    let duty: Vec<(f64, f64)> = frame.day.samples.iter().map(|sample| (frame.x(sample.t_s), *sample.duty.get(element))).collect();
    svg.path(&format!("duty {}", vessel.key()), &thin::area(&duty, floor, BAR, frame.right()));
    svg.path(&format!("grant {}", vessel.key()), &grants(frame, element, floor + 4.0));
}

/// Level lines over the stretches in which the element held the grant; stretches that nearly touch are joined.
fn grants(frame: &Frame<'_>, element: Element, y: f64) -> String {
    let end = |sample: &Sample| frame.x(sample.t_s + frame.day.sample_s);
    let mut stretches: Vec<(f64, f64)> = Vec::new();
    for sample in frame.day.samples.iter().filter(|sample| sample.grant == Some(element)) {
        let (from, to) = (frame.x(sample.t_s), end(sample));
        if !(from.is_finite() && to.is_finite()) {
            continue;
        }
        match stretches.last_mut().filter(|(_, last)| from - *last < 0.3) {
            Some((_, last)) => *last = to,
            None => stretches.push((from, to)),
        }
    }
    stretches.iter().map(|(from, to)| format!("M{} {}H{}", At(*from), At(y), At(*to))).collect()
}
