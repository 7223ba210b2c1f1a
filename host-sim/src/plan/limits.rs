//! What will not go as the sheet says, in words: judged from the rehearsal and the balances.

use super::{StrikePlan, degrees};
use crate::brewing::volumes::{Process, expansion};
use crate::day::{Day, Sample, StepRecord};
use crate::files::{RigFile, SheetFile};
use crate::report::measure::{Measure, duration, fixed};
use copperhold_core::sheet::Step;
use copperhold_core::vessel::{Element, Vessel};

/// How much it matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    /// The rig does not do it.
    Cannot,
    /// It works out, and is worth knowing beforehand.
    Note,
}

/// One thing the rig cannot do, or does otherwise than one may think.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limit {
    /// How much it matters.
    pub weight: Weight,
    /// In words, with what to do.
    pub text: String,
}

/// Further than this from its target, a step missed it, K.
const MISSED_K: f64 = 0.5;
/// A strike that lands further than this from the first rest is worth a word, K.
const STRIKE_K: f64 = 1.0;
/// A climb between rests that takes longer is slow for a step mash, s. Common practice, no source: 1 K/min is wished for.
const SLOW_CLIMB_S: f64 = 15.0 * 60.0;
/// A mash thinner or thicker than this is unusual, L/kg. Common practice, no source.
const THICKNESS: (f64, f64) = (2.2, 4.5);
/// Free room over the wort that a boil wants for its foam, share of the kettle. Common practice, no source.
const FOAM_ROOM: f64 = 0.15;
/// A boil that evaporates less of its wort in an hour is weak. Common practice, no source: 5 to 12 %.
const WEAK_BOIL: f64 = 0.05;
/// An element that gives less than this share of its rating is on the wrong voltage.
const UNDERFED: f64 = 0.95;
/// Chilling that takes longer risks the beer, s. Common practice, no source.
const SLOW_CHILL_S: f64 = 40.0 * 60.0;

/// Everything worth saying, the weightiest first.
pub fn of(rig: &RigFile, sheet: &SheetFile, day: &Day, process: &Process, strike: Option<&StrikePlan>) -> Vec<Limit> {
    let units = Measure(sheet.units);
    let mut list = List { units, found: Vec::new() };
    for trip in &day.trips {
        let bare = |text: &str| text.trim().trim_end_matches('.').to_owned();
        list.cannot(format!("In the rehearsal the day ends in a trip: {}; what to do: {}.", bare(&trip.cause), bare(&trip.remedy)));
    }
    list.supply(rig);
    for (index, (named, record)) in sheet.steps.iter().zip(&day.steps).enumerate() {
        let before = index.checked_sub(1).and_then(|i| day.steps.get(i));
        list.step(&named.step, record, before);
    }
    if let Some(strike) = strike {
        list.strike(strike);
    }
    list.element_shared(day);
    list.kettle(rig, day, process);
    for advice in &day.advice {
        list.note(format!("In the rehearsal the controller advised: {}.", advice.text.trim_end_matches('.')));
    }
    list.found.sort_by_key(|limit| limit.weight);
    list.found
}

/// What the balances alone say, without a rehearsal.
pub fn beforehand(rig: &RigFile, sheet: &SheetFile, strike: Option<&StrikePlan>) -> Vec<Limit> {
    let mut list = List { units: Measure(sheet.units), found: Vec::new() };
    list.supply(rig);
    if let Some(strike) = strike {
        list.strike(strike);
    }
    list.found
}

struct List {
    units: Measure,
    found: Vec<Limit>,
}

impl List {
    fn cannot(&mut self, text: String) {
        self.found.push(Limit { weight: Weight::Cannot, text });
    }

    fn note(&mut self, text: String) {
        self.found.push(Limit { weight: Weight::Note, text });
    }

    fn supply(&mut self, rig: &RigFile) {
        let power = rig.rig.element_power_w();
        for element in Element::ALL {
            let vessel = element.vessel();
            let Some(fitted) = rig.rig.vessel(vessel).element.filter(|_| *rig.has.get(vessel)) else { continue };
            let share = power.get(element) / fitted.power_w;
            if share < UNDERFED {
                self.cannot(format!(
                    "The element of the {} is rated {} W at {} V and gives {} W at the rig's {} V: {} % of it.",
                    vessel.label(),
                    fixed(fitted.power_w, 0),
                    fixed(fitted.rated_volts, 0),
                    fixed(*power.get(element), 0),
                    fixed(rig.rig.mains.volts, 0),
                    fixed(share * 100.0, 0)
                ));
            }
        }
    }

