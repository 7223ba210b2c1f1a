//! The day before it is brewed: volumes, temperatures, times, energy, and what the rig cannot do.
//!
//! Durations come from rehearsals, because nothing simpler knows the rig's power, losses, coil and one element at a time. The rest is
//! [`crate::brewing`]. [`Plan::make`] gathers it, [`limits`] puts in words what will not go as the sheet says, [`text`] prints it.

pub mod limits;
pub mod text;

use crate::brewing::clock::Clock;
use crate::brewing::extract;
use crate::brewing::grain;
use crate::brewing::mash::{Strike, WaterHeat};
use crate::brewing::volumes::{Process, TRUB_SHARE};
use crate::day::Day;
use crate::files::{RigFile, SheetFile};
use crate::logbook::dry_loss::DryLoss;
use crate::plant::vessel::STEEL_J_PER_KG_K;
use crate::plant::water;
use crate::rehearse::{Rehearsal, RehearsalError};
use copperhold_core::boil_power;
use copperhold_core::sheet::Step;
use copperhold_core::units::{Celsius, Litres, Watts};
use copperhold_core::vessel::{Element, PerElement};
use std::fmt;

/// Rehearsals behind a plan unless asked otherwise.
const PACES: u64 = 3;

/// What the brewer asks of a plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wishes {
    /// When to begin, if given.
    pub begin: Option<Begin>,
    /// Price of a kilowatt hour, in any currency.
    pub price_per_kwh: Option<f64>,
    /// Mash efficiency to reckon gravities with, share of 1.
    pub efficiency: f64,
    /// Extract of the grain, share of its dry mass.
    pub extract: f64,
    /// Rehearsals behind the plan, each with another pace of the simulated brewer; 0 counts as 1.
    pub paces: u64,
    /// Dry loss that the logbook has of this rig's kettle. What the rig file says comes first; with neither, boil-off is the rehearsal's.
    pub dry_loss: Option<DryLoss>,
}

impl Default for Wishes {
    /// No clock, no price; 80 % mash efficiency (common practice, no source) on base malt.
    fn default() -> Wishes {
        Wishes {
            begin: None,
            price_per_kwh: None,
            efficiency: 0.80,
            extract: grain::EXTRACT_DRY_BASIS,
            paces: PACES,
            dry_loss: None,
        }
    }
}

/// Why there is no plan: the rig cannot brew the sheet.
#[derive(Debug)]
#[non_exhaustive]
pub enum PlanError {
    /// Volumes, vessels or targets do not fit, or the controller does not accept the rig.
    Rehearsal(RehearsalError),
    /// A rehearsed day does not end.
    Endless {
        /// The step it stuck in.
        step: String,
        /// What the balances say against the sheet; may be empty.
        limits: Vec<limits::Limit>,
    },
}

impl fmt::Display for PlanError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PlanError::Rehearsal(error) => error.fmt(f),
            PlanError::Endless { step, limits } => {
                write!(f, "this rig cannot brew the sheet: in rehearsal the day did not end, it stuck in {step:?}")?;
                for limit in limits {
                    write!(f, "\n  - {}", limit.text)?;
                }
                f.write_str(
                    "\nCheck that element and coil are strong enough for its target, and that nothing must cool down to it.",
                )
            }
        }
    }
}

impl std::error::Error for PlanError {}

/// When the day begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Begin {
    /// At this time of day.
    At(Clock),
    /// In time for the boil to start then.
    BoilAt(Clock),
}

/// Where a plan has its boil-off from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BoilOffBy {
    /// The rehearsal.
    Rehearsal,
    /// The dry loss that the rig file gives.
    RigFile,
    /// The dry loss that the logbook has.
    Logbook(DryLoss),
}

/// What the strike water does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrikePlan {
    /// Strike temperature on the sheet, degrees Celsius.
    pub sheet_c: f64,
    /// Where the mash comes to with it, by heat balance, degrees Celsius.
    pub lands_c: f64,
    /// The first rest, degrees Celsius.
    pub rest_c: f64,
    /// Strike temperature that would land on the first rest, degrees Celsius.
    pub wanted_c: f64,
    /// Water per grain, L/kg.
    pub l_per_kg: f64,
}

/// Gravities to expect, SG at 20 C, at the mash efficiency of the wishes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GravityPlan {
    /// In the kettle before the boil.
    pub pre_boil: f64,
    /// After it.
    pub original: f64,
}

