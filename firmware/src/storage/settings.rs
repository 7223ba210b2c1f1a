//! Settings and learned values as they are stored, and what applies while nothing trustworthy is.

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
use copperhold_core::units::{Celsius, Kelvin, Slope, Span, Watts};
use copperhold_core::vessel::{PerElement, PerVessel, Vessel};
use serde::{Deserialize, Serialize};

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
        postcard::to_slice(&(Plain::from(self), Wiring::from(self), u32::from(self.flow_per_litre)), buffer).ok().map(|used| &*used)
    }

    /// Decodes and checks every figure. `None` on any doubt.
    pub fn decode(bytes: &[u8]) -> Option<Stored> {
        let (plain, rest) = postcard::take_from_bytes::<Plain>(bytes).ok()?;
        // A record of before the wiring was asked for ends here, and the rig has none of it.
        let (wiring, rest) =
            if rest.is_empty() { (Wiring::default(), rest) } else { postcard::take_from_bytes::<Wiring>(rest).ok()? };
        // The same goes for the flow meter.
        let (flow_per_litre, rest) = if rest.is_empty() { (0, rest) } else { postcard::take_from_bytes::<u32>(rest).ok()? };
        let flow_per_litre = u16::try_from(flow_per_litre).ok().filter(|&pulses| pulses <= MOST_PULSES)?;
        let stored = Stored { flow_per_litre, ..plain.stored(&wiring)? };
        (rest.is_empty() && stored.settings().is_ok()).then_some(stored)
    }
}

/// Plain figures in a fixed order. What is added goes to the end, in a part of its own that may be missing, so that the settings survive an
/// update; any other change of this format needs a new [`super::two_slot::VERSION`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Plain {
    mains_50_hz: bool,
    element_w: PerElement<Option<u32>>,
    least_ml: PerElement<u32>,
    greatest_ml: PerElement<u32>,
    limit_milli_c: PerVessel<i32>,
    boiling_milli_c: i32,
    cascade_limit_mk: i32,
    dead_time_ms: u32,
    contactor_settle_ms: u32,
    press_ms: u32,
    probes: PerVessel<PlainProbe>,
    sh1106: bool,
    learned: PerElement<Option<PlainLearned>>,
    mash_offset_mk: Option<i32>,
}

/// What was added to [`Plain`] later.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
struct Wiring {
    fitted: u8,
    coil_pulses: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
enum PlainProbe {
    Rtd { reference_milliohm: u32, wires: u8 },
    OneWire { rom: Option<[u8; 8]> },
    Thermistor { series_ohm: u32, beta_3435: bool },
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct PlainLearned {
    slope_micro: i32,
    lag_ms: u32,
    loss_micro: i32,
}

fn ms(span: Span) -> u32 {
    u32::try_from(span.as_millis()).unwrap_or(u32::MAX)
}

fn span(ms: u32) -> Span {
    Span::from_millis(u64::from(ms))
}

impl From<&Stored> for Plain {
    fn from(stored: &Stored) -> Plain {
        let draft = &stored.draft;
        Plain {
            mains_50_hz: draft.mains == Mains::Hz50,
            element_w: PerElement::build(|element| draft.element_power.get(element).map(Watts::get)),
            least_ml: draft.least_ml,
            greatest_ml: draft.greatest_ml,
            limit_milli_c: PerVessel::build(|vessel| draft.limit.get(vessel).milli()),
            boiling_milli_c: draft.boiling.milli(),
            cascade_limit_mk: draft.cascade_limit.milli(),
            dead_time_ms: ms(draft.timing.dead_time),
            contactor_settle_ms: ms(draft.timing.contactor_settle),
            press_ms: ms(draft.press),
            probes: PerVessel::build(|vessel| plain_probe(*stored.probes.get(vessel))),
            sh1106: stored.display == Chip::Sh1106,
            learned: PerElement::build(|element| {
                stored.knowledge.vessels.get(element).map(|learned| PlainLearned {
                    slope_micro: learned.slope().micro(),
                    lag_ms: ms(learned.lag()),
                    loss_micro: learned.loss().micro(),
                })
            }),
            mash_offset_mk: stored.knowledge.mash_offset.map(Kelvin::milli),
        }
    }
}

impl From<&Stored> for Wiring {
    fn from(stored: &Stored) -> Wiring {
        Wiring { fitted: stored.fitted.bits(), coil_pulses: stored.coil == Coil::Pulses }
    }
}

impl Plain {
    fn stored(&self, wiring: &Wiring) -> Option<Stored> {
        let probe = |vessel: Vessel| choice(*self.probes.get(vessel));
        let probes = PerVessel {
            liquor_tank: probe(Vessel::LiquorTank)?,
            mash_tun: probe(Vessel::MashTun)?,
            boil_kettle: probe(Vessel::BoilKettle)?,
        };
        Some(Stored {
            draft: Draft {
                mains: if self.mains_50_hz { Mains::Hz50 } else { Mains::Hz60 },
                element_power: PerElement::build(|element| self.element_w.get(element).map(Watts::new)),
                least_ml: self.least_ml,
                greatest_ml: self.greatest_ml,
                limit: PerVessel::build(|vessel| Celsius::from_milli(*self.limit_milli_c.get(vessel))),
                boiling: Celsius::from_milli(self.boiling_milli_c),
                cascade_limit: Kelvin::from_milli(self.cascade_limit_mk),
                plausible: PerVessel::build(|_| Limits::EVERY_TICK),
                timing: Timing { dead_time: span(self.dead_time_ms), contactor_settle: span(self.contactor_settle_ms) },
                press: span(self.press_ms.max(500)),
            },
            probes,
            display: if self.sh1106 { Chip::Sh1106 } else { Chip::Ssd1306 },
            fitted: Fitted::from_bits(wiring.fitted)?,
            coil: if wiring.coil_pulses { Coil::Pulses } else { Coil::Level },
            flow_per_litre: 0,
            knowledge: Knowledge {
                vessels: PerElement::build(|element| {
                    self.learned.get(element).map(|plain| {
                        Learned::new(Slope::from_micro(plain.slope_micro), span(plain.lag_ms), Slope::from_micro(plain.loss_micro))
                    })
                }),
                mash_offset: self.mash_offset_mk.map(Kelvin::from_milli),
            },
        })
    }
}

fn plain_probe(choice: Choice) -> PlainProbe {
    match choice {
        Choice::Rtd { element, wires } => PlainProbe::Rtd {
            reference_milliohm: element.r_ref_milliohm(),
            wires: match wires {
                Wires::Two => 2,
                Wires::Three => 3,
                Wires::Four => 4,
            },
        },
        Choice::OneWire { rom } => PlainProbe::OneWire { rom },
        Choice::Thermistor { divider } => {
            PlainProbe::Thermistor { series_ohm: divider.series_ohm(), beta_3435: divider.curve() == Curve::Beta3435 }
        }
    }
}

fn choice(plain: PlainProbe) -> Option<Choice> {
    Some(match plain {
        PlainProbe::Rtd { reference_milliohm, wires } => Choice::Rtd {
            element: Pt100::new(reference_milliohm).ok()?,
            wires: match wires {
                2 => Wires::Two,
                3 => Wires::Three,
                4 => Wires::Four,
                _ => return None,
            },
        },
        PlainProbe::OneWire { rom } => Choice::OneWire { rom },
        PlainProbe::Thermistor { series_ohm, beta_3435 } => {
            let curve = if beta_3435 { Curve::Beta3435 } else { Curve::TenK3 };
            Choice::Thermistor { divider: Divider::new(series_ohm, curve).ok()? }
        }
    })
}
