//! The state of the watch: what the brewery looks like now, for anybody who looks.
//!
//! [`Now`] is one moment: it changes four times a second and says how old it is. [`About`] is what does not change from moment to moment:
//! who is watched, the sheet, the rig. Both are plain data. Temperatures are in degrees Celsius, times in seconds, shares of full power from
//! 0 to 1, whatever units the brewer prefers; [`About::units`] says which to show.

use crate::day::Units;
use copperhold_core::vessel::{Element, PerElement, PerVessel, Pumps, Vessel};
use serde::{Serialize, Serializer};

/// Version of these types, as others see them. It goes up when a field is removed or changes its meaning.
pub const SCHEMA: u32 = 1;
/// A state older than this is shown as old, s.
pub const STALE_S: f64 = 3.0;

/// What is watched. A rehearsal never passes for a board.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Source {
    /// A simulation: no water is heated.
    Rehearsal {
        /// Seconds of the day in a second.
        speed: f64,
        /// The fault that is injected on purpose, in words.
        drill: Option<String>,
    },
    /// A controller on a serial port.
    Board {
        /// The port.
        port: String,
        /// Its firmware's version; empty until it has said so.
        firmware: String,
        /// Why it last restarted; empty until it has said so.
        restarted: String,
    },
}

impl Source {
    /// Whether it is a simulation.
    pub const fn is_rehearsal(&self) -> bool {
        matches!(self, Source::Rehearsal { .. })
    }
}

/// How the source is reached.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "state", rename_all = "snake_case")]
pub enum Link {
    /// Nothing has come yet.
    Waiting {
        /// What is waited for, or why it cannot be reached.
        why: String,
    },
    /// News comes.
    Live,
    /// News came, and comes no more. What is shown is old.
    Lost {
        /// Why, in plain words.
        why: String,
    },
    /// The rehearsed day is over; what is shown is its end.
    Over,
}

/// One moment of a brewery.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Now {
    /// [`SCHEMA`].
    pub schema: u32,
    /// Counts every moment that was sent out since this program started: a reader that sees a gap has missed some.
    pub count: u64,
    /// Time of the source since its start, s.
    pub at_s: f64,
    /// Age of what is shown, s: time of this host since the source said it, and how late it was said.
    pub age_s: f64,
    /// Older than [`STALE_S`], or the link is lost: show it as old.
    pub stale: bool,
    /// Number that the source drew at its start. Another number: it has restarted.
    pub boot: u32,
    /// What is watched.
    pub source: Source,
    /// How it is reached.
    pub link: Link,
    /// Each vessel.
    pub vessels: PerVessel<VesselNow>,
    /// Which element holds the grant, if any.
    #[serde(serialize_with = "element_key")]
    pub grant: Option<Element>,
    /// The contactor's coil is commanded.
    pub contactor: bool,
    /// A person has armed it at the panel.
    pub armed: bool,
    /// The stop loop is closed.
    pub stop_loop: bool,
    /// The key is on.
    pub key: bool,
    /// What stands in the way of arming, and what to do about it.
    pub block: Option<String>,
    /// Which pumps run.
    pub pumps: Pumps,
    /// The latched trip.
    pub trip: Option<TripNow>,
    /// Warnings that tripped nothing, newest last; at most [`MOST_ADVICE`].
    pub advice: Vec<AdviceNow>,
    /// The step under way, while a sheet runs.
    pub step: Option<StepNow>,
    /// What a person is asked.
    pub prompt: Option<PromptNow>,
    /// The step's timer, while it has one.
    pub timer: Option<TimerNow>,
    /// Additions of the boil under way, first one first, and those called in the last [`CALLED_FOR_S`].
    pub additions: Vec<AdditionNow>,
    /// Electric energy since this watch began, kWh; `None` where no element's power is known.
    pub energy_kwh: Option<f64>,
    /// What else a person should know: the logbook cannot be written, the board dropped frames.
    pub cautions: Vec<String>,
}

/// Most warnings that are kept in a [`Now`].
pub const MOST_ADVICE: usize = 5;
/// An addition stays in view for this long after it was called, s.
pub const CALLED_FOR_S: f64 = 180.0;

/// One vessel.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct VesselNow {
    /// What its thermometer reads, degrees Celsius; `None` while it has a fault.
    pub reading_c: Option<f64>,
    /// Why there is no reading.
    pub fault: Option<FaultNow>,
    /// What is asked of it.
    pub demand: DemandNow,
    /// Share of full power that it gets; `None` for a vessel without an element.
    pub duty: Option<f64>,
    /// Share of full power that heat control asks for; more than `duty` while the other vessel has the element.
    pub wanted: Option<f64>,
}

/// Why a thermometer gives nothing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FaultNow {
    /// The rest of a sentence that begins with the probe.
    pub cause: &'static str,
    /// What to do.
    pub remedy: &'static str,
}

/// What is asked of a vessel.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum DemandNow {
    /// No heat.
    #[default]
    Off,
    /// This temperature.
    Hold {
        /// Degrees Celsius. The tank's follows the mash while that is held.
        target_c: f64,
    },
    /// A fixed share of full power.
    Percent {
        /// 0 to 1.
        share: f64,
    },
}

