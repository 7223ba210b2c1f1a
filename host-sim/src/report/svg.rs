//! A small writer of SVG: just what the charts need, with every text escaped.

use std::fmt::{Display, Write};

use super::measure::plain;

/// Text made safe for HTML and XML, in elements and in quoted attributes.
pub fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in plain(text).chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            letter => safe.push(letter),
        }
    }
    safe
}

/// A coordinate with at most one decimal.
pub struct At(pub f64);

impl Display for At {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let tenths = (self.0 * 10.0).round() / 10.0 + 0.0;
        write!(formatter, "{tenths}")
    }
}

/// Where a text is held.
#[derive(Clone, Copy)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

impl Anchor {
    fn key(self) -> &'static str {
        match self {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        }
    }
}

/// What the root element says about the picture.
pub struct Opening<'a> {
    pub class: &'a str,
    pub id: &'a str,
    pub width: f64,
    pub height: f64,
    /// Left and right end of the time axis, for the cursor.
    pub axis: (f64, f64),
    /// Upper and lower edge of the plot, for the cursor.
    pub plot: (f64, f64),
    pub label: &'a str,
    pub description: &'a str,
}

/// A picture in the making.
pub struct Svg {
    out: String,
}

impl Svg {
    pub fn open(opening: &Opening<'_>) -> Self {
        let Opening { class, id, width, height, axis, plot, label, description } = opening;
        let (label, description) = (escape(label), escape(description));
        let mut svg = Svg { out: String::new() };
        svg.push(format_args!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"{class}\" viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{label}\" \
             aria-describedby=\"{id}\" data-left=\"{}\" data-right=\"{}\" data-top=\"{}\" data-bottom=\"{}\"><desc id=\"{id}\">{description}</desc>",
            At(*width),
            At(*height),
            At(axis.0),
            At(axis.1),
            At(plot.0),
            At(plot.1)
        ));
        svg
    }

    pub fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        self.push(format_args!(
            "<line class=\"{class}\" x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\"/>",
            At(from.0),
            At(from.1),
            At(to.0),
            At(to.1)
        ));
    }

    pub fn rect(&mut self, class: &str, (x, y): (f64, f64), (width, height): (f64, f64)) {
        self.push(format_args!(
            "<rect class=\"{class}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
            At(x),
            At(y),
            At(width),
            At(height)
        ));
    }

    pub fn path(&mut self, class: &str, data: &str) {
        if !data.is_empty() {
            self.push(format_args!("<path class=\"{class}\" d=\"{data}\"/>"));
        }
    }

    pub fn text(&mut self, class: &str, anchor: Anchor, (x, y): (f64, f64), text: &str) {
        let anchor = anchor.key();
        let text = escape(text);
        self.push(format_args!("<text class=\"{class}\" text-anchor=\"{anchor}\" x=\"{}\" y=\"{}\">{text}</text>", At(x), At(y)));
    }

    pub fn finish(mut self) -> String {
        self.out.push_str("</svg>\n");
        self.out
    }

    fn push(&mut self, piece: std::fmt::Arguments<'_>) {
        let _ = self.out.write_fmt(piece);
    }
}
