//! The frame that all charts share: sizes, the time axis, the step bands, the trip marks.

use super::facts;
use super::measure::clock;
use super::svg::{Anchor, At, Opening, Svg};
use crate::day::Day;

/// Height of the letters of every chart, in its own units.
const LETTER: f64 = 12.0;

/// Mean width of a letter, on the generous side so that labels keep clear of each other.
const LETTER_WIDTH: f64 = 0.58 * LETTER;

/// How wide a chart is drawn. The page holds all three and shows the one that fits.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Size {
    Wide,
    Medium,
    Narrow,
}

impl Size {
    pub const ALL: [Size; 3] = [Size::Wide, Size::Medium, Size::Narrow];

    pub fn key(self) -> &'static str {
        match self {
            Size::Wide => "wide",
            Size::Medium => "medium",
            Size::Narrow => "narrow",
        }
    }

    pub fn width(self) -> f64 {
        match self {
            Size::Wide => 1040.0,
            Size::Medium => 640.0,
            Size::Narrow => 344.0,
        }
    }
}

/// Room above the plot: for the step numbers, and for each row of trip labels between those and the plot.
const NUMBERS: f64 = 20.0;
const TRIP_ROW: f64 = 16.0;

/// Room below the plot, and at its sides.
const BOTTOM: f64 = 22.0;
const LEFT: f64 = 46.0;
const RIGHT: f64 = 10.0;

/// One chart's frame.
pub struct Frame<'a> {
    pub day: &'a Day,
    pub size: Size,
    pub plot_height: f64,
    span_s: f64,
    trips: Vec<TripLabel>,
    top: f64,
}

/// Where the label of a trip goes.
struct TripLabel {
    x: f64,
    row: f64,
    turned: bool,
    text: String,
}

impl<'a> Frame<'a> {
    pub fn new(day: &'a Day, size: Size, plot_height: f64) -> Self {
        let mut frame = Frame { day, size, plot_height, span_s: facts::length_s(day).max(60.0), trips: Vec::new(), top: NUMBERS };
        frame.place_trips();
        frame
    }

    pub fn left(&self) -> f64 {
        LEFT
    }

    pub fn right(&self) -> f64 {
        self.size.width() - RIGHT
    }

    pub fn top(&self) -> f64 {
        self.top
    }

    pub fn bottom(&self) -> f64 {
        self.top + self.plot_height
    }

    /// Where a moment lies; not a number stays that, and is left out by whoever draws.
    pub fn x(&self, t_s: f64) -> f64 {
        LEFT + (self.right() - LEFT) * (t_s / self.span_s).clamp(0.0, 1.0)
    }

    /// Opens the picture and draws what lies behind the curves.
    pub fn open(&self, name: &str, label: &str, description: &str) -> Svg {
        let mut svg = Svg::open(&Opening {
            class: &format!("chart {}", self.size.key()),
            id: &format!("{name}-{}", self.size.key()),
            width: self.size.width(),
            height: self.bottom() + BOTTOM,
            axis: (self.left(), self.right()),
            plot: (self.top, self.bottom()),
            label,
            description,
        });
        self.bands(&mut svg);
        self.time_axis(&mut svg);
        self.trip_marks(&mut svg);
        svg
    }

    fn bands(&self, svg: &mut Svg) {
        let mut taken = f64::NEG_INFINITY;
        for (index, step) in self.day.steps.iter().enumerate() {
            let (from, to) = (self.x(step.started_s), self.x(step.ended_s));
            if !(from.is_finite() && to > from) {
                continue;
            }
            if index % 2 == 0 {
                svg.rect("band", (from, self.top), (to - from, self.plot_height));
            }
            let number = (index + 1).to_string();
            let named = format!("{number} {}", step.name);
            let label = if text_width(&named) + 8.0 < to - from { named } else { number };
            let middle = (from + to) / 2.0;
            let half = text_width(&label) / 2.0 + 1.5;
            if middle - half > taken && middle + half < self.size.width() {
                svg.text("faint", Anchor::Middle, (middle, NUMBERS - 6.0), &label);
                taken = middle + half;
            }
        }
    }

    fn time_axis(&self, svg: &mut Svg) {
        let floor = self.bottom();
        let every = self.tick_s();
        let mut t_s = 0.0;
        while t_s <= self.span_s {
            let x = self.x(t_s);
            svg.line("tick", (x, floor), (x, floor + 4.0));
            let anchor = if self.right() - x < 14.0 { Anchor::End } else { Anchor::Middle };
            svg.text("faint", anchor, (x, floor + 17.0), &clock(t_s));
            t_s += every;
        }
        svg.line("axis", (self.left(), floor), (self.right(), floor));
    }

    fn tick_s(&self) -> f64 {
        let least_gap = 48.0 / (self.right() - self.left()) * self.span_s;
        let nice = [60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 14400.0];
        nice.into_iter().find(|every| *every >= least_gap).unwrap_or((least_gap / 86400.0).ceil() * 86400.0)
    }

    fn place_trips(&mut self) {
        let mut rows = Rows::default();
        for (index, trip) in self.day.trips.iter().enumerate() {
            let x = self.x(trip.t_s);
            if !x.is_finite() {
                continue;
            }
            let text = format!("trip {}", index + 1);
            let width = text_width(&text) + 16.0;
            let turned = x + width > self.right();
            let (start, end) = if turned { (x - width, x + 6.0) } else { (x - 6.0, x + width) };
            self.trips.push(TripLabel { x, row: rows.place(start, end), turned, text });
        }
        self.top = NUMBERS + TRIP_ROW * rows.count();
    }

    /// Marks each trip with a line, a wedge and its number.
    fn trip_marks(&self, svg: &mut Svg) {
        for TripLabel { x, row, turned, text } in &self.trips {
            let y = NUMBERS + TRIP_ROW * row + 11.0;
            svg.line("trip-line", (*x, y), (*x, self.bottom()));
            svg.path("trip-wedge", &format!("M{} {}l6 -9h-12z", At(*x), At(y)));
            let (anchor, at) = if *turned { (Anchor::End, x - 9.0) } else { (Anchor::Start, x + 9.0) };
            svg.text("trip-text", anchor, (at, y), text);
        }
    }
}

/// Rows of labels: each label takes the first row in which it is clear of the one before.
#[derive(Default)]
pub struct Rows {
    ends: Vec<f64>,
}

impl Rows {
    /// How many rows are in use.
    pub fn count(&self) -> f64 {
        self.ends.len() as f64
    }

    /// The row for a label that spans from `start` to `end`.
    pub fn place(&mut self, start: f64, end: f64) -> f64 {
        let free = self.ends.iter().position(|taken| *taken + 2.0 < start);
        let row = free.unwrap_or(self.ends.len());
        match self.ends.get_mut(row) {
            Some(taken) => *taken = end,
            None => self.ends.push(end),
        }
        row as f64
    }
}

/// How wide a label will be, about.
pub fn text_width(text: &str) -> f64 {
    use unicode_width::UnicodeWidthStr;
    text.width() as f64 * LETTER_WIDTH
}