impl DemandNow {
    /// The temperature that is held.
    pub const fn target_c(self) -> Option<f64> {
        match self {
            DemandNow::Hold { target_c } => Some(target_c),
            DemandNow::Off | DemandNow::Percent { .. } => None,
        }
    }
}

/// A trip that is latched. It is acknowledged at the panel, and nowhere else.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TripNow {
    /// When, s since the source's start; `None` if it was there before this watch.
    pub at_s: Option<f64>,
    /// What happened.
    pub cause: String,
    /// What to do.
    pub remedy: String,
}

/// A warning.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AdviceNow {
    /// When, s since the source's start.
    pub at_s: f64,
    /// In plain words.
    pub text: String,
}

/// The step under way.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StepNow {
    /// Index from 0.
    pub index: usize,
    /// Number of steps; 0 if the sheet is not known here.
    pub of: usize,
    /// Its name.
    pub name: String,
    /// What it is doing, in a few words.
    pub doing: &'static str,
    /// The next step's name.
    pub next: Option<String>,
    /// When it began, s since the source's start.
    pub began_s: f64,
    /// It can be ended from here: nothing that a person must have looked at lies behind it.
    pub may_step_on: bool,
    /// Its figure can be changed from here.
    pub may_adjust: Option<Adjustable>,
}

/// The figure of a step that may be changed while it runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Adjustable {
    /// Its temperature.
    Target,
    /// Its share of full power.
    Share,
}

/// What a person is asked.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PromptNow {
    /// Its name, to answer it by.
    pub key: &'static str,
    /// As a sentence.
    pub text: &'static str,
    /// The volume it is about, L.
    pub litres: Option<f64>,
    /// The answer says that an element is covered: heat may follow it.
    pub covers: bool,
    /// When it was asked, s since the source's start.
    pub asked_s: f64,
}

/// A step's timer.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TimerNow {
    /// Time left, s.
    pub left_s: f64,
    /// The step's whole time, s; `None` if the sheet is not known here.
    pub of_s: Option<f64>,
    /// A person has stopped it.
    pub held: bool,
}

/// An addition.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AdditionNow {
    /// What to add; "Addition 2" if the sheet is not known here.
    pub name: String,
    /// How much, in the brewer's words; may be empty.
    pub amount: String,
    /// Time left on the boil timer when it is due, s.
    pub left_s: f64,
    /// Time until it is due, s; `None` once it was called.
    pub due_in_s: Option<f64>,
    /// When it was called, s since the source's start.
    pub called_s: Option<f64>,
}

/// What does not change from moment to moment.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct About {
    /// Goes up when any of it changes.
    pub edition: u32,
    /// Units to show.
    #[serde(serialize_with = "units_key")]
    pub units: Units,
    /// The rig's name; empty if unknown.
    pub rig: String,
    /// The sheet's name; empty if unknown.
    pub sheet: String,
    /// The sheet's steps; empty if unknown.
    pub steps: Vec<StepAbout>,
    /// Power of each element, W; `None` if unknown.
    pub element_w: PerElement<Option<f64>>,
    /// Highest target that each vessel accepts, degrees Celsius; `None` if unknown.
    pub highest_c: PerVessel<Option<f64>>,
    /// Boiling point at the rig's altitude, degrees Celsius; `None` if unknown.
    pub boiling_c: Option<f64>,
    /// Nothing can be changed from a page.
    pub read_only: bool,
}

/// A step of the sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StepAbout {
    /// Its name.
    pub name: String,
    /// Its figures in a few words, in the brewer's units: "64 °C for 40 min".
    pub figures: String,
    /// Its time, s, where the sheet sets one.
    pub lasts_s: Option<f64>,
    /// Its additions, first one first.
    pub additions: Vec<AdditionAbout>,
}

/// An addition on the sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AdditionAbout {
    /// What.
    pub name: String,
    /// How much; may be empty.
    pub amount: String,
    /// Time left on the boil timer, s.
    pub left_s: f64,
}

impl Now {
    /// Nothing known yet.
    pub fn waiting(source: Source, why: &str) -> Now {
        Now {
            schema: SCHEMA,
            count: 0,
            at_s: 0.0,
            age_s: 0.0,
            stale: true,
            boot: 0,
            source,
            link: Link::Waiting { why: why.to_owned() },
            vessels: PerVessel::build(|_| VesselNow::default()),
            grant: None,
            contactor: false,
            armed: false,
            stop_loop: false,
            key: false,
            block: None,
            pumps: Pumps::default(),
            trip: None,
            advice: Vec::new(),
            step: None,
            prompt: None,
            timer: None,
            additions: Vec::new(),
            energy_kwh: None,
            cautions: Vec::new(),
        }
    }

    /// One vessel.
    pub fn vessel(&self, vessel: Vessel) -> &VesselNow {
        self.vessels.get(vessel)
    }
}

fn element_key<S: Serializer>(element: &Option<Element>, serializer: S) -> Result<S::Ok, S::Error> {
    element.map(|element| element.vessel().key()).serialize(serializer)
}

fn units_key<S: Serializer>(units: &Units, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(match units {
        Units::Metric => "metric",
        Units::Us => "us",
    })
}
