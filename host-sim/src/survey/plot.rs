//! Charts of distributions: one mark per rig on a logarithmic axis, one row per contender.

use super::{Contender, Measure, Survey};
use crate::report::frame::Size;
use crate::report::measure::fixed;
use crate::report::svg::{Anchor, Opening, Svg};

/// Height of a row, and within it of the marks.
const ROW: f64 = 46.0;
const MARK: f64 = 16.0;
/// Room above the first row, below the last, and at the sides.
const TOP: f64 = 8.0;
const BOTTOM: f64 = 24.0;
const SIDE: f64 = 16.0;

/// How a measure is laid out: what is taken off its values, the ends of its axis, and the figures on it.
struct Axis {
    less: f64,
    low: f64,
    high: f64,
    figures: &'static [(f64, &'static str)],
}

const RATIO: Axis = Axis {
    less: 1.0,
    low: 0.000_5,
    high: 20.0,
    figures: &[(0.001, "1.001"), (0.01, "1.01"), (0.1, "1.1"), (1.0, "2"), (9.0, "10")],
};
const KELVIN: Axis =
    Axis { less: 0.0, low: 0.002, high: 20.0, figures: &[(0.01, "0.01"), (0.1, "0.1"), (1.0, "1"), (10.0, "10 K")] };

impl Axis {
    const fn of(measure: Measure) -> &'static Axis {
        match measure {
            Measure::Ratio => &RATIO,
            Measure::Overshoot | Measure::Hold => &KELVIN,
        }
    }

    /// Where a value lies; beyond the ends, at the end.
    fn x(&self, value: f64, right: f64) -> f64 {
        let place = ((value - self.less).clamp(self.low, self.high) / self.low).ln() / (self.high / self.low).ln();
        SIDE + (right - SIDE) * place
    }
}

/// The name of a measure.
pub(super) const fn title(measure: Measure) -> &'static str {
    match measure {
        Measure::Ratio => "Time over the least possible",
        Measure::Overshoot => "Overshoot of the true temperature",
        Measure::Hold => "Hold error over the last 20 minutes (RMS)",
    }
}

/// Figures of a measure as printed.
pub(super) fn figure(measure: Measure, value: f64) -> String {
    match measure {
        Measure::Ratio => fixed(value, if value < 2.0 { 3 } else { 1 }),
        Measure::Overshoot | Measure::Hold => fixed(value, if value < 1.0 { 3 } else { 2 }),
    }
}

/// The chart of a measure in one size.
pub(super) fn chart(survey: &Survey, measure: Measure, size: Size) -> String {
    let axis = Axis::of(measure);
    let right = size.width() - SIDE;
    let bottom = TOP + ROW * survey.contenders().count() as f64;
    let mut svg = Svg::open(&Opening {
        class: &format!("chart {}", size.key()),
        id: &format!("{}-{}", key(measure), size.key()),
        width: size.width(),
        height: bottom + BOTTOM,
        axis: (SIDE, right),
        plot: (TOP, bottom),
        label: title(measure),
        description: "One mark per rig on a logarithmic axis, one row per contender; the tall mark is the median, the dot the 95th percentile. The figures are in the table above.",
    });
    for (value, text) in axis.figures {
        let x = axis.x(value + axis.less, right);
        svg.line("grid", (x, TOP), (x, bottom));
        svg.text("faint", Anchor::Middle, (x, bottom + 17.0), text);
    }
    for (index, contender) in survey.contenders().enumerate() {
        row(&mut svg, survey, contender, measure, TOP + ROW * index as f64, right);
    }
    svg.finish()
}

fn key(measure: Measure) -> &'static str {
    match measure {
        Measure::Ratio => "ratio",
        Measure::Overshoot => "overshoot",
        Measure::Hold => "hold",
    }
}

fn row(svg: &mut Svg, survey: &Survey, contender: Contender, measure: Measure, top: f64, right: f64) {
    let axis = Axis::of(measure);
    let whose = if is_ours(contender) {
        "ours"
    } else if contender.is_limit() {
        "limit"
    } else {
        "rival"
    };
    let spread = survey.spread(contender, measure);
    let floor = top + ROW - 8.0;
    svg.line("grid", (SIDE, floor), (right, floor));
    for outcome in survey.outcomes(contender) {
        let x = axis.x(measure.of(outcome), right);
        svg.line(&format!("rig {whose}"), (x, floor - MARK), (x, floor));
    }
    let (median, p95) = (axis.x(spread.median, right), axis.x(spread.p95, right));
    svg.line(&format!("middle {whose}"), (median, floor - MARK - 3.0), (median, floor + 3.0));
    svg.line(&format!("reach {whose}"), (p95, floor - MARK / 2.0), (p95, floor - MARK / 2.0));
    svg.text("halo", Anchor::Start, (SIDE, top + 14.0), contender.label());
    let figures = [spread.median, spread.p95, spread.worst].map(|value| figure(measure, value)).join(" · ");
    svg.text("faint halo", Anchor::End, (right, top + 14.0), &figures);
}

/// Whether it is ours.
pub(super) const fn is_ours(contender: Contender) -> bool {
    matches!(contender, Contender::OursFirst | Contender::OursSecond)
}
