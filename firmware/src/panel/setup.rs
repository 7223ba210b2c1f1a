//! The settings' screen: a list of figures, changed by the knob, stored by a hold, in force after the next start.

use super::Moment;
use super::draw::title;
use super::lists::rows as list;
use super::text::{self, Short, number, short};
use crate::drivers::max31865::Wires;
use crate::drivers::oled::{Canvas, Chip};
use crate::lines::Coil;
use crate::probes::Choice;
use crate::sense::{self, Line};
use crate::storage::Stored;
use crate::storage::settings::MOST_PULSES;
use copperhold_core::burst::Mains;
use copperhold_core::guard::sense::Sense;
use copperhold_core::probe::rtd::Pt100;
use copperhold_core::probe::thermistor::{Curve, Divider};
use copperhold_core::units::{Celsius, Watts};
use copperhold_core::vessel::{Element, Vessel};

/// A row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Row {
    /// Kind of a vessel's thermometer.
    Probe(Vessel),
    /// Power of an element; zero: none fitted.
    Power(Element),
    /// Least volume over an element.
    Least(Element),
    /// Volume of an element's vessel when it is brimful.
    Brimful(Element),
    /// Hard limit of a vessel.
    Limit(Vessel),
    /// Boiling point.
    Boiling,
    /// Mains frequency.
    Mains,
    /// Chip behind the display.
    Display,
    /// Whether the rig has a sense line.
    Sense(Line),
    /// Pulses per litre of the flow meter behind the mash pump.
    Flow,
    /// How the contactor's line is driven.
    Coil,
    /// Look for one-wire thermometers.
    FindOneWire,
    /// Back.
    Back,
}

/// A brimful volume above this was never told, mL; the first turn begins at a usual one.
const BRIMFUL_UNKNOWN: u32 = 500_000;
const BRIMFUL_USUAL: u32 = 40_000;

const ROWS: [Row; 24] = [
    Row::Probe(Vessel::LiquorTank),
    Row::Probe(Vessel::MashTun),
    Row::Probe(Vessel::BoilKettle),
    Row::FindOneWire,
    Row::Power(Element::LiquorTank),
    Row::Power(Element::BoilKettle),
    Row::Least(Element::LiquorTank),
    Row::Least(Element::BoilKettle),
    Row::Brimful(Element::LiquorTank),
    Row::Brimful(Element::BoilKettle),
    Row::Limit(Vessel::LiquorTank),
    Row::Limit(Vessel::MashTun),
    Row::Limit(Vessel::BoilKettle),
    Row::Boiling,
    Row::Mains,
    Row::Display,
    Row::Sense(Line::Contactor),
    Row::Sense(Line::Current(Element::LiquorTank)),
    Row::Sense(Line::Current(Element::BoilKettle)),
    Row::Sense(Line::Level(Element::LiquorTank)),
    Row::Sense(Line::Level(Element::BoilKettle)),
    Row::Flow,
    Row::Coil,
    Row::Back,
];

/// Number of rows.
pub const fn rows() -> usize {
    ROWS.len()
}

/// A row by its number; past the end, the last.
pub fn row(at: u8) -> Row {
    ROWS.get(usize::from(at)).copied().unwrap_or(Row::Back)
}

/// The kinds a person can choose from, with the reference resistor or curve that goes with each.
#[inline(never)]
fn kinds() -> [Choice; 8] {
    let rtd = |element, wires| Choice::Rtd { element, wires };
    let ntc = |curve| Choice::Thermistor { divider: Divider::new(10_000, curve).unwrap_or(Divider::TEN_K3) };
    [
        rtd(Pt100::R_REF_430, Wires::Three),
        rtd(Pt100::R_REF_430, Wires::Two),
        rtd(Pt100::R_REF_430, Wires::Four),
        rtd(Pt100::R_REF_400, Wires::Three),
        rtd(Pt100::R_REF_400, Wires::Four),
        Choice::OneWire { rom: None },
        ntc(Curve::TenK3),
        ntc(Curve::Beta3435),
    ]
}

fn kind_text(choice: &Choice) -> Short {
    match choice {
        Choice::Rtd { element, wires } => {
            let wires = match wires {
                Wires::Two => "2",
                Wires::Three => "3",
                Wires::Four => "4",
            };
            short(&["Pt100 ", wires, "w ", &number(element.r_ref_milliohm() / 1_000)])
        }
        Choice::OneWire { rom: None } => short(&["one-wire"]),
        Choice::OneWire { rom: Some([.., last, _]) } => {
            short(&["one-wire ", text::half_byte(last >> 4), text::half_byte(last & 0xF)])
        }
        Choice::Thermistor { divider } => short(&["NTC ", if divider.curve() == Curve::TenK3 { "10K3" } else { "3435" }]),
    }
}