/// The day before it is brewed.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The rehearsal with the middle pace: steps, energy, volumes.
    pub day: Day,
    /// Earliest and latest start of the boil over the paces, s after the beginning; `None` without a boil.
    pub boil_s: Option<(f64, f64)>,
    /// Start of the boil in `day`, s.
    pub boil_begins_s: Option<f64>,
    /// When the day begins, if a clock was asked for.
    pub begins: Option<Clock>,
    /// Water to draw from the tap for mash and sparge, L.
    pub tap_l: f64,
    /// Cooling water for the chiller, L.
    pub cooling_l: f64,
    /// Boil-off in the boil, L/h, and where it is from.
    pub boil_off: (f64, BoilOffBy),
    /// Volumes through the process.
    pub process: Process,
    /// The strike, if the sheet has one.
    pub strike: Option<StrikePlan>,
    /// Gravities to expect, if there is grain and wort.
    pub gravity: Option<GravityPlan>,
    /// What each element draws: power in W and current in A; `None` where there is none.
    pub draws: PerElement<Option<(f64, f64)>>,
    /// What will not go as the sheet says, and what to look out for.
    pub limits: Vec<limits::Limit>,
    /// What was asked.
    pub wishes: Wishes,
    /// Mains frequency, Hz: decides whose ratings the caution quotes.
    pub hertz: u8,
}

impl Plan {
    /// Plans a sheet on a rig.
    ///
    /// # Errors
    /// The rig cannot brew the sheet at all: volumes, vessels or targets do not fit, the controller does not accept the rig, or a rehearsed
    /// day does not end. The error says in words what, where and what to do.
    pub fn make(rig: &RigFile, sheet: &SheetFile, wishes: Wishes) -> Result<Plan, PlanError> {
        let (rig, boil_off_by) = &taught(rig, wishes.dry_loss);
        let mut days = Vec::new();
        for seed in 1..=wishes.paces.max(1) {
            let rehearsal = Rehearsal::new(rig, sheet, seed).map_err(PlanError::Rehearsal)?;
            days.push(rehearsal.run(|_| {}).map_err(|error| match error {
                RehearsalError::Endless { step } => {
                    PlanError::Endless { step, limits: limits::beforehand(rig, sheet, strike(rig, sheet).as_ref()) }
                }
                other => PlanError::Rehearsal(other),
            })?);
        }
        days.sort_by(|a, b| ends_s(a).total_cmp(&ends_s(b)));
        let boil_index = sheet.steps.iter().position(|step| matches!(step.step, Step::Boil { .. }));
        let boil_of = |day: &Day| boil_index.and_then(|i| day.steps.get(i)).map(|step| step.started_s);
        let boils: Vec<f64> = days.iter().filter_map(boil_of).collect();
        let boil_s = (!boils.is_empty())
            .then(|| (boils.iter().copied().fold(f64::INFINITY, f64::min), boils.iter().copied().fold(0.0, f64::max)));
        let day = days.swap_remove(days.len() / 2);
        let boil_begins_s = boil_of(&day);
        let begins = wishes.begin.map(|begin| match begin {
            Begin::At(clock) => clock,
            Begin::BoilAt(clock) => clock.begin_for(boil_begins_s.unwrap_or(0.0)),
        });
        let boil_off = (boil_off_l_per_h(rig, &day, boil_index), *boil_off_by);
        let process = process(rig, sheet, &day, boil_off.0);
        let strike = strike(rig, sheet);
        Ok(Plan {
            boil_s,
            boil_begins_s,
            begins,
            tap_l: tap_l(sheet),
            cooling_l: cooling_l(rig, sheet, &day),
            boil_off,
            gravity: boil_begins_s.and_then(|_| gravity(sheet, &process, wishes)),
            draws: PerElement::build(|element| draw(rig, element)),
            limits: limits::of(rig, sheet, &day, &process, strike.as_ref()),
            hertz: rig.rig.mains.hertz,
            process,
            strike,
            day,
            wishes,
        })
    }

    /// What the day's energy costs, in the currency of the price; `None` without a price.
    pub fn cost(&self) -> Option<f64> {
        self.wishes.price_per_kwh.map(|price| crate::brewing::electric::cost(self.day.energy.total_kwh(), price))
    }
}

/// The rig with what the logbook has of its kettle.
fn taught(rig: &RigFile, dry_loss: Option<DryLoss>) -> (RigFile, BoilOffBy) {
    let by = match (rig.rig.boil_kettle.boil_loss_w, dry_loss) {
        (Some(_), _) => BoilOffBy::RigFile,
        (None, Some(loss)) => BoilOffBy::Logbook(loss),
        (None, None) => BoilOffBy::Rehearsal,
    };
    (rig.taught(dry_loss.map(|loss| loss.watts)), by)
}

/// What the boil's mean power boils off with the dry loss that was measured; the rehearsal's own where none was.
fn boil_off_l_per_h(rig: &RigFile, day: &Day, boil_index: Option<usize>) -> f64 {
    let boil = boil_index.and_then(|index| day.steps.get(index)).filter(|step| step.ended_s > step.started_s);
    let (Some(loss_w), Some(boil)) = (rig.rig.boil_kettle.boil_loss_w, boil) else { return day.volumes.boil_off_l_per_h };
    let mean_w = boil.energy_kwh * 3.6e6 / (boil.ended_s - boil.started_s);
    litres(boil_power::boil_off(Watts::new(mean_w.round() as u32), Watts::new(loss_w.round() as u32)))
}

