//! Settings and learned values as they are stored, and what applies while nothing trustworthy is.
//!
//! The record is the list of figures in `Stored::pass`, 32 bits each, and nothing else; any change of it needs a new
//! [`super::two_slot::VERSION`], and a record of another version is in doubt.

use super::figures::{Bytes, Pass};
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
// Small fields first: what lies far from the start takes more instructions to reach.
#[repr(C)]
pub struct Stored {
    /// Display.
    pub display: Chip,
    /// How the contactor's line is driven.
    pub coil: Coil,
    /// Pulses per litre of the flow meter behind the mash pump; zero: none fitted.
    pub flow_per_litre: u16,
    /// Sense lines that the rig has.
    pub fitted: Fitted,
    /// Figures before they are checked together.
    pub draft: Draft,
    /// Thermometers.
    pub probes: PerVessel<Choice>,
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
    #[inline(never)]
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
        let used = self.clone().pass(Bytes::Write(buffer))?;
        buffer.get(..used)
    }

    /// Decodes and checks every figure. `None` on any doubt.
    pub fn decode(bytes: &[u8]) -> Option<Stored> {
        let mut stored = safe_defaults();
        stored.pass(Bytes::Read(bytes))?;
        stored.settings().is_ok().then_some(stored)
    }

    /// Goes through the record, figure by figure; gives its length. `None` on any doubt.
    #[inline(never)]
    fn pass(&mut self, bytes: Bytes<'_>) -> Option<usize> {
        let mut record = Pass::new(bytes);
        let draft = &mut self.draft;
        draft.mains = if record.flag(draft.mains == Mains::Hz50)? { Mains::Hz50 } else { Mains::Hz60 };
        for element in Element::ALL {
            let power = draft.element_power.get_mut(element);
            *power = Some(record.figure(power.map_or(0, Watts::get))).filter(|&watts| watts > 0).map(Watts::new);
            for volume in [draft.least_ml.get_mut(element), draft.greatest_ml.get_mut(element)] {
                *volume = record.figure(*volume);
            }
            let learned = self.knowledge.vessels.get_mut(element);
            let figures = learned.map_or([0; 3], |learned| learned.figures()).map(|figure| record.figure(figure));
            *learned = (figures != [0; 3]).then(|| Learned::from_figures(figures));
        }
        for vessel in Vessel::ALL {
            let limit = draft.limit.get_mut(vessel);
            *limit = Celsius::from_milli(record.figure(limit.milli().cast_unsigned()).cast_signed());
            let probe = self.probes.get_mut(vessel);
            *probe = probe_of(figures_of(*probe).map(|figure| record.figure(figure)))?;
        }
        draft.boiling = Celsius::from_milli(record.figure(draft.boiling.milli().cast_unsigned()).cast_signed());
        draft.cascade_limit = Kelvin::from_milli(record.figure(draft.cascade_limit.milli().cast_unsigned()).cast_signed());
        for span in [&mut draft.timing.dead_time, &mut draft.timing.contactor_settle, &mut draft.press] {
            *span = Span::from_millis(u64::from(record.figure(u32::try_from(span.as_millis()).unwrap_or(u32::MAX))));
        }
        self.display = if record.flag(self.display == Chip::Sh1106)? { Chip::Sh1106 } else { Chip::Ssd1306 };
        self.fitted = Fitted::from_bits(u8::try_from(record.figure(u32::from(self.fitted.bits()))).ok()?)?;
        self.coil = if record.flag(self.coil == Coil::Pulses)? { Coil::Pulses } else { Coil::Level };
        let pulses = record.figure(u32::from(self.flow_per_litre));
        self.flow_per_litre = u16::try_from(pulses).ok().filter(|&pulses| pulses <= MOST_PULSES)?;
        let offset = &mut self.knowledge.mash_offset;
        let known = record.flag(offset.is_some())?;
        let figure = record.figure(offset.unwrap_or_default().milli().cast_unsigned());
        *offset = known.then_some(Kelvin::from_milli(figure.cast_signed()));
        record.whole()
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
