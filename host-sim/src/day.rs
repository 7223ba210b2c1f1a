//! The record of one brew day: what the table, the report and the JSON are made of.

mod judged;

pub use judged::Judged;

use copperhold_core::sheet::Step;
use copperhold_core::vessel::{Element, PerElement, PerVessel, Vessel};

/// Which units the reader prefers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Units {
    /// Litres, degrees Celsius.
    #[default]
    Metric,
    /// US gallons, degrees Fahrenheit.
    Us,
}

/// A brew day, rehearsed or real.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Day {
    /// Name of the sheet.
    pub sheet: String,
    /// Name of the rig.
    pub rig: String,
    /// Seed of the rehearsal.
    pub seed: u64,
    /// Units to show.
    pub units: Units,
    /// Rated power of each element, W.
    pub element_w: PerElement<f64>,
    /// Boiling point at the rig's altitude, degrees Celsius.
    pub boiling_c: f64,
    /// Steps in order. They meet end to end and cover the day.
    pub steps: Vec<StepRecord>,
    /// Samples, evenly spaced (every `sample_s`), in order.
    pub samples: Vec<Sample>,
    /// Spacing of the samples, s.
    pub sample_s: f64,
    /// Heat-ups of each vessel with an element.
    pub heat_ups: PerElement<Vec<HeatUp>>,
    /// Waits for the person.
    pub prompts: Vec<PromptRecord>,
    /// Timed additions as they were called.
    pub additions: Vec<AdditionRecord>,
    /// Trips, in order.
    pub trips: Vec<TripRecord>,
    /// Advice: warnings that tripped nothing.
    pub advice: Vec<AdviceRecord>,
    /// Where the energy went.
    pub energy: Energy,
    /// What each element's vessel gave up to the other.
    pub yielded: PerElement<Yielded>,
    /// Volumes and boil-off.
    pub volumes: Volumes,
    /// Fast ticks at which both elements were seen on. Always 0, and counted rather than assumed.
    pub two_elements_ticks: u64,
}

/// One step as it went.
#[derive(Debug, Clone, PartialEq)]
pub struct StepRecord {
    /// Its name on the sheet.
    pub name: String,
    /// Start, s since the day began.
    pub started_s: f64,
    /// End, s since the day began.
    pub ended_s: f64,
    /// Time the sheet gives it, s; `None` where the sheet sets no time (a heat-up, a wait).
    pub planned_s: Option<f64>,
    /// The vessel it is about.
    pub vessel: Option<Vessel>,
    /// True bulk temperature of that vessel at the start, degrees Celsius.
    pub from_c: Option<f64>,
    /// Its target, degrees Celsius.
    pub target_c: Option<f64>,
    /// True bulk temperature at the end, degrees Celsius.
    pub to_c: Option<f64>,
    /// Highest true bulk temperature above the target, K (0 if it never passed it).
    pub overshoot_k: Option<f64>,
    /// Root mean square of (true bulk temperature - target) over the timed part of a hold, K.
    pub hold_rms_k: Option<f64>,
    /// Electric energy put in during the step, kWh.
    pub energy_kwh: f64,
}

/// One moment.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sample {
    /// s since the day began.
    pub t_s: f64,
    /// What the probes read, degrees Celsius; `None` while a probe has a fault.
    pub reading_c: PerVessel<Option<f64>>,
    /// Setpoints in force, degrees Celsius. The tank's follows the mash cascade.
    pub setpoint_c: PerVessel<Option<f64>>,
    /// Which element held the grant.
    pub grant: Option<Element>,
    /// Mean share of full power over the sample interval.
    pub duty: PerElement<f64>,
    /// Liquid in each vessel, L.
    pub volume_l: PerVessel<f64>,
}

