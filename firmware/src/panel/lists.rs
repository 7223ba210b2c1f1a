//! Screens that are lists: the menu, a vessel, the sheet, pumps.

use super::draw::{fill, title, write};
use super::font::SMALL;
use super::text::{self, number, short};
use super::{Screen, View};
use crate::drivers::oled::Canvas;
use copperhold_core::vessel::{Pumps, Vessel};

/// The menu.
pub const MENU: [&str; 8] = ["Liquor tank", "Mash tun", "Boil kettle", "Brew sheet", "Pumps", "Arming", "Settings", "Back"];

/// A row of a vessel's screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum VesselRow {
    /// Hold a temperature.
    Hold,
    /// A share of full power.
    Percent,
    /// No heat.
    Off,
    /// Back.
    Back,
}

/// A row of the sheet's screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SheetRow {
    /// Start.
    Start,
    /// Next step.
    Next,
    /// Stop the timer, or let it run.
    Pause,
    /// End the sheet.
    End,
    /// Back.
    Back,
}

/// The sheet's rows.
pub const SHEET: [SheetRow; 5] = [SheetRow::Start, SheetRow::Next, SheetRow::Pause, SheetRow::End, SheetRow::Back];

/// A vessel's rows: the mash tun has no element of its own, so no percentage.
pub const fn vessel_rows(vessel: Vessel) -> &'static [VesselRow] {
    match vessel {
        Vessel::MashTun => &[VesselRow::Hold, VesselRow::Off, VesselRow::Back],
        Vessel::LiquorTank | Vessel::BoilKettle => &[VesselRow::Hold, VesselRow::Percent, VesselRow::Off, VesselRow::Back],
    }
}

/// The row after a turn, stopping at either end.
#[inline(never)]
pub fn move_row(row: u8, by: i8, rows: usize) -> u8 {
    let last = u8::try_from(rows.saturating_sub(1)).unwrap_or(u8::MAX);
    row.saturating_add_signed(by).min(last)
}

/// Where a row of the menu leads.
pub fn target(row: u8, view: &View<'_>) -> Screen {
    let vessel = |vessel: Vessel| {
        let setpoint = view.supervisor.status().setpoints.get(vessel).map_or(60_000, |celsius| celsius.milli());
        // The knob moves by halves.
        Screen::Vessel { vessel, row: 0, editing: false, target_milli: (setpoint + 250) / 500 * 500, percent: 60 }
    };
    match row {
        0 => vessel(Vessel::LiquorTank),
        1 => vessel(Vessel::MashTun),
        2 => vessel(Vessel::BoilKettle),
        3 => Screen::Sheet { row: 0 },
        4 => Screen::Pumps { row: 0 },
        5 => Screen::Arming,
        6 => Screen::Setup { row: 0, editing: false },
        _ => Screen::Home,
    }
}

/// A turn of the knob on a figure: half a degree, or one percent.
pub fn adjust(row: VesselRow, by: i8, target_milli: i32, percent: u8) -> (i32, u8) {
    match row {
        VesselRow::Hold => ((target_milli + i32::from(by) * 500).clamp(5_000, 105_000), percent),
        VesselRow::Percent => (target_milli, percent.saturating_add_signed(by).min(100)),
        VesselRow::Off | VesselRow::Back => (target_milli, percent),
    }
}

/// Rows that fit under the title.
const VISIBLE: usize = 5;

/// Draws rows with a cursor; the chosen row is always visible.
pub fn rows(canvas: &mut Canvas, row: u8, editing: bool, count: usize, text: &dyn Fn(usize) -> text::Short) {
    let chosen = usize::from(row);
    let first = (chosen + 1).saturating_sub(VISIBLE);
    for (at, y) in (first..count.min(first + VISIBLE)).zip((12..).step_by(10)) {
        let here = at == chosen;
        fill(canvas, 0, y, 128, 10, here);
        let mark = if here && editing { "*" } else { " " };
        write(canvas, &SMALL, 0, y, !here, mark);
        write(canvas, &SMALL, 6, y, !here, &text(at));
    }
}

/// Draws the menu.
pub fn menu(canvas: &mut Canvas, row: u8) {
    title(canvas, "WHERE TO");
    rows(canvas, row, false, MENU.len(), &|at| short(&[MENU.get(at).copied().unwrap_or("")]));
}

/// Draws a vessel's screen.
pub fn vessel(canvas: &mut Canvas, vessel: Vessel, row: u8, editing: bool, target_milli: i32, percent: u8) {
    title(canvas, &short(&[text::name(vessel), ": hold to apply"]));
    let list = vessel_rows(vessel);
    rows(canvas, row, editing, list.len(), &|at| match list.get(at) {
        Some(VesselRow::Hold) => short(&["Hold at ", &text::tenths(target_milli / 100), " C"]),
        Some(VesselRow::Percent) => short(&["Power ", &number(u32::from(percent)), " %"]),
        Some(VesselRow::Off) => short(&["Off"]),
        Some(VesselRow::Back) | None => short(&["Back"]),
    });
}

/// Draws the sheet's screen.
pub fn sheet(canvas: &mut Canvas, row: u8, view: &View<'_>, paused: bool) {
    let steps = view.now.sheet_steps;
    match view.supervisor.sequencer() {
        Some(sequencer) => {
            title(
                canvas,
                &short(&["SHEET: step ", &number(u32::from(sequencer.step()) + 1), " of ", &number(sequencer.steps() as u32)]),
            );
        }
        None if steps > 0 => title(canvas, &short(&["SHEET: ", &number(u32::from(steps)), " steps"])),
        None => title(canvas, "SHEET: none"),
    }
    rows(canvas, row, false, SHEET.len(), &|at| {
        short(&[match SHEET.get(at) {
            Some(SheetRow::Start) => "Start (hold)",
            Some(SheetRow::Next) => "Next step (hold)",
            Some(SheetRow::Pause) if paused => "Timer on (hold)",
            Some(SheetRow::Pause) => "Timer off (hold)",
            Some(SheetRow::End) => "End sheet (hold)",
            Some(SheetRow::Back) | None => "Back",
        }])
    });
}

/// Draws the pumps' screen.
pub fn pumps(canvas: &mut Canvas, row: u8, pumps: Pumps) {
    title(canvas, "PUMPS: hold to switch");
    let on = |on: bool| if on { "ON" } else { "off" };
    rows(canvas, row, false, 4, &|at| match at {
        0 => short(&["Liquor pump ", on(pumps.liquor)]),
        1 => short(&["Mash pump   ", on(pumps.mash)]),
        2 => short(&["Wort pump   ", on(pumps.wort)]),
        _ => short(&["Back"]),
    });
}
