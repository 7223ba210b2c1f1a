//! What is drawn, and within which bounds. The help text, the report's table and the drawing itself all read it from here.

use crate::plant::rng::Pcg;
use crate::rig::ProbeKind;

/// How a quantity is spread over its range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Evenly {
    /// Every value is as likely.
    Plain,
    /// Every ratio is as likely: as many rigs between 10 and 20 L as between 75 and 150 L.
    ByRatio,
}

/// A range from which a quantity is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// What it is.
    pub name: &'static str,
    /// Its unit; empty for a plain number.
    pub unit: &'static str,
    /// Lowest value.
    pub low: f64,
    /// Highest value.
    pub high: f64,
    /// How it is spread.
    pub evenly: Evenly,
}

impl Range {
    const fn plain(name: &'static str, unit: &'static str, low: f64, high: f64) -> Range {
        Range { name, unit, low, high, evenly: Evenly::Plain }
    }

    const fn by_ratio(name: &'static str, unit: &'static str, low: f64, high: f64) -> Range {
        Range { name, unit, low, high, evenly: Evenly::ByRatio }
    }

    /// Draws a value.
    pub fn draw(&self, pcg: &mut Pcg) -> f64 {
        match self.evenly {
            Evenly::Plain => self.low + (self.high - self.low) * pcg.uniform(),
            Evenly::ByRatio => self.low * (self.high / self.low).powf(pcg.uniform()),
        }
    }

    /// Whether a value lies in it.
    pub fn contains(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }
}

/// Water in the vessel.
pub const LITRES: Range = Range::by_ratio("water", "L", 10.0, 150.0);
/// Filling as a share of the vessel's capacity.
pub const FILL: Range = Range::plain("share of the vessel that is filled", "", 0.5, 0.95);
/// Rated power of the element at 240 V.
pub const POWER_W: Range = Range::by_ratio("rated element power", "W", 1500.0, 11_000.0);
/// Mains voltage; the controller believes 240 V.
pub const MAINS_V: Range = Range::plain("mains voltage, rated 240 V", "V", 216.0, 264.0);
/// Total lag from element to reading.
pub const LAG_S: Range = Range::plain("total lag, element to reading", "s", 10.0, 110.0);
/// The sheath's weight in the split of the lag; mixing, delay and probe weigh up to 1.
pub const SHEATH_WEIGHT: Range = Range::plain("weight of the sheath in the lag", "", 0.0, 0.5);
/// The weight of mixing, delay and probe, each, in the split of the lag.
pub const OTHER_WEIGHT: Range = Range::plain("weight of mixing, transport delay and probe, each", "", 0.0, 1.0);
/// How far the sheath runs above the water at rated power.
pub const SHEATH_RISE_K: Range = Range::plain("sheath above water at rated power", "K", 15.0, 60.0);
/// Noise of the reading before it is quantised.
pub const NOISE_K: Range = Range::plain("probe noise (standard deviation)", "K", 0.0, 0.1);
/// Diameter as a share of that of a vessel as high as wide.
pub const WIDTH: Range = Range::plain("diameter over that of a vessel as high as wide", "", 0.85, 1.2);
/// Share of the bare wall's loss that insulation stops.
pub const INSULATION: Range = Range::plain("share of wall loss stopped by insulation", "", 0.0, 0.8);
/// Emissivity of the outer wall.
pub const EMISSIVITY: Range = Range::plain("emissivity of the wall", "", 0.15, 0.9);
/// Temperature of the room.
pub const AIR_C: Range = Range::plain("room", "°C", 5.0, 30.0);
/// Relative humidity of the room.
pub const HUMIDITY: Range = Range::plain("relative humidity", "", 0.3, 0.8);
/// Water at the start, from the tap.
pub const START_C: Range = Range::plain("start, five of six rigs", "°C", 5.0, 25.0);
/// Water at the start, already warm.
pub const WARM_START_C: Range = Range::plain("start, one of six rigs", "°C", 30.0, 60.0);
/// Target.
pub const TARGET_C: Range = Range::plain("target", "°C", 50.0, 80.0);

/// Every range, in the order of tables.
pub const ALL: [Range; 17] = [
    LITRES,
    FILL,
    POWER_W,
    MAINS_V,
    LAG_S,
    SHEATH_WEIGHT,
    OTHER_WEIGHT,
    SHEATH_RISE_K,
    NOISE_K,
    WIDTH,
    INSULATION,
    EMISSIVITY,
    AIR_C,
    HUMIDITY,
    START_C,
    WARM_START_C,
    TARGET_C,
];

/// Probe kinds, each as likely, and their quantisation near 70 C.
pub const PROBES: [(ProbeKind, &str); 3] = [
    (ProbeKind::Pt100, "Pt100 on a 15-bit front end: steps of 0.03 K, every tick"),
    (ProbeKind::Ntc10k, "10 kilo-ohm thermistor on a 12-bit converter: steps of 0.07 K, every tick"),
    (ProbeKind::Ds18b20, "one-wire digital thermometer: steps of 0.0625 K, every 0.75 s"),
];

/// Share of rigs with a lid.
pub const LIDDED: f64 = 0.5;
/// Share of rigs that start warm.
pub const WARM: f64 = 1.0 / 6.0;
/// A rig that loses more than this share of its power at the target is drawn again.
pub const MOST_LOSS: f64 = 0.5;
/// A rig whose water is nearer to its target than this at the start is drawn again, K.
pub const LEAST_RISE_K: f64 = 5.0;

/// What is drawn again, as sentences.
pub const REDRAWN: [&str; 3] = [
    "Drawn again: a rig that loses more than half of its power at the target;",
    "one that the controller's own settings refuse (it could climb by more than 1 K/s at the least volume over its element);",
    "a start less than 5 K below the target.",
];
