//! The sequencer: walks through a sheet.
//!
//! A *step* of the sheet is a short list of *stages*. A stage says what is demanded, which pumps run, and what ends it. A stage that waits
//! for a person asks with a *prompt*; nothing but a person's answer ends it. The sequencer only proposes: guard, arming and interlock
//! stand behind it as they do behind a demand made by hand.

use crate::heat::Demand;
use crate::sheet::{Sheet, Step};
use crate::units::{Celsius, Duty, Kelvin, Litres, Span};
use crate::vessel::{PerVessel, Pumps, Vessel};

/// A target counts as reached within this distance.
pub const REACHED: Kelvin = Kelvin::from_milli(300);
/// A rest's time runs from when the recirculating mash has been within this distance ...
pub const REST_STARTS: Kelvin = Kelvin::from_milli(500);
/// ... for this long: cold hoses have been through the mash by then.
pub const REST_SETTLES: Span = Span::from_mins(1);
/// While the sparge runs off, the kettle is kept this far below the boiling point: hot, but with no foam while nobody watches it.
pub const RUN_OFF_HOLD: Kelvin = Kelvin::from_milli(6_000);

/// What a person is asked to do. They answer when it is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Prompt {
    /// Fill the liquor tank; the element must be covered.
    FillTank(Litres),
    /// The strike water is hot; ready to dough in?
    ReadyToDoughIn,
    /// Strike water runs to the tun; stop when this much is over.
    RunStrike(Litres),
    /// Stir in the grain.
    StirInGrain,
    /// Refill the tank; the coil and the element must be covered.
    RefillTank(Litres),
    /// Set the valves for the sparge.
    SetSparge,
    /// Wort runs to the kettle; answer when the kettle's element is covered.
    KettleCovered,
    /// Sparge until this much water has run.
    SpargeDone(Litres),
    /// Ready the whirlpool.
    ReadyWhirlpool,
    /// Connect the chiller and turn its water on.
    ReadyChiller,
}

impl Prompt {
    /// What is asked, as a sentence without its figure.
    #[inline(never)]
    pub const fn ask(self) -> &'static str {
        match self {
            Prompt::FillTank(_) => "Fill the liquor tank until its element is well covered",
            Prompt::ReadyToDoughIn => "The strike water is hot: make the tun ready",
            Prompt::RunStrike(_) => "Run the strike water to the tun",
            Prompt::StirInGrain => "Stir in the grain, then start the recirculation",
            Prompt::RefillTank(_) => "Refill the liquor tank until coil and element are covered",
            Prompt::SetSparge => "Set the tun's valve to the kettle and ready the sparge",
            Prompt::KettleCovered => "Answer when the wort covers the kettle's element",
            Prompt::SpargeDone(_) => "Answer when the sparge water has run and the kettle is filled",
            Prompt::ReadyWhirlpool => "Ready the whirlpool",
            Prompt::ReadyChiller => "Connect the chiller and turn its water on",
        }
    }

    /// The volume it is about.
    pub const fn volume(self) -> Option<Litres> {
        match self {
            Prompt::FillTank(l) | Prompt::RunStrike(l) | Prompt::RefillTank(l) | Prompt::SpargeDone(l) => Some(l),
            Prompt::ReadyToDoughIn
            | Prompt::StirInGrain
            | Prompt::SetSparge
            | Prompt::KettleCovered
            | Prompt::ReadyWhirlpool
            | Prompt::ReadyChiller => None,
        }
    }
}

/// Another figure for a step that is under way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Figure {
    /// Its temperature.
    Target(Celsius),
    /// Its share of full power.
    Share(Duty),
}

/// What ends a stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Until {
    /// A person's answer.
    Answered(Prompt),
    /// A vessel comes within a distance of a temperature, from below.
    Warm(Vessel, Celsius, Kelvin),
    /// The mash recirculates and has been warm enough for a while.
    Resting(Celsius),
    /// A vessel cools to a temperature.
    Cool(Vessel, Celsius),
    /// Time.
    Lasted(Span),
    /// The kettle boils.
    Boils,
}

