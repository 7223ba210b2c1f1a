//! Settings and learned values as they are stored, and what applies while nothing trustworthy is.
//!
//! The record is the list of figures in [`Stored::encode`], 32 bits each, and nothing else; any change of it needs a new
//! [`super::two_slot::VERSION`], and a record of another version is in doubt.

use super::figures::{Reader, Writer};
use crate::drivers::max31865::Wires;
use crate::drivers::oled::Chip;
use crate::lines::Coil;
use crate::probes::Choice;
use crate::sense::Fitted;
use copperhold_core::arming;
use copperhold_core::burst::Mains;
use copperhold_core::heat::Learned;
use copperhold_core::interlock::Timing;
use copperhold_core::probe::Limits;
use copperhold_core::probe::rtd::Pt100;
use copperhold_core::probe::thermistor::{Curve, Divider};
use copperhold_core::settings::{Draft, Settings};
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::{Celsius, Kelvin, Span, Watts};
use copperhold_core::vessel::{Element, PerElement, PerVessel, Vessel};

/// The most pulses per litre that a flow meter may give: its pulses between two control ticks are counted in 16 bits with room to spare.
pub const MOST_PULSES: u16 = 10_000;

/// Everything that is set and everything that was learned.
#[derive(Debug, Clone, PartialEq)]
pub struct Stored {
    /// Figures before they are checked together.
    pub draft: Draft,
    /// Thermometers.
    pub probes: PerVessel<Choice>,
    /// Display.
    pub display: Chip,
    /// Sense lines that the rig has.
    pub fitted: Fitted,
    /// How the contactor's line is driven.
    pub coil: Coil,
    /// Pulses per litre of the flow meter behind the mash pump; zero: none fitted.
    pub flow_per_litre: u16,
    /// Learned values.
    pub knowledge: Knowledge,
}

/// Where the settings in force came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Origin {
    /// Stored, whole, and every figure in range.
    Stored,
    /// Nothing was ever stored: safe defaults, to be confirmed at the panel.
    #[default]
    Blank,
    /// What is stored is damaged or out of range: safe defaults, to be confirmed at the panel.
    Damaged,
}

/// Settings that suit no rig in particular and harm none: a strong element over little water is assumed, so that heat comes with caution.
pub fn safe_defaults() -> Stored {
    let rtd = Choice::Rtd { element: Pt100::R_REF_430, wires: Wires::Three };
    Stored {
        draft: Draft {
            mains: Mains::Hz60,
            element_power: PerElement { liquor_tank: Some(Watts::new(5_500)), boil_kettle: Some(Watts::new(5_500)) },
            least_ml: PerElement { liquor_tank: 6_000, boil_kettle: 6_000 },
            greatest_ml: PerElement { liquor_tank: 1_000_000, boil_kettle: 1_000_000 },
            limit: PerVessel {
                liquor_tank: Celsius::from_milli(90_000),
                mash_tun: Celsius::from_milli(90_000),
                boil_kettle: Celsius::from_milli(104_000),
            },
            boiling: Celsius::from_milli(100_000),
            cascade_limit: Kelvin::from_milli(6_000),
            plausible: PerVessel { liquor_tank: Limits::EVERY_TICK, mash_tun: Limits::EVERY_TICK, boil_kettle: Limits::EVERY_TICK },
            timing: Timing::default(),
            press: arming::PRESS,
        },
        probes: PerVessel { liquor_tank: rtd, mash_tun: rtd, boil_kettle: rtd },
        display: Chip::Ssd1306,
        fitted: Fitted::default(),
        coil: Coil::Level,
        flow_per_litre: 0,
        knowledge: Knowledge::default(),
    }
}

impl Stored {
    /// Pulses per litre of the flow meter, if it has its pin: a thermistor in the mash has the same one.
    pub const fn flow_meter(&self) -> u16 {
        match self.probes.mash_tun {
            Choice::Thermistor { .. } => 0,
            Choice::Rtd { .. } | Choice::OneWire { .. } => self.flow_per_litre,
        }
    }

    /// The checked figures. Thresholds of plausibility follow from the kinds of probe.
    ///
    /// # Errors
    /// A figure out of its range.
    pub fn settings(&self) -> Result<Settings, copperhold_core::settings::SettingsError> {
        let plausible = PerVessel::build(|vessel| match self.probes.get(vessel) {
            Choice::OneWire { .. } => Limits::ONE_WIRE,
            Choice::Rtd { .. } | Choice::Thermistor { .. } => Limits::EVERY_TICK,
        });
        Settings::new(Draft { plausible, ..self.draft })
    }

