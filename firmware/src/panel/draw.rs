//! Pieces every screen is made of, and the screens that are mostly text.

use super::View;
use super::font::{Font, SMALL};
use super::text::{self, number, short};
use crate::buttons::HOLD_TICKS;
use crate::drivers::oled::Canvas;
use crate::storage::settings::Origin;
use copperhold_core::guard::Latch;
use copperhold_core::sequencer::Prompt;
use copperhold_core::wire::message::line;
use embedded_graphics::prelude::Point;

/// Characters in a line of the small font.
pub const COLUMNS: usize = 21;
/// Height of a line of the small font.
pub const ROW: i32 = 10;

/// Writes a text, lit or dark, its top left corner at (x, y).
pub fn write(canvas: &mut Canvas, font: &Font, x: i32, y: i32, lit: bool, text: &str) {
    if !canvas.wants(x, y, u32::from(font.height), lit, text.as_bytes()) {
        return;
    }
    // The library's drawing of text handles every font, and takes a kilobyte more.
    let mut left = x;
    for byte in text.bytes() {
        let corner = font.glyph(byte);
        for down in 0..i32::from(font.height) {
            for right in 0..i32::from(font.width) {
                let ink = font.ink(Point::new(corner.x + right, corner.y + down));
                canvas.put(left + right, y + down, ink == lit);
            }
        }
        left += i32::from(font.width);
    }
}

/// Fills a rectangle.
pub fn fill(canvas: &mut Canvas, x: i32, y: i32, width: u32, height: u32, lit: bool) {
    if canvas.wants(x, y, height, lit, &width.to_le_bytes()) {
        canvas.fill(x, y, width, height, lit);
    }
}

/// A title across the top, dark on lit.
pub fn title(canvas: &mut Canvas, text: &str) {
    fill(canvas, 0, 0, 128, 11, true);
    write(canvas, &SMALL, 2, 1, false, text);
}

/// A text in lines of [`COLUMNS`], broken at spaces, from line `skip` on; gives the number of lines it has.
pub fn wrap(canvas: &mut Canvas, y: i32, rows: i32, skip: u8, text: &str) -> u8 {
    let mut count = 0_u8;
    let mut rest = text;
    while let Some((now, later)) = first_line(rest) {
        let row = i32::from(count) - i32::from(skip);
        if (0..rows).contains(&row) {
            write(canvas, &SMALL, 1, y + row * ROW, true, now);
        }
        count = count.saturating_add(1);
        rest = later;
    }
    count
}

/// The first line of a text and the rest; `None` for nothing but spaces. It ends with the last word that fits, or within one that is longer
/// than a line.
fn first_line(text: &str) -> Option<(&str, &str)> {
    let text = text.get(text.bytes().position(|byte| byte != b' ')?..)?;
    let fits = if text.len() <= COLUMNS {
        text.len()
    } else {
        text.bytes().take(COLUMNS + 1).rposition(|byte| byte == b' ').unwrap_or(COLUMNS)
    };
    let (line, rest) = text.split_at_checked(fits).unwrap_or((text, ""));
    let ends = line.bytes().rposition(|byte| byte != b' ').map_or(0, |at| at + 1);
    Some((line.get(..ends).unwrap_or(line), rest))
}

/// A notice over the bottom line.
pub fn notice(canvas: &mut Canvas, text: &str) {
    fill(canvas, 0, 52, 128, 12, true);
    write(canvas, &SMALL, 2, 53, false, text.get(..COLUMNS).unwrap_or(text));
}

/// The bar that fills while the knob is held.
pub fn hold_bar(canvas: &mut Canvas, held: u8) {
    // A short press is a click: the bar shows only when it goes on.
    if held > 15 {
        fill(canvas, 0, 60, 128, 4, false);
        fill(canvas, 0, 61, u32::from(held) * 128 / u32::from(HOLD_TICKS), 3, true);
    }
}

/// Nothing trustworthy is stored.
pub fn doubt(canvas: &mut Canvas, origin: Origin, skip: u8) {
    title(canvas, "SETTINGS IN DOUBT");
    let text = match origin {
        Origin::Blank => {
            "Nothing is stored. Defaults: 5500 W, Pt100 on 3 wires, 430 ohm, 60 Hz. Hold the knob to use and store them."
        }
        Origin::Damaged | Origin::Stored => {
            "The stored settings are damaged. Hold the knob to use the defaults, then check every one."
        }
    };
    wrap(canvas, 13, 5, skip, text);
}

/// A trip: what happened, what to do.
pub fn trip(canvas: &mut Canvas, latch: &Latch, skip: u8) {
    title(canvas, "TRIP - ALL OFF");
    let cause = line(&latch.trip.words());
    let lines = wrap(canvas, 13, 5, skip, &cause);
    let below = i32::from(lines) - i32::from(skip);
    wrap(canvas, 13 + below.max(0) * ROW, 5 - below.max(0), skip.saturating_sub(lines), latch.trip.remedy());
    let button = if latch.later > 0 { short(&[&number(u32::from(latch.later)), " more"]) } else { short(&["turn"]) };
    let width = i32::try_from(button.len()).unwrap_or(0) * 6;
    write(canvas, &SMALL, 126 - width, 1, false, &button);
}

/// What a person is asked.
pub fn prompt(canvas: &mut Canvas, prompt: Prompt) {
    title(canvas, "YOUR TURN");
    let lines = wrap(canvas, 14, 3, 0, prompt.ask());
    if let Some(volume) = prompt.volume() {
        let figure = short(&[&text::tenths(volume.millilitres() / 100), " L"]);
        write(canvas, &SMALL, 1, 14 + i32::from(lines.min(3)) * ROW, true, &figure);
    }
    write(canvas, &SMALL, 1, 54, true, "done? hold the knob");
}

/// Armed, or what stands in the way.
pub fn arming(canvas: &mut Canvas, view: &View<'_>) {
    title(canvas, if view.now.outputs.armed { "ARMED" } else { "NOT ARMED" });
    let text = match view.now.block {
        _ if view.now.outputs.armed => "Turn the key off to disarm. The stop button takes everything off at once.",
        Some(block) => block.remedy(),
        None => "Ready: press and hold the green button.",
    };
    wrap(canvas, 14, 5, 0, text);
}
