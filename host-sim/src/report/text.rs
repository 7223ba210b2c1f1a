//! The day as a table for a terminal: plain text, at most [`COLUMNS`] wide.

use copperhold_core::vessel::Element;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use super::facts::{self, StepLine};
use super::measure::{Measure, clock, fixed, plain};
use crate::day::Day;

/// No line is wider than this.
pub const COLUMNS: usize = 100;

const GAP: &str = "  ";
const INDENT: &str = "  ";

/// The day's table in the reader's units.
pub fn table(day: &Day) -> String {
    let mut page = Page::default();
    heading(&mut page, day);
    steps(&mut page, day);
    energy(&mut page, day);
    volumes(&mut page, day);
    heat_ups(&mut page, day);
    events(&mut page, day);
    page.text
}

/// Collects lines; wraps what is too long.
#[derive(Default)]
struct Page {
    text: String,
}

impl Page {
    fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    fn section(&mut self, title: &str) {
        self.line("");
        self.line(title);
    }

    fn paragraph(&mut self, first: &str, text: &str) {
        let indent = " ".repeat(first.width());
        for (index, piece) in wrap(text, COLUMNS - first.width()).iter().enumerate() {
            let lead = if index == 0 { first } else { &indent };
            self.line(&format!("{lead}{piece}"));
        }
    }
}

fn heading(page: &mut Page, day: &Day) {
    let verdict = facts::verdict(day);
    page.paragraph("", &format!("{} on {}, seed {}", plain(&day.sheet), plain(&day.rig), day.seed));
    page.paragraph("", &verdict.headline);
    for reason in &verdict.reasons {
        page.paragraph(INDENT, reason);
    }
    for trip in &day.trips {
        page.paragraph(&format!("{INDENT}{}  ", clock(trip.t_s)), &facts::trip_text(&trip.cause, &trip.remedy));
    }
}

fn steps(page: &mut Page, day: &Day) {
    let units = Measure(day.units);
    page.section(&format!(
        "Steps (temperatures in {0}; over: furthest past the target; hold: RMS distance from it)",
        units.degrees()
    ));
    let lines = facts::step_lines(day);
    let heads = ["start", "planned", "took", "from", "to", "target", "over", "hold", "kWh"];
    let rows: Vec<[&str; 9]> = lines.iter().map(figures).collect();
    let widths: Vec<usize> = (0..heads.len()).map(|column| column_width(heads[column], &rows, column)).collect();
    let number_width = lines.last().map_or(1, |line| line.number.width());
    let figures_width: usize = widths.iter().map(|width| width + GAP.len()).sum();
    let room = COLUMNS.saturating_sub(number_width + GAP.len() + figures_width).max(8);
    let name_width = lines.iter().map(|line| line.name.width()).max().unwrap_or(0).clamp(4, room);
    let row = |number: &str, name: &str, figures: &[&str]| {
        let mut text = format!("{}{GAP}{}", right(number, number_width), left(name, name_width));
        for (figure, width) in figures.iter().zip(&widths) {
            text.push_str(GAP);
            text.push_str(&right(figure, *width));
        }
        text
    };
    page.line(&row("", "step", &heads));
    for (line, figures) in lines.iter().zip(&rows) {
        let pieces = wrap(&line.name, name_width);
        page.line(&row(&line.number, pieces.first().map_or("", String::as_str), figures));
        for piece in pieces.iter().skip(1) {
            page.line(&row("", piece, &[]));
        }
    }
}

fn figures(line: &StepLine) -> [&str; 9] {
    [&line.start, &line.planned, &line.took, &line.from, &line.to, &line.target, &line.over, &line.hold, &line.energy]
}

fn column_width(head: &str, rows: &[[&str; 9]], column: usize) -> usize {
    rows.iter().map(|row| row[column].width()).max().unwrap_or(0).max(head.width())
}

fn energy(page: &mut Page, day: &Day) {
    let account = &day.energy;
    let total = account.total_kwh();
    page.section("Energy (kWh)");
    amount(page, "in, liquor tank", &fixed(account.element_kwh.liquor_tank, 2), "");
    amount(page, "in, boil kettle", &fixed(account.element_kwh.boil_kettle, 2), "");
    amount(page, "in, both", &fixed(total, 2), "");
    for (name, kwh) in facts::energy_uses(account) {
        amount(page, name, &fixed(kwh, 2), &facts::share_text(kwh, total));
    }
    for text in facts::yielded_texts(day) {
        page.paragraph(INDENT, &format!("{text}."));
    }
}

fn volumes(page: &mut Page, day: &Day) {
    let units = Measure(day.units);
    let volumes = &day.volumes;
    let volume = |litres: f64| facts::volume_text(units, litres);
    page.section("Volumes (cold)");
    amount(page, "strike water", &volume(volumes.strike_l), "");
    amount(page, "sparge water", &volume(volumes.sparge_l), "");
    amount(page, "kettle, boil begins", &volume(volumes.pre_boil_l), "");
    amount(page, "kettle, boil ends", &volume(volumes.post_boil_l), "");
    amount(page, "boil-off", &facts::boil_off_text(day), &facts::dry_loss_text(day));
}

fn amount(page: &mut Page, name: &str, figure: &str, note: &str) {
    page.line(&format!("{INDENT}{}{GAP}{}{GAP}{}", left(name, 32), right(figure, 10), right(note, 6)));
}

fn heat_ups(page: &mut Page, day: &Day) {
    for element in Element::ALL {
        let texts = facts::heat_up_texts(day, element);
        if texts.is_empty() {
            continue;
        }
        page.section(&format!("Heat-ups, {}", element.vessel().label()));
        for text in texts {
            page.paragraph(INDENT, &text);
        }
    }
}

fn events(page: &mut Page, day: &Day) {
    page.section("Events");
    let timed = |page: &mut Page, t_s: f64, text: &str| page.paragraph(&format!("{INDENT}{}  ", right(&clock(t_s), 5)), text);
    for addition in &day.additions {
        timed(page, addition.t_s, &facts::addition_text(addition));
    }
    for advice in &day.advice {
        timed(page, advice.t_s, &format!("advice: {}", plain(&advice.text)));
    }
    page.paragraph(INDENT, &facts::waits_text(day));
    page.paragraph(INDENT, if day.trips.is_empty() { "No trip." } else { "Trips are listed at the top." });
    page.paragraph(INDENT, &facts::interlock_text(day));
}

fn left(text: &str, width: usize) -> String {
    format!("{text}{}", " ".repeat(width.saturating_sub(text.width())))
}

fn right(text: &str, width: usize) -> String {
    format!("{}{text}", " ".repeat(width.saturating_sub(text.width())))
}

/// Breaks text at spaces, and inside a word only where the word alone is too wide.
pub(crate) fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let used = lines.last().map_or(0, |line| line.width());
        if used > 0 && used + 1 + word.width() > width {
            lines.push(String::new());
        }
        let line = lines.last_mut().expect("there is always a line");
        if !line.is_empty() {
            line.push(' ');
        }
        push_word(&mut lines, word, width);
    }
    lines
}

fn push_word(lines: &mut Vec<String>, word: &str, width: usize) {
    for letter in word.chars() {
        let used = lines.last().map_or(0, |line| line.width());
        if used > 0 && used + letter.width().unwrap_or(0) > width {
            lines.push(String::new());
        }
        lines.last_mut().expect("there is always a line").push(letter);
    }
}