    /// Encodes into `buffer`; gives what was used. `None` if it does not fit.
    pub fn encode<'a>(&self, buffer: &'a mut [u8]) -> Option<&'a [u8]> {
        let mut out = Writer::new(buffer);
        let draft = &self.draft;
        out.put(u32::from(draft.mains == Mains::Hz50));
        for element in Element::ALL {
            out.put(draft.element_power.get(element).map_or(0, Watts::get));
            out.put(*draft.least_ml.get(element));
            out.put(*draft.greatest_ml.get(element));
            for figure in self.knowledge.vessels.get(element).map_or([0; 3], |learned| learned.figures()) {
                out.put(figure);
            }
        }
        for vessel in Vessel::ALL {
            out.put(draft.limit.get(vessel).milli().cast_unsigned());
            for figure in figures_of(*self.probes.get(vessel)) {
                out.put(figure);
            }
        }
        out.put(draft.boiling.milli().cast_unsigned());
        out.put(draft.cascade_limit.milli().cast_unsigned());
        for span in [draft.timing.dead_time, draft.timing.contactor_settle, draft.press] {
            out.put(u32::try_from(span.as_millis()).unwrap_or(u32::MAX));
        }
        out.put(u32::from(self.display == Chip::Sh1106));
        out.put(u32::from(self.fitted.bits()));
        out.put(u32::from(self.coil == Coil::Pulses));
        out.put(u32::from(self.flow_per_litre));
        out.put(u32::from(self.knowledge.mash_offset.is_some()));
        out.put(self.knowledge.mash_offset.unwrap_or_default().milli().cast_unsigned());
        out.finish()
    }

    /// Decodes and checks every figure. `None` on any doubt.
    pub fn decode(bytes: &[u8]) -> Option<Stored> {
        let mut record = Reader::new(bytes);
        let mut stored = safe_defaults();
        let draft = &mut stored.draft;
        draft.mains = if record.flag()? { Mains::Hz50 } else { Mains::Hz60 };
        for element in Element::ALL {
            *draft.element_power.get_mut(element) = Some(record.take()).filter(|&watts| watts > 0).map(Watts::new);
            *draft.least_ml.get_mut(element) = record.take();
            *draft.greatest_ml.get_mut(element) = record.take();
            let figures = [record.take(), record.take(), record.take()];
            *stored.knowledge.vessels.get_mut(element) = (figures != [0; 3]).then(|| Learned::from_figures(figures));
        }
        for vessel in Vessel::ALL {
            *draft.limit.get_mut(vessel) = Celsius::from_milli(record.take().cast_signed());
            *stored.probes.get_mut(vessel) = probe_of([record.take(), record.take(), record.take()])?;
        }
        draft.boiling = Celsius::from_milli(record.take().cast_signed());
        draft.cascade_limit = Kelvin::from_milli(record.take().cast_signed());
        for span in [&mut draft.timing.dead_time, &mut draft.timing.contactor_settle, &mut draft.press] {
            *span = Span::from_millis(u64::from(record.take()));
        }
        stored.display = if record.flag()? { Chip::Sh1106 } else { Chip::Ssd1306 };
        stored.fitted = Fitted::from_bits(u8::try_from(record.take()).ok()?)?;
        stored.coil = if record.flag()? { Coil::Pulses } else { Coil::Level };
        stored.flow_per_litre = u16::try_from(record.take()).ok().filter(|&pulses| pulses <= MOST_PULSES)?;
        let known = record.flag()?;
        let offset = Kelvin::from_milli(record.take().cast_signed());
        stored.knowledge.mash_offset = known.then_some(offset);
        (record.whole() && stored.settings().is_ok()).then_some(stored)
    }
}

/// A probe as three figures: its kind, and two that go with the kind.
fn figures_of(choice: Choice) -> [u32; 3] {
    match choice {
        Choice::Rtd { element, wires } => {
            let wires = match wires {
                Wires::Two => 2,
                Wires::Three => 3,
                Wires::Four => 4,
            };
            [0, element.r_ref_milliohm(), wires]
        }
        Choice::OneWire { rom: None } => [1, 0, 0],
        Choice::OneWire { rom: Some([a, b, c, d, e, f, g, h]) } => {
            [2, u32::from_le_bytes([a, b, c, d]), u32::from_le_bytes([e, f, g, h])]
        }
        Choice::Thermistor { divider } => [3, divider.series_ohm(), u32::from(divider.curve() == Curve::Beta3435)],
    }
}

fn probe_of(figures: [u32; 3]) -> Option<Choice> {
    Some(match figures {
        [0, reference_milliohm, wires] => Choice::Rtd {
            element: Pt100::new(reference_milliohm).ok()?,
            wires: match wires {
                2 => Wires::Two,
                3 => Wires::Three,
                4 => Wires::Four,
                _ => return None,
            },
        },
        [1, 0, 0] => Choice::OneWire { rom: None },
        [2, low, high] => {
            let ([a, b, c, d], [e, f, g, h]) = (low.to_le_bytes(), high.to_le_bytes());
            Choice::OneWire { rom: Some([a, b, c, d, e, f, g, h]) }
        }
        [3, series_ohm, curve] => {
            let curve = match curve {
                0 => Curve::TenK3,
                1 => Curve::Beta3435,
                _ => return None,
            };
            Choice::Thermistor { divider: Divider::new(series_ohm, curve).ok()? }
        }
        _ => return None,
    })
}
