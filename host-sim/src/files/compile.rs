//! Checks a sheet against a rig and makes the core's sheet of it.

use super::diagnose::{Diagnostic, Problem, ProblemKind};
use super::order::out_of_order;
use super::quantity::Dimension;
use super::rig_file::RigFile;
use super::sheet_file::{NamedStep, SheetFile, to_u32};
use crate::plant::air::{boiling_point_c, pressure_pa};
use crate::plant::loss::Losses;
use crate::plant::network::GRAIN_DISPLACES_L_PER_KG;
use copperhold_core::boil_power::BoilPower;
use copperhold_core::sheet::{MAX_STEPS, Sheet, Step};
use copperhold_core::units::{Celsius, Duty, Litres, Watts};
use copperhold_core::vessel::Vessel;

/// Water that drained grain keeps, L/kg.
const ABSORBED_L_PER_KG: f64 = 1.0;
/// A tank that is heated while it runs out keeps so much more than just covers its element ...
const HELD_MARGIN: f64 = 1.25;
/// ... and this share of its water: heat control knows it as it was when it was full.
const HELD_SHARE: f64 = 0.5;
/// Heat of vaporisation near 100 C, J/kg, and density there, kg/L: bounds the boil-off from above.
const VAPORISATION_J_PER_L: f64 = 2.257e6 * 0.958;

impl SheetFile {
    /// The core's sheet, if this rig can brew it: volumes fit, vessels and elements are there, targets stay below the boiling point
    /// and below the guard's limits, and the steps come in an order that a brew day can have.
    ///
    /// # Errors
    /// Everything that stands against it, in one go.
    pub fn compile(&self, rig: &RigFile) -> Result<Sheet, Diagnostic> {
        let mut check =
            Check { sheet: self, rig, problems: Vec::new(), lacking: Vec::new(), tank_l: 0.0, kettle_l: 0.0, strike_l: 0.0 };
        let mut sheet = Sheet::default();
        for (index, named) in self.steps.iter().enumerate() {
            check.problems.extend(out_of_order(named, self.steps.get(..index).unwrap_or(&[]), self.units));
            let step = check.step(named);
            if sheet.steps.push(step).is_err() {
                let message = format!("the sheet has {} steps", self.steps.len());
                let expected = format!("the first one too many; the controller holds {MAX_STEPS}");
                let remedy = "join rests, or split the day into two sheets".to_owned();
                check.fault(ProblemKind::TooMany, (named, "do"), message, expected, remedy);
                break;
            }
        }
        if check.problems.is_empty() {
            Ok(sheet)
        } else {
            Err(Diagnostic::new(self.path.as_str(), self.source.as_str(), check.problems))
        }
    }
}

/// A step, and the key of the value that a problem is about.
type At<'a> = (&'a NamedStep, &'static str);

struct Check<'a> {
    sheet: &'a SheetFile,
    rig: &'a RigFile,
    problems: Vec<Problem>,
    /// Vessels and elements already told of as missing: once is enough.
    lacking: Vec<(ProblemKind, Vessel)>,
    /// Water in the tank after the steps so far, L.
    tank_l: f64,
    /// Wort in the kettle after the steps so far, L.
    kettle_l: f64,
    /// Strike water run over, L.
    strike_l: f64,
}