/// One heat-up of a vessel with an element.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatUp {
    /// True bulk temperature at the start, degrees Celsius.
    pub from_c: f64,
    /// Target, degrees Celsius.
    pub to_c: f64,
    /// Time until the true bulk temperature is within 0.3 K of the target, s.
    pub seconds: f64,
    /// The least possible time: the same vessel at full power with its true heat capacity and loss, s.
    pub least_seconds: f64,
    /// Highest true bulk temperature above the target in the hold that followed, K.
    pub overshoot_c: f64,
}

/// A wait for a person.
#[derive(Debug, Clone, PartialEq)]
pub struct PromptRecord {
    /// When it was asked, s.
    pub asked_s: f64,
    /// When it was answered, s.
    pub answered_s: f64,
    /// What was asked.
    pub text: String,
}

/// A timed addition.
#[derive(Debug, Clone, PartialEq)]
pub struct AdditionRecord {
    /// When it was called, s since the day began.
    pub t_s: f64,
    /// What to add.
    pub name: String,
    /// Minutes left on the boil timer.
    pub minutes_left: f64,
}

/// A trip.
#[derive(Debug, Clone, PartialEq)]
pub struct TripRecord {
    /// When, s since the day began.
    pub t_s: f64,
    /// What happened, in plain words.
    pub cause: String,
    /// What to do.
    pub remedy: String,
}

/// A warning that tripped nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct AdviceRecord {
    /// When, s since the day began.
    pub t_s: f64,
    /// In plain words.
    pub text: String,
}

/// Where the energy went, kWh. `element_kwh` in = stored + lost + evaporated + carried, within 0.1 %.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Energy {
    /// Electric energy into each element.
    pub element_kwh: PerElement<f64>,
    /// Change of heat stored in liquids, walls, grain and sheaths.
    pub stored_kwh: f64,
    /// Lost to the room by convection and radiation.
    pub lost_kwh: f64,
    /// Left with vapour, below and at the boil.
    pub evaporated_kwh: f64,
    /// Carried out by the chiller's water and by liquid drained or poured away, less what tap water and grain brought in.
    pub carried_kwh: f64,
}

impl Energy {
    /// Electric energy in, kWh.
    pub fn total_kwh(&self) -> f64 {
        self.element_kwh.liquor_tank + self.element_kwh.boil_kettle
    }

    /// Share of the energy in that the account does not explain.
    pub fn imbalance(&self) -> f64 {
        let out = self.stored_kwh + self.lost_kwh + self.evaporated_kwh + self.carried_kwh;
        (self.total_kwh() - out) / self.total_kwh().max(1e-9)
    }
}

/// What one vessel gave up because both wanted heat and one element conducts at a time.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Yielded {
    /// Time in which both wanted heat, s; 0 if this one had what it wanted.
    pub seconds: f64,
    /// Energy that it wanted in that time and did not have then, kWh.
    pub kwh: f64,
}

/// Volumes of the day, L (as measured cold, at 20 C).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Volumes {
    /// Strike water run to the tun.
    pub strike_l: f64,
    /// Sparge water.
    pub sparge_l: f64,
    /// Wort in the kettle when the boil began.
    pub pre_boil_l: f64,
    /// Wort in the kettle when the boil ended.
    pub post_boil_l: f64,
    /// Rate of boil-off over the timed boil, L/h.
    pub boil_off_l_per_h: f64,
    /// Power of the timed boil that did not become vapour, from the two volumes, W: the rig's `boil_loss`. `None`: they do not tell.
    pub dry_loss_w: Option<f64>,
}

impl Volumes {
    /// What a sheet's steps say before anything was measured.
    pub fn planned(steps: &[Step]) -> Volumes {
        let litres = |of: fn(&Step) -> i32| f64::from(steps.iter().map(of).sum::<i32>()) / 1000.0;
        Volumes {
            strike_l: litres(|step| if let Step::DoughIn { strike, .. } = step { strike.millilitres() } else { 0 }),
            sparge_l: litres(|step| if let Step::Sparge { water, .. } = step { water.millilitres() } else { 0 }),
            ..Volumes::default()
        }
    }
}