    fn step(&mut self, step: &Step, record: &StepRecord, before: Option<&StepRecord>) {
        let name = record.name.as_str();
        let took_s = record.ended_s - record.started_s;
        match step {
            Step::Rest { at, .. } | Step::MashOut { at, .. } => {
                if let Some(rms) = record.hold_rms_k.filter(|rms| *rms > MISSED_K) {
                    self.cannot(format!(
                        "{name} is held only within {} (RMS). Wrap the tun and its hoses, or pump faster.",
                        self.units.difference_text(rms)
                    ));
                }
                let climb_s = took_s - record.planned_s.unwrap_or(took_s);
                // From dough-in to the first rest the mash settles rather than climbs.
                let from_c = before.filter(|b| b.target_c.is_some()).and_then(|b| b.to_c);
                if let Some(rise_k) = from_c.map(|from| degrees(*at) - from).filter(|rise| *rise > 1.0 && climb_s > 60.0) {
                    let per_min = format!("{}/min", self.units.difference_text(rise_k / climb_s * 60.0));
                    let text =
                        format!("{name} begins {} after the step before: the coil lifts the mash by {per_min}.", duration(climb_s));
                    if climb_s > SLOW_CLIMB_S {
                        self.cannot(format!(
                            "{text} A quicker step needs a bigger coil, more flow, or boiling water added by hand."
                        ));
                    } else {
                        self.note(text);
                    }
                }
            }
            Step::HeatStrike { to, .. } => {
                let short_k = degrees(*to) - record.to_c.unwrap_or(f64::NAN);
                if short_k > MISSED_K {
                    self.cannot(format!("{name} ends {} short of its target.", self.units.difference_text(short_k)));
                }
            }
            Step::Sparge { at, .. } => {
                let short_k = degrees(*at) - record.from_c.unwrap_or(f64::NAN);
                if short_k > MISSED_K {
                    self.cannot(format!(
                        "{name} begins with water {} below its target: the tank cannot be ready by then. Lengthen the mash out, refill \
                         with less, or refill with warm water.",
                        self.units.difference_text(short_k)
                    ));
                }
                let sagged_k = degrees(*at) - record.to_c.unwrap_or(f64::NAN);
                if sagged_k > MISSED_K && short_k <= MISSED_K {
                    self.note(format!(
                        "The last of the sparge water comes at {}: the kettle has the element once it is covered, and the tank cools.",
                        self.units.degrees_text(record.to_c.unwrap_or(f64::NAN))
                    ));
                }
            }
            Step::Chill { to } => {
                let over_k = record.to_c.unwrap_or(f64::NAN) - degrees(*to);
                if over_k > MISSED_K {
                    self.cannot(format!("{name} ends {} above its target.", self.units.difference_text(over_k)));
                }
                if took_s > SLOW_CHILL_S {
                    self.cannot(format!(
                        "{name} takes {}: slower than is good for wort. A larger chiller or colder water helps.",
                        duration(took_s)
                    ));
                }
            }
            Step::DoughIn { .. } | Step::BringToBoil | Step::Boil { .. } | Step::KnockOut | Step::Whirlpool { .. } => {}
        }
    }

    fn strike(&mut self, strike: &StrikePlan) {
        let off_k = strike.lands_c - strike.rest_c;
        if off_k.abs() > STRIKE_K {
            let side = if off_k < 0.0 { "below" } else { "above" };
            let text = format!(
                "Strike water at {} lands the mash at {}, {} {side} the first rest; {} would land on it.",
                self.units.degrees_text(strike.sheet_c),
                self.units.degrees_text(strike.lands_c),
                self.units.difference_text(off_k.abs()),
                self.units.degrees_text(strike.wanted_c)
            );
            if off_k < 0.0 {
                self.note(format!("{text} The coil makes up the rest."));
            } else {
                self.cannot(format!(
                    "{text} The mash comes down only as fast as the refilled tank takes its heat, and its enzymes suffer meanwhile."
                ));
            }
        }
        if !(THICKNESS.0..=THICKNESS.1).contains(&strike.l_per_kg) {
            self.note(format!(
                "The mash is at {} L/kg, outside the usual {} to {}.",
                fixed(strike.l_per_kg, 1),
                THICKNESS.0,
                THICKNESS.1
            ));
        }
    }

    /// How long one vessel was short of its target while the other had the element.
    fn element_shared(&mut self, day: &Day) {
        let short = |sample: &&Sample| {
            let vessel = Vessel::LiquorTank;
            let gap = sample.setpoint_c.get(vessel).zip(*sample.reading_c.get(vessel)).map(|(set, reading)| set - reading);
            sample.grant == Some(Element::BoilKettle) && gap.is_some_and(|gap| gap > 1.0)
        };
        let seconds = day.samples.iter().filter(short).count() as f64 * day.sample_s;
        if seconds >= 60.0 {
            self.note(format!(
                "One element at a time: the tank waits below its target for {} while the kettle has the circuit.",
                duration(seconds)
            ));
        }
    }

    fn kettle(&mut self, rig: &RigFile, day: &Day, process: &Process) {
        let Some(boil) = day.steps.iter().find(|s| s.vessel == Some(Vessel::BoilKettle) && s.planned_s.is_some()) else { return };
        let kettle = &rig.rig.boil_kettle;
        let hot_l = process.pre_boil_l() * expansion(day.boiling_c);
        let free = 1.0 - hot_l / kettle.capacity_l;
        if free < FOAM_ROOM {
            self.cannot(format!(
                "{} of hot wort leave {} % of the kettle free: too little for the foam of the hot break. Stand by with a spray bottle, or \
                 split the wort.",
                self.units.volume_text(hot_l),
                fixed(free.max(0.0) * 100.0, 0)
            ));
        }
        let hourly = day.volumes.boil_off_l_per_h / day.volumes.pre_boil_l.max(1e-9);
        if hourly < WEAK_BOIL {
            self.cannot(format!(
                "{} takes {} % of the wort in an hour: a weak boil. Ask for more of the element, or insulate the kettle.",
                boil.name,
                fixed(hourly * 100.0, 1)
            ));
        }
    }
}