/// A turn of the knob on a row.
#[inline(never)]
pub fn adjust(row: Row, stored: &mut Stored, by: i8) {
    let draft = &mut stored.draft;
    match row {
        Row::Probe(vessel) => {
            let kinds = kinds();
            let choice = stored.probes.get_mut(vessel);
            let same = |kind: &Choice| match (kind, &*choice) {
                (Choice::OneWire { .. }, Choice::OneWire { .. }) => true,
                (kind, choice) => kind == choice,
            };
            let at = kinds.iter().position(same).and_then(|at| u8::try_from(at).ok()).unwrap_or(0);
            if let Some(kind) = kinds.get(usize::from(super::lists::move_row(at, by, kinds.len()))) {
                *choice = *kind;
            }
        }
        Row::Power(element) => {
            let power = draft.element_power.get_mut(element);
            let watts = power.map_or(0, Watts::get).saturating_add_signed(i32::from(by) * 100).min(20_000);
            *power = (watts >= 100).then(|| Watts::new(watts));
        }
        Row::Least(element) => {
            let ml = draft.least_ml.get_mut(element);
            *ml = ml.saturating_add_signed(i32::from(by) * 500).clamp(1_000, 500_000);
            let brimful = draft.greatest_ml.get_mut(element);
            *brimful = (*brimful).max(*ml);
        }
        Row::Brimful(element) => {
            let ml = draft.greatest_ml.get_mut(element);
            let from = if *ml > BRIMFUL_UNKNOWN { BRIMFUL_USUAL } else { *ml };
            *ml = from.saturating_add_signed(i32::from(by) * 500).min(BRIMFUL_UNKNOWN).max(*draft.least_ml.get(element));
        }
        Row::Limit(vessel) => {
            let limit = draft.limit.get_mut(vessel);
            *limit = Celsius::from_milli((limit.milli() + i32::from(by) * 500).clamp(30_000, 115_000));
        }
        Row::Boiling => draft.boiling = Celsius::from_milli((draft.boiling.milli() + i32::from(by) * 100).clamp(80_000, 103_000)),
        Row::Mains => draft.mains = if draft.mains == Mains::Hz50 { Mains::Hz60 } else { Mains::Hz50 },
        Row::Display => stored.display = if stored.display == Chip::Ssd1306 { Chip::Sh1106 } else { Chip::Ssd1306 },
        Row::Sense(line) => stored.fitted.set(line, by > 0),
        Row::Flow => stored.flow_per_litre = stored.flow_per_litre.saturating_add_signed(i16::from(by) * 10).min(MOST_PULSES),
        Row::Coil => stored.coil = if by > 0 { Coil::Pulses } else { Coil::Level },
        Row::FindOneWire | Row::Back => {}
    }
}

fn text_of(row: Row, stored: &Stored, now: &Sense, flow_ml_per_min: u32) -> Short {
    let draft = &stored.draft;
    let name = |element: Element| text::name(element.vessel());
    match row {
        Row::Probe(vessel) => short(&[text::name(vessel), " ", &kind_text(stored.probes.get(vessel))]),
        Row::Power(element) => match draft.element_power.get(element) {
            Some(power) => short(&[name(element), " ", &number(power.get()), " W"]),
            None => short(&[name(element), " no element"]),
        },
        Row::Least(element) => {
            let tenths = i32::try_from(draft.least_ml.get(element) / 100).unwrap_or(0);
            short(&[name(element), " least ", &text::tenths(tenths), " L"])
        }
        Row::Brimful(element) => match *draft.greatest_ml.get(element) {
            ml if ml > BRIMFUL_UNKNOWN => short(&[name(element), " brimful unknown"]),
            ml => short(&[name(element), " brimful ", &text::tenths(i32::try_from(ml / 100).unwrap_or(0)), " L"]),
        },
        Row::Limit(vessel) => short(&[text::name(vessel), " limit ", &text::celsius(*draft.limit.get(vessel)), " C"]),
        Row::Boiling => short(&["Boils at ", &text::celsius(draft.boiling), " C"]),
        Row::Mains => short(&["Mains ", if draft.mains == Mains::Hz50 { "50" } else { "60" }, " Hz"]),
        Row::Display => short(&["OLED ", if stored.display == Chip::Ssd1306 { "SSD1306" } else { "SH1106" }]),
        Row::Sense(line) => {
            // A line in force says what it reads, so that it can be tried.
            let state = match (stored.fitted.has(line), sense::state(now, line)) {
                (false, _) => "unused",
                (true, None) => "fitted",
                (true, Some(true)) => "closed",
                (true, Some(false)) => "open",
            };
            match line {
                Line::Contactor => short(&["Aux contact ", state]),
                Line::Current(element) => short(&[name(element), " current ", state]),
                Line::Level(element) => short(&[name(element), " level ", state]),
            }
        }
        // A meter in force says what it reads, so that it can be tried.
        Row::Flow if stored.flow_per_litre == 0 => short(&["Flow meter unused"]),
        Row::Flow => {
            let flow = text::tenths(i32::try_from(flow_ml_per_min / 100).unwrap_or(0));
            short(&["Flow ", &number(u32::from(stored.flow_per_litre)), "/L ", &flow, " L/min"])
        }
        Row::Coil => short(&["Coil by ", if stored.coil == Coil::Pulses { "pulses" } else { "level" }]),
        Row::FindOneWire => short(&["Find one-wire (hold)"]),
        Row::Back => short(&["Back"]),
    }
}

/// Draws it.
pub fn draw(canvas: &mut Canvas, at: u8, editing: bool, stored: &Stored, now: &Moment) {
    title(canvas, "SETUP: hold to store");
    list(canvas, at, editing, ROWS.len(), &|at| {
        text_of(row(u8::try_from(at).unwrap_or(u8::MAX)), stored, &now.sense, now.flow_ml_per_min)
    });
}