/// One stage.
#[derive(Debug, Clone, Copy)]
struct Stage {
    demands: PerVessel<Demand>,
    to_the_boil: bool,
    pumps: Pumps,
    until: Until,
}

/// What the sequencer sees.
#[derive(Debug, Clone, Copy)]
pub struct Seen {
    /// Time since the last control tick.
    pub elapsed: Span,
    /// Nothing may heat: a trip is latched, or nobody has armed. Time and temperatures move nothing; a person's answer or skip does.
    pub stands: bool,
    /// Readings; `None` while a probe has a fault.
    pub readings: PerVessel<Option<Celsius>>,
    /// The kettle boils.
    pub boils: bool,
    /// Boiling point at the rig's altitude.
    pub boiling: Celsius,
    /// The mash pump runs: it is withheld while the coil would cool the mash.
    pub recirculating: bool,
}

/// What the sequencer would like.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Directive {
    /// A demand for each vessel.
    pub demands: PerVessel<Demand>,
    /// The kettle is to be brought to the boil; overrides its demand.
    pub to_the_boil: bool,
    /// Pumps.
    pub pumps: Pumps,
    /// What a person is asked.
    pub prompt: Option<Prompt>,
    /// Time left on the step's timer, if the stage has one.
    pub timer_left: Option<Span>,
    /// The sheet stands still until a person arms.
    pub stands: bool,
}

/// Something to log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Note {
    /// A step began.
    Step(u8),
    /// An addition is due.
    Addition(u8),
    /// It goes on after standing still for this long.
    Stood(Span),
    /// The sheet is done.
    Done,
}

/// Walks through one sheet.
#[derive(Debug, Clone)]
pub struct Sequencer {
    sheet: Sheet,
    step: u8,
    stage: u8,
    in_stage: Span,
    rested: Span,
    additions_called: u8,
    /// The prompt that was last shown: only that can be answered.
    asked: Option<Prompt>,
    answered: Option<Prompt>,
    paused: bool,
    stood: Span,
    begun: bool,
    attended: bool,
    announced: bool,
}

impl Sequencer {
    /// At the first step of a sheet.
    pub const fn new(sheet: Sheet) -> Sequencer {
        Sequencer {
            sheet,
            step: 0,
            stage: 0,
            in_stage: Span::ZERO,
            rested: Span::ZERO,
            additions_called: 0,
            asked: None,
            answered: None,
            paused: false,
            stood: Span::ZERO,
            begun: false,
            attended: false,
            announced: false,
        }
    }

    /// Adds steps at the end, as many as there is room for.
    pub fn extend(&mut self, steps: impl Iterator<Item = Step>) {
        for step in steps {
            if self.sheet.steps.push(step).is_err() {
                return;
            }
        }
    }

    /// Number of steps.
    pub fn steps(&self) -> usize {
        self.sheet.steps.len()
    }

    /// Index of the present step; equal to the number of steps when done.
    pub const fn step(&self) -> u8 {
        self.step
    }

    /// The present step.
    pub fn present(&self) -> Option<&Step> {
        self.sheet.steps.get(usize::from(self.step))
    }

    /// The prompt that is shown.
    pub const fn asked(&self) -> Option<Prompt> {
        self.asked
    }

    /// A person answers a prompt. Ignored unless it is the one that is shown.
    pub fn answer(&mut self, prompt: Prompt) {
        self.answered = Some(prompt).filter(|_| self.asked == Some(prompt));
        self.attended = true;
    }

    /// A person moves on to the next step.
    pub fn skip(&mut self) {
        self.attended = true;
        self.enter_step(self.step.saturating_add(1));
    }

