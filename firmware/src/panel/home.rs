//! Home: the three vessels at a glance.
//!
//! Each vessel has a line: its name (dark on lit while it holds the grant), its temperature in the large font, its target, and the share of
//! power it asks for. The bottom line says whether it is armed, and the step with the time it has left.

use super::draw::{fill, write};
use super::font::{LARGE, SMALL};
use super::text::{self, name, number, short};
use super::{Lost, View};
use crate::drivers::oled::Canvas;
use copperhold_core::vessel::Vessel;

/// Draws it.
pub fn draw(canvas: &mut Canvas, view: &View<'_>) {
    for (row, vessel) in (0_i32..).zip(Vessel::ALL) {
        line(canvas, view, vessel, row * 17);
    }
    bottom(canvas, view);
}

fn line(canvas: &mut Canvas, view: &View<'_>, vessel: Vessel, y: i32) {
    let status = view.supervisor.status();
    let granted = vessel.element().is_some() && view.now.outputs.grant == vessel.element();
    fill(canvas, 0, y + 1, 27, 13, granted);
    write(canvas, &SMALL, 2, y + 3, !granted, name(vessel));
    let reading = text::reading(*status.readings.get(vessel));
    // Right-aligned to five characters, so that digits stay in their places.
    let indent = 5_i32 - i32::try_from(reading.len()).unwrap_or(5);
    write(canvas, &LARGE, 29 + indent.max(0) * 9, y, true, &reading);
    if let Some(target) = status.setpoints.get(vessel) {
        write(canvas, &SMALL, 74, y + 3, true, &short(&[">", &text::celsius(*target)]));
    }
    if let Some(element) = vessel.element() {
        let percent = (status.wanted.get(element).basis_points() + 50) / 100;
        if percent > 0 {
            // Four characters would touch the target.
            let figure = if percent < 100 { short(&[&number(percent), "%"]) } else { short(&["100"]) };
            write(canvas, &SMALL, 128 - i32::try_from(figure.len()).unwrap_or(3) * 6, y + 3, true, &figure);
        }
    }
}

fn bottom(canvas: &mut Canvas, view: &View<'_>) {
    fill(canvas, 0, 52, 128, 12, true);
    let standing = if view.now.outputs.armed {
        "ARMED"
    } else if view.now.block.is_none() {
        "READY"
    } else {
        "SAFE"
    };
    write(canvas, &SMALL, 2, 53, false, standing);
    let right = right_side(view);
    let width = i32::try_from(right.len()).unwrap_or(0) * 6;
    write(canvas, &SMALL, 126 - width, 53, false, &right);
}

fn right_side(view: &View<'_>) -> text::Short {
    match view.now.lost {
        Some(Lost::Sense) => return short(&["sense lost"]),
        Some(Lost::Selector) => return short(&["selector lost"]),
        None => {}
    }
    let Some(step) = view.supervisor.sequencer().and_then(|sequencer| sequencer.present()) else {
        return short(&[if view.now.sheet_steps > 0 { "sheet ready" } else { "by hand" }]);
    };
    let name = text::step(step);
    let directive = view.supervisor.status().directive.as_ref();
    if directive.is_some_and(|directive| directive.stands && directive.prompt.is_none()) {
        return short(&[name, " STANDS"]);
    }
    match directive.and_then(|directive| directive.timer_left) {
        Some(left) => short(&[name, " ", &text::clock(left)]),
        None if view.prompt().is_some() => short(&[name, " - you"]),
        None => short(&[name]),
    }
}