impl Check<'_> {
    fn fault(&mut self, kind: ProblemKind, (named, key): At<'_>, message: String, expected: String, remedy: String) {
        self.problems.push(named.problem(kind, key, message, expected, remedy));
    }

    fn show(&self, litres: f64) -> String {
        Dimension::Volume.show(litres, self.sheet.units, 1)
    }

    fn step(&mut self, named: &NamedStep) -> Step {
        for vessel in vessels_of(&named.step) {
            self.present(named, *vessel);
        }
        match &named.step {
            Step::HeatStrike { fill, to } => {
                self.heated(named, Vessel::LiquorTank);
                self.target((named, "to"), Vessel::LiquorTank, *to);
                self.tank_l = figure(*fill);
                self.fits((named, "fill"), Vessel::LiquorTank, self.tank_l, "the water to heat");
                self.covered((named, "fill"), Vessel::LiquorTank, self.tank_l, "before the heat-up");
            }
            Step::DoughIn { strike, refill } => self.dough_in(named, figure(*strike), figure(*refill)),
            Step::Rest { at, .. } | Step::MashOut { at, .. } => {
                self.heated(named, Vessel::LiquorTank);
                self.target((named, "at"), Vessel::MashTun, *at);
                self.covered((named, "do"), Vessel::LiquorTank, self.tank_l, "while it holds the mash");
            }
            Step::Sparge { water, at, hold } => self.sparge(named, figure(*water), *at, *hold),
            Step::BringToBoil => self.heated(named, Vessel::BoilKettle),
            Step::Boil { lasts, additions, duty } => {
                self.heated(named, Vessel::BoilKettle);
                let duty = named.boil.map_or(Some(*duty), |power| self.duty_of(named, power)).unwrap_or(Duty::ZERO);
                self.boil_off(named, duty, lasts.as_millis() as f64 / 1000.0);
                return Step::Boil { duty, lasts: *lasts, additions: additions.clone() };
            }
            Step::KnockOut | Step::Whirlpool { .. } => {}
            Step::Chill { to } => {
                let (to_c, tap_c) = (f64::from(to.milli()) / 1000.0, self.rig.rig.site.tap_c);
                if to_c <= tap_c {
                    let show = |c| Dimension::Temperature.show(c, self.sheet.units, 1);
                    self.fault(
                        ProblemKind::OutOfRange,
                        (named, "to"),
                        format!("the wort cannot be chilled to {} with tap water at {}", show(to_c), show(tap_c)),
                        format!("a target above {}", show(tap_c)),
                        "raise `to`, or correct `site.tap` in the rig file".to_owned(),
                    );
                }
            }
        }
        named.step.clone()
    }

    fn dough_in(&mut self, named: &NamedStep, strike: f64, refill: f64) {
        let dead = self.rig.rig.liquor_tank.dead_space_l;
        self.drawn((named, "strike"), strike, "strike");
        self.strike_l = strike;
        self.fits(
            (named, "strike"),
            Vessel::MashTun,
            strike + self.sheet.grain_kg * GRAIN_DISPLACES_L_PER_KG,
            "the mash, grain and strike water together,",
        );
        self.tank_l = (self.tank_l - strike).max(dead) + refill;
        self.fits((named, "refill"), Vessel::LiquorTank, self.tank_l, "what is left with the refill");
    }

    fn sparge(&mut self, named: &NamedStep, water: f64, at: Celsius, hold: bool) {
        self.heated(named, Vessel::LiquorTank);
        self.target((named, "at"), Vessel::LiquorTank, at);
        self.drawn((named, "water"), water, "sparge");
        let least = (self.rig.rig.liquor_tank.element_top_l * HELD_MARGIN).max(self.tank_l * HELD_SHARE);
        self.tank_l -= water;
        if hold && *self.rig.has.get(Vessel::LiquorTank) && self.tank_l < least {
            let (left, least) = (self.show(self.tank_l.max(0.0)), self.show(least));
            self.fault(
                ProblemKind::UncoveredElement,
                (named, "hold"),
                format!("the liquor tank holds {left} when the sparge water has run, too little to heat it all the while"),
                format!("at least {least}: half of its water, and a quarter more than just covers its element"),
                "remove `hold`, or raise `refill` of the dough in; an element that runs dry glows within seconds".to_owned(),
            );
        }
        let kept = self.sheet.grain_kg * ABSORBED_L_PER_KG + self.rig.rig.mash_tun.dead_space_l;
        self.kettle_l = self.strike_l + water - kept;
        if self.kettle_l <= 0.0 {
            let (all, kept) = (self.show(self.strike_l + water), self.show(kept));
            self.fault(
                ProblemKind::DoesNotFit,
                (named, "water"),
                format!("no wort reaches the kettle: grain and tun keep {kept} of {all}"),
                "more water than the grain keeps (about 1 L/kg)".to_owned(),
                "raise `water` here or `strike` in the dough in".to_owned(),
            );
        }
        self.fits((named, "water"), Vessel::BoilKettle, self.kettle_l, "the wort before the boil");
    }

    /// Whether this lack is told of for the first time.
    fn first(&mut self, kind: ProblemKind, vessel: Vessel) -> bool {
        let new = !self.lacking.contains(&(kind, vessel));
        self.lacking.push((kind, vessel));
        new
    }

    fn present(&mut self, named: &NamedStep, vessel: Vessel) {
        if !self.rig.has.get(vessel) && self.first(ProblemKind::MissingVessel, vessel) {
            let needs = if vessel.element().is_some() { "element = \"5500 W\"" } else { "probe = \"pt100\"" };
            self.fault(
                ProblemKind::MissingVessel,
                (named, "do"),
                format!("this step needs a {}, and the rig {:?} has none", vessel.label(), self.rig.rig.name),
                format!("uses the {}", vessel.label()),
                format!("add a line `{} = {{ {needs} }}` to the rig file, or remove the step", vessel.key()),
            );
        }
    }

    fn heated(&mut self, named: &NamedStep, vessel: Vessel) {
        let lacking = *self.rig.has.get(vessel) && self.rig.rig.vessel(vessel).element.is_none();
        if lacking && self.first(ProblemKind::MissingElement, vessel) {
            self.fault(
                ProblemKind::MissingElement,
                (named, "do"),
                format!("this step heats the {}, and the rig {:?} gives it no element", vessel.label(), self.rig.rig.name),
                format!("needs an element in the {}", vessel.label()),
                format!("add its rated power to the rig file: {} = {{ element = \"5500 W\" }}", vessel.key()),
            );
        }
    }

    fn target(&mut self, at: At<'_>, vessel: Vessel, target: Celsius) {
        let show = |c| Dimension::Temperature.show(c, self.sheet.units, 1);
        let target_c = f64::from(target.milli()) / 1000.0;
        let site = self.rig.rig.site;
        let boiling = boiling_point_c(site.altitude_m);
        let limit = self.rig.rig.vessel(vessel).limit_c.unwrap_or(90.0);
        if target_c >= boiling {
            let height = Dimension::Length.show(site.altitude_m, self.sheet.units, 0);
            self.fault(
                ProblemKind::AboveBoiling,
                at,
                format!("a target of {} is not below the boiling point", show(target_c)),
                format!("water boils at {} at {height}, where the rig stands", show(boiling)),
                "lower the target; the boil has its own step: do = \"boil\"".to_owned(),
            );
        } else if target_c >= limit {
            self.fault(
                ProblemKind::OutOfRange,
                at,
                format!("a target of {} would trip the guard of the {}", show(target_c), vessel.label()),
                format!("below its limit of {}", show(limit)),
                "lower the target, or raise `limit` of that vessel in the rig file if it is safe there".to_owned(),
            );
        }
    }

    fn fits(&mut self, at: At<'_>, vessel: Vessel, litres: f64, what: &str) {
        let capacity = self.rig.rig.vessel(vessel).capacity_l;
        if *self.rig.has.get(vessel) && litres > capacity {
            let (volume, full) = (self.show(litres), self.show(capacity));
            self.fault(
                ProblemKind::DoesNotFit,
                at,
                format!("{what} is {volume}, and the {} holds {full}", vessel.label()),
                format!("{} too much", self.show(litres - capacity)),
                format!("lower the volumes of the sheet, or correct `capacity` of {} in the rig file", vessel.key()),
            );
        }
    }

    fn drawn(&mut self, at: At<'_>, litres: f64, what: &str) {
        let dead = self.rig.rig.liquor_tank.dead_space_l;
        let there = (self.tank_l - dead).max(0.0);
        if *self.rig.has.get(Vessel::LiquorTank) && litres > there + 1e-3 {
            let (wanted, there, dead) = (self.show(litres), self.show(there), self.show(dead));
            self.fault(
                ProblemKind::DoesNotFit,
                at,
                format!("{wanted} of {what} water is asked for, and the tank can give {there}"),
                format!("at most {there}; {dead} stays behind in the tank"),
                "raise `fill` of the heat strike or `refill` of the dough in, or draw less".to_owned(),
            );
        }
    }

    fn covered(&mut self, at: At<'_>, vessel: Vessel, litres: f64, when: &str) {
        let top = self.rig.rig.vessel(vessel).element_top_l;
        if *self.rig.has.get(vessel) && litres < top {
            let (volume, top) = (self.show(litres.max(0.0)), self.show(top));
            self.fault(
                ProblemKind::UncoveredElement,
                at,
                format!("the {} holds {volume} {when}, which leaves its element uncovered", vessel.label()),
                format!("at least {top} covers it"),
                "use more water; an element that runs dry glows within seconds".to_owned(),
            );
        }
    }

    fn duty_of(&mut self, named: &NamedStep, power: BoilPower) -> Option<Duty> {
        let full = Watts::new(to_u32(self.rig.rig.element_power_w().boil_kettle));
        if full.get() == 0 {
            return None;
        }
        let dry_loss = Watts::new(to_u32(self.dry_loss_w()));
        let duty = power.duty(full, dry_loss);
        if duty.is_none() {
            let (wanted, full) = (power.watts(full, dry_loss).get(), full.get());
            self.fault(
                ProblemKind::OutOfRange,
                (named, "at"),
                format!("the boil asks for {wanted} W, and the kettle's element gives {full} W"),
                format!("at most {full} W at the rig's mains voltage"),
                "lower `at`, or write a percentage: at = \"60 %\"".to_owned(),
            );
        }
        duty
    }

    /// Power of the boiling kettle that does not become vapour: as measured, or by the rig's figures with the wort the sheet makes.
    fn dry_loss_w(&self) -> f64 {
        let rig = &self.rig.rig;
        let kettle = &rig.boil_kettle;
        let wet_m2 = 4e-3 / kettle.diameter_m * self.kettle_l;
        let (pascals, boiling_c) = (pressure_pa(rig.site.altitude_m), boiling_point_c(rig.site.altitude_m));
        kettle.boil_loss_w.unwrap_or_else(|| Losses::full(kettle, &rig.site, pascals, boiling_c).dry_w(wet_m2, false))
    }

    /// Bounds the boil-off by all of the power going into vapour.
    fn boil_off(&mut self, named: &NamedStep, duty: Duty, seconds: f64) {
        let watts = self.rig.rig.element_power_w().boil_kettle * f64::from(duty.basis_points()) / 10_000.0;
        let left = self.kettle_l - watts * seconds / VAPORISATION_J_PER_L;
        if self.kettle_l > 0.0 {
            self.covered((named, "for"), Vessel::BoilKettle, left, "at the end of the boil at the latest");
        }
    }
}

const fn vessels_of(step: &Step) -> &'static [Vessel] {
    match step {
        Step::HeatStrike { .. } => &[Vessel::LiquorTank],
        Step::DoughIn { .. } | Step::Rest { .. } | Step::MashOut { .. } => &[Vessel::LiquorTank, Vessel::MashTun],
        Step::Sparge { .. } => &[Vessel::LiquorTank, Vessel::MashTun, Vessel::BoilKettle],
        Step::BringToBoil | Step::Boil { .. } | Step::KnockOut | Step::Whirlpool { .. } | Step::Chill { .. } => {
            &[Vessel::BoilKettle]
        }
    }
}

fn figure(volume: Litres) -> f64 {
    f64::from(volume.millilitres()) / 1000.0
}