    /// A person who is not at the panel ends this step. Only a step behind which nothing waits that somebody must have looked at: filling,
    /// doughing in and sparging uncover elements, and end by their prompts alone. Says whether it was done.
    pub fn step_on(&mut self, step: u8) -> bool {
        let may = step == self.step && self.present().is_some_and(may_step_on);
        if may {
            self.skip();
        }
        may
    }

    /// The vessel whose temperature the present step sets.
    pub fn target_vessel(&self) -> Option<Vessel> {
        match self.present()? {
            Step::HeatStrike { .. } | Step::Sparge { .. } => Some(Vessel::LiquorTank),
            Step::Rest { .. } | Step::MashOut { .. } => Some(Vessel::MashTun),
            Step::DoughIn { .. }
            | Step::BringToBoil
            | Step::Boil { .. }
            | Step::KnockOut
            | Step::Whirlpool { .. }
            | Step::Chill { .. } => None,
        }
    }

    /// Another figure for the present step. Whether it is in range is the supervisor's to judge. Says whether the step has such a figure.
    pub fn adjust(&mut self, figure: Figure) -> bool {
        let present = self.sheet.steps.get_mut(usize::from(self.step));
        match (present, figure) {
            (Some(Step::HeatStrike { to, .. }), Figure::Target(target)) => *to = target,
            (Some(Step::Rest { at, .. } | Step::MashOut { at, .. } | Step::Sparge { at, .. }), Figure::Target(target)) => {
                *at = target;
            }
            (Some(Step::Boil { duty, .. }), Figure::Share(share)) => *duty = share,
            (_, Figure::Target(_) | Figure::Share(_)) => return false,
        }
        self.attended = true;
        true
    }

    /// Whether the step's timer is stopped.
    pub const fn is_paused(&self) -> bool {
        self.paused
    }

    /// A person stops the step's timer, or lets it run again.
    pub fn pause(&mut self, paused: bool) {
        self.paused = paused;
        self.attended = true;
    }

    /// Whether a person did something since the last call.
    pub fn take_attended(&mut self) -> bool {
        core::mem::take(&mut self.attended)
    }

    /// Moves on, and says what it would like. `None` when the sheet is done.
    pub fn tick(&mut self, seen: &Seen, mut tell: impl FnMut(Note)) -> Option<Directive> {
        self.announce(&mut tell);
        let mut stage = self.stage_at(seen)?;
        self.account_for_standing(seen, &mut tell);
        if !self.paused && !seen.stands {
            self.in_stage = self.in_stage.plus(seen.elapsed);
        }
        self.call_additions(&stage, &mut tell);
        if self.is_over(&stage, seen) {
            self.leave_stage(seen);
            self.announce(&mut tell);
            stage = self.stage_at(seen)?;
        }
        let directive = Directive { stands: seen.stands, ..directive(&stage, self.in_stage) };
        self.asked = directive.prompt;
        Some(directive)
    }

    /// Before a sheet has ever gone on, it waits rather than stands.
    fn account_for_standing(&mut self, seen: &Seen, tell: &mut impl FnMut(Note)) {
        if !seen.stands {
            self.begun = true;
            if self.stood > Span::ZERO {
                tell(Note::Stood(core::mem::take(&mut self.stood)));
            }
        } else if self.begun {
            self.stood = self.stood.plus(seen.elapsed);
        }
    }

    fn announce(&mut self, tell: &mut impl FnMut(Note)) {
        if !self.announced {
            self.announced = true;
            tell(if self.present().is_some() { Note::Step(self.step) } else { Note::Done });
        }
    }