fn ends_s(day: &Day) -> f64 {
    day.steps.last().map_or(0.0, |step| step.ended_s)
}

fn litres(volume: Litres) -> f64 {
    f64::from(volume.millilitres()) / 1000.0
}

fn degrees(celsius: Celsius) -> f64 {
    f64::from(celsius.milli()) / 1000.0
}

fn tap_l(sheet: &SheetFile) -> f64 {
    let drawn = |step: &Step| match step {
        Step::HeatStrike { fill, .. } => litres(*fill),
        Step::DoughIn { refill, .. } => litres(*refill),
        Step::Rest { .. }
        | Step::MashOut { .. }
        | Step::Sparge { .. }
        | Step::BringToBoil
        | Step::Boil { .. }
        | Step::KnockOut
        | Step::Whirlpool { .. }
        | Step::Chill { .. } => 0.0,
    };
    sheet.steps.iter().map(|step| drawn(&step.step)).sum()
}

fn cooling_l(rig: &RigFile, sheet: &SheetFile, day: &Day) -> f64 {
    let chills = sheet.steps.iter().zip(&day.steps).filter(|(named, _)| matches!(named.step, Step::Chill { .. }));
    let minutes: f64 = chills.map(|(_, record)| (record.ended_s - record.started_s) / 60.0).sum();
    minutes * rig.rig.chiller.water_l_per_min
}

fn process(rig: &RigFile, sheet: &SheetFile, day: &Day, boil_off_l_per_h: f64) -> Process {
    let mut process = Process {
        grain_kg: sheet.grain_kg,
        strike_l: day.volumes.strike_l,
        sparge_l: day.volumes.sparge_l,
        tun_dead_l: rig.rig.mash_tun.dead_space_l,
        kettle_dead_l: rig.rig.boil_kettle.dead_space_l,
        ..Process::empty()
    };
    if day.volumes.post_boil_l > 0.0 {
        // What leaves as vapour in the boil and on the way to it.
        let on_the_way_l = (process.pre_boil_l() - day.volumes.pre_boil_l).max(0.0);
        process.boil_off_l = on_the_way_l + boil_off_l_per_h * boil_hours(sheet);
    }
    process.trub_l = process.post_boil_l() * TRUB_SHARE;
    process
}

fn boil_hours(sheet: &SheetFile) -> f64 {
    let boils = sheet.steps.iter().filter(|named| matches!(named.step, Step::Boil { .. }));
    boils.filter_map(|named| named.planned_s).sum::<f64>() / 3600.0
}

fn strike(rig: &RigFile, sheet: &SheetFile) -> Option<StrikePlan> {
    let sheet_c =
        sheet.steps.iter().find_map(|s| if let Step::HeatStrike { to, .. } = s.step { Some(degrees(to)) } else { None })?;
    let strike_l =
        sheet.steps.iter().find_map(|s| if let Step::DoughIn { strike, .. } = s.step { Some(litres(strike)) } else { None })?;
    let rest_c = sheet.steps.iter().find_map(|s| if let Step::Rest { at, .. } = s.step { Some(degrees(at)) } else { None })?;
    // The sheet's litres are cold ones.
    let water_kg = strike_l * water::density(20.0) / 1000.0;
    let tun = &rig.rig.mash_tun;
    let (tun_j_per_k, tun_c) = (tun.wall_kg * STEEL_J_PER_KG_K, rig.rig.site.air_c);
    let balance = Strike { grain_kg: sheet.grain_kg, grain_c: sheet.grain_c, water_kg, tun_j_per_k, tun_c, ..Strike::real() };
    Some(StrikePlan {
        sheet_c,
        lands_c: balance.mash_c(sheet_c, WaterHeat::Iapws),
        rest_c,
        wanted_c: balance.water_c(rest_c, WaterHeat::Iapws),
        l_per_kg: strike_l / sheet.grain_kg.max(1e-9),
    })
}

fn gravity(sheet: &SheetFile, process: &Process, wishes: Wishes) -> Option<GravityPlan> {
    let potential = grain::potential_kg(sheet.grain_kg, grain::MOISTURE, wishes.extract);
    let there = potential > 0.0 && process.pre_boil_l() > 0.0 && process.post_boil_l() > 0.0;
    there.then(|| GravityPlan {
        pre_boil: extract::gravity(potential * wishes.efficiency, process.pre_boil_l()),
        original: extract::gravity(potential * wishes.efficiency, process.post_boil_l()),
    })
}

fn draw(rig: &RigFile, element: Element) -> Option<(f64, f64)> {
    let fitted = rig.rig.vessel(element.vessel()).element.filter(|_| *rig.has.get(element.vessel()))?;
    let volts = rig.rig.mains.volts;
    use crate::brewing::electric;
    Some((electric::power(fitted.power_w, fitted.rated_volts, volts), electric::current(fitted.power_w, fitted.rated_volts, volts)))
}