    #[inline(never)]
    fn is_over(&mut self, stage: &Stage, seen: &Seen) -> bool {
        let answered = self.answered.take();
        match stage.until {
            Until::Answered(prompt) => answered == Some(prompt),
            Until::Warm(..) | Until::Resting(_) | Until::Cool(..) | Until::Lasted(_) | Until::Boils if seen.stands => {
                self.rested = Span::ZERO;
                false
            }
            Until::Warm(vessel, target, band) => seen.readings.get(vessel).is_some_and(|t| t >= target.less(band)),
            Until::Resting(at) => {
                let warm = seen.readings.mash_tun.is_some_and(|mash| mash >= at.less(REST_STARTS));
                self.rested = if warm && seen.recirculating { self.rested.plus(seen.elapsed) } else { Span::ZERO };
                self.rested >= REST_SETTLES
            }
            Until::Cool(vessel, target) => seen.readings.get(vessel).is_some_and(|t| t <= target),
            Until::Lasted(lasts) => self.in_stage >= lasts,
            Until::Boils => seen.boils,
        }
    }

    fn leave_stage(&mut self, seen: &Seen) {
        self.stage = self.stage.saturating_add(1);
        self.in_stage = Span::ZERO;
        self.rested = Span::ZERO;
        if self.stage_at(seen).is_none() {
            self.enter_step(self.step.saturating_add(1));
        }
    }

    fn enter_step(&mut self, step: u8) {
        let end = u8::try_from(self.sheet.steps.len()).unwrap_or(u8::MAX);
        self.step = step.min(end);
        self.stage = 0;
        self.in_stage = Span::ZERO;
        self.rested = Span::ZERO;
        self.additions_called = 0;
        self.announced = false;
    }

    fn call_additions(&mut self, stage: &Stage, tell: &mut impl FnMut(Note)) {
        let (Some(Step::Boil { additions, .. }), Until::Lasted(lasts)) =
            (self.sheet.steps.get(usize::from(self.step)), stage.until)
        else {
            return;
        };
        let left = lasts.less(self.in_stage);
        while let Some(&due_at_left) = additions.get(usize::from(self.additions_called)) {
            if left > due_at_left {
                break;
            }
            tell(Note::Addition(self.additions_called));
            self.additions_called = self.additions_called.saturating_add(1);
        }
    }

    /// The present stage of the present step; `None` past the end of either.
    fn stage_at(&self, seen: &Seen) -> Option<Stage> {
        let off = Stage::quiet;
        let warm = |vessel, to| Until::Warm(vessel, to, REACHED);
        match (self.present()?, self.stage) {
            (Step::HeatStrike { fill, .. }, 0) => Some(off(Until::Answered(Prompt::FillTank(*fill)))),
            (Step::HeatStrike { to, .. }, 1) => Some(off(warm(Vessel::LiquorTank, *to)).tank(*to)),
            (Step::HeatStrike { to, .. }, 2) => Some(off(Until::Answered(Prompt::ReadyToDoughIn)).tank(*to)),
            // The tank's element is off while its water leaves.
            (Step::DoughIn { strike, .. }, 0) => Some(off(Until::Answered(Prompt::RunStrike(*strike))).pumping(LIQUOR)),
            (Step::DoughIn { .. }, 1) => Some(off(Until::Answered(Prompt::StirInGrain))),
            (Step::DoughIn { refill, .. }, 2) if refill.millilitres() > 0 => {
                Some(off(Until::Answered(Prompt::RefillTank(*refill))))
            }
            (Step::Rest { at, .. } | Step::MashOut { at, .. }, 0) => Some(off(Until::Resting(*at)).mash(*at)),
            (Step::Rest { at, lasts } | Step::MashOut { at, lasts }, 1) => Some(off(Until::Lasted(*lasts)).mash(*at)),
            (Step::Sparge { at, .. }, 0) => Some(off(Until::Warm(Vessel::LiquorTank, *at, REST_STARTS)).tank(*at).pumping(MASH)),
            (Step::Sparge { at, .. }, 1) => Some(off(Until::Answered(Prompt::SetSparge)).tank(*at)),
            (Step::Sparge { at, hold, .. }, 2) => {
                Some(off(Until::Answered(Prompt::KettleCovered)).tank_if(*hold, *at).pumping(SPARGE))
            }
            (Step::Sparge { water, at, hold }, 3) => {
                let kettle = Demand::Hold(seen.boiling.less(RUN_OFF_HOLD));
                Some(off(Until::Answered(Prompt::SpargeDone(*water))).kettle(kettle).tank_if(*hold, *at).pumping(SPARGE))
            }
            (Step::BringToBoil, 0) => Some(Stage { to_the_boil: true, ..off(Until::Boils) }),
            (Step::Boil { duty, lasts, .. }, 0) => Some(off(Until::Lasted(*lasts)).kettle(Demand::Percent(*duty))),
            (Step::KnockOut, 0) => Some(off(Until::Answered(Prompt::ReadyWhirlpool))),
            (Step::Whirlpool { lasts }, 0) => Some(off(Until::Lasted(*lasts)).pumping(WORT)),
            (Step::Chill { .. }, 0) => Some(off(Until::Answered(Prompt::ReadyChiller))),
            (Step::Chill { to }, 1) => Some(off(Until::Cool(Vessel::BoilKettle, *to)).pumping(WORT)),
            (
                Step::HeatStrike { .. }
                | Step::DoughIn { .. }
                | Step::Rest { .. }
                | Step::MashOut { .. }
                | Step::Sparge { .. }
                | Step::BringToBoil
                | Step::Boil { .. }
                | Step::KnockOut
                | Step::Whirlpool { .. }
                | Step::Chill { .. },
                _,
            ) => None,
        }
    }
}

/// Whether a person who is not at the panel may end a step.
pub const fn may_step_on(step: &Step) -> bool {
    match step {
        Step::Rest { .. } | Step::MashOut { .. } | Step::BringToBoil | Step::Boil { .. } | Step::Whirlpool { .. } => true,
        Step::HeatStrike { .. } | Step::DoughIn { .. } | Step::Sparge { .. } | Step::KnockOut | Step::Chill { .. } => false,
    }
}

const LIQUOR: Pumps = Pumps { liquor: true, mash: false, wort: false };
const MASH: Pumps = Pumps { liquor: false, mash: true, wort: false };
const SPARGE: Pumps = Pumps { liquor: true, mash: true, wort: false };
const WORT: Pumps = Pumps { liquor: false, mash: false, wort: true };

impl Stage {
    fn quiet(until: Until) -> Stage {
        Stage {
            demands: PerVessel::build(|_| Demand::Off),
            to_the_boil: false,
            pumps: Pumps { liquor: false, mash: false, wort: false },
            until,
        }
    }

    fn tank(mut self, at: Celsius) -> Stage {
        self.demands.liquor_tank = Demand::Hold(at);
        self
    }

    fn tank_if(self, hold: bool, at: Celsius) -> Stage {
        if hold { self.tank(at) } else { self }
    }

    /// Holds the mash through the coil.
    fn mash(mut self, at: Celsius) -> Stage {
        self.demands.mash_tun = Demand::Hold(at);
        self.pumping(MASH)
    }

    fn kettle(mut self, demand: Demand) -> Stage {
        self.demands.boil_kettle = demand;
        self
    }

    fn pumping(mut self, pumps: Pumps) -> Stage {
        self.pumps = pumps;
        self
    }
}

fn directive(stage: &Stage, in_stage: Span) -> Directive {
    let (prompt, timer_left) = match stage.until {
        Until::Answered(prompt) => (Some(prompt), None),
        Until::Lasted(lasts) => (None, Some(lasts.less(in_stage))),
        Until::Warm(..) | Until::Resting(_) | Until::Cool(..) | Until::Boils => (None, None),
    };
    Directive { demands: stage.demands, to_the_boil: stage.to_the_boil, pumps: stage.pumps, prompt, timer_left, stands: false }
}

#[cfg(test)]
mod tests;
