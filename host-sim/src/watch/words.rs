//! From the link's figures to words: prompts, trips, refusals, steps.

use crate::report::measure::{Measure, duration};
use copperhold_core::guard::Trip;
use copperhold_core::probe::ProbeFault;
use copperhold_core::sequencer::Prompt;
use copperhold_core::sheet::Step;
use copperhold_core::units::Litres;
use copperhold_core::vessel::{Element, Vessel};
use copperhold_core::wire::message::{PromptMessage, Refused, line};

/// The core's prompt of a message.
pub const fn prompt(message: PromptMessage) -> Prompt {
    match message {
        PromptMessage::FillTank(ml) => Prompt::FillTank(Litres::from_millilitres(ml)),
        PromptMessage::ReadyToDoughIn => Prompt::ReadyToDoughIn,
        PromptMessage::RunStrike(ml) => Prompt::RunStrike(Litres::from_millilitres(ml)),
        PromptMessage::StirInGrain => Prompt::StirInGrain,
        PromptMessage::RefillTank(ml) => Prompt::RefillTank(Litres::from_millilitres(ml)),
        PromptMessage::SetSparge => Prompt::SetSparge,
        PromptMessage::KettleCovered => Prompt::KettleCovered,
        PromptMessage::SpargeDone(ml) => Prompt::SpargeDone(Litres::from_millilitres(ml)),
        PromptMessage::ReadyWhirlpool => Prompt::ReadyWhirlpool,
        PromptMessage::ReadyChiller => Prompt::ReadyChiller,
    }
}

/// A prompt's name, to answer it by.
pub const fn prompt_key(message: PromptMessage) -> &'static str {
    match message {
        PromptMessage::FillTank(_) => "fill_tank",
        PromptMessage::ReadyToDoughIn => "ready_to_dough_in",
        PromptMessage::RunStrike(_) => "run_strike",
        PromptMessage::StirInGrain => "stir_in_grain",
        PromptMessage::RefillTank(_) => "refill_tank",
        PromptMessage::SetSparge => "set_sparge",
        PromptMessage::KettleCovered => "kettle_covered",
        PromptMessage::SpargeDone(_) => "sparge_done",
        PromptMessage::ReadyWhirlpool => "ready_whirlpool",
        PromptMessage::ReadyChiller => "ready_chiller",
    }
}

/// Whether the answer says that an element is covered.
pub const fn covers(message: PromptMessage) -> bool {
    match message {
        PromptMessage::FillTank(_) | PromptMessage::RefillTank(_) | PromptMessage::KettleCovered => true,
        PromptMessage::ReadyToDoughIn
        | PromptMessage::RunStrike(_)
        | PromptMessage::StirInGrain
        | PromptMessage::SetSparge
        | PromptMessage::SpargeDone(_)
        | PromptMessage::ReadyWhirlpool
        | PromptMessage::ReadyChiller => false,
    }
}

/// Why a controller did not do what was asked, and what to do.
pub const fn refused(why: Refused) -> &'static str {
    match why {
        Refused::NotArmed => "nobody has armed the controller: arm it at the panel, then ask again",
        Refused::NotPossible => {
            "out of range for this vessel: a target lies above 0 °C and at least 1 K below the vessel's limit, and only a vessel \
             with an element takes a percentage"
        }
        Refused::SheetRuns => "a sheet is running and makes the demands: change the figure of its present step",
        Refused::Tripped => "a trip is latched: remove its cause and acknowledge it at the panel",
        Refused::Duration => {
            "the controller and this program disagree about how long a demand may last: use the same version of both"
        }
        Refused::Step => "a figure of the sheet is out of range for the controller",
        Refused::Unknown => "the controller does not know this: use the same version of both",
        Refused::MovedOn => "the sheet has moved on, or its step does not allow that: look again",
    }
}

/// What to do about a trip that a controller tells of in words.
pub fn remedy(cause: &str) -> &'static str {
    every_trip()
        .into_iter()
        .find(|trip| line(&trip.words()) == cause)
        .map_or("look at the panel: it names the cause and what to do", Trip::remedy)
}

/// Every trip there can be.
pub fn every_trip() -> Vec<Trip> {
    let mut all = vec![Trip::StopLoop, Trip::Clock, Trip::ContactorStuck, Trip::ContactorOpen, Trip::Astray, Trip::Alone];
    for vessel in Vessel::ALL {
        all.extend([Trip::OverTemperature(vessel), Trip::Fell(vessel)]);
        all.extend(ProbeFault::ALL.map(|fault| Trip::Probe(vessel, fault)));
    }
    for element in Element::ALL {
        all.extend([Trip::UnaskedHeat(element), Trip::NoRise(element), Trip::UnaskedCurrent(element)]);
        all.extend([Trip::NoCurrent(element), Trip::Uncovered(element)]);
    }
    all
}

/// What a step does while neither a prompt nor a timer says it.
pub const fn doing(step: &Step) -> &'static str {
    match step {
        Step::HeatStrike { .. } => "Heating the strike water",
        Step::DoughIn { .. } => "Doughing in",
        Step::Rest { .. } => "Bringing the mash to its rest",
        Step::MashOut { .. } => "Bringing the mash to mash-out",
        Step::Sparge { .. } => "Heating the sparge water",
        Step::BringToBoil => "Coming to the boil",
        Step::Boil { .. } => "Boiling",
        Step::KnockOut => "Heat off",
        Step::Whirlpool { .. } => "Whirlpool",
        Step::Chill { .. } => "Chilling",
    }
}

/// A step's figures in a few words, in the reader's units. `planned_s` is its time, where it has one.
pub fn figures(step: &Step, measure: Measure) -> String {
    let volume = |litres: &Litres| measure.volume_text(f64::from(litres.millilitres()) / 1000.0);
    let degrees = |celsius: &copperhold_core::units::Celsius| measure.degrees_text(crate::fit::degrees(*celsius));
    let lasting = |lasts: &copperhold_core::units::Span| duration(lasts.as_millis() as f64 / 1000.0);
    match step {
        Step::HeatStrike { fill, to } => format!("{} to {}", volume(fill), degrees(to)),
        Step::DoughIn { strike, .. } => format!("{} of strike water", volume(strike)),
        Step::Rest { at, lasts } | Step::MashOut { at, lasts } => format!("{} for {}", degrees(at), lasting(lasts)),
        Step::Sparge { water, at, .. } => format!("{} at {}", volume(water), degrees(at)),
        Step::BringToBoil => "full power to the edge".to_owned(),
        Step::Boil { duty, lasts, .. } => {
            format!("{} % for {}", f64::from(duty.basis_points()) / 100.0, lasting(lasts))
        }
        Step::KnockOut => "heat off".to_owned(),
        Step::Whirlpool { lasts } => lasting(lasts),
        Step::Chill { to } => format!("to {}", degrees(to)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_trip_finds_its_remedy_by_its_words() {
        let all = every_trip();
        assert!(all.len() > 40);
        let texts: BTreeSet<String> = all.iter().map(|trip| line(&trip.words()).to_string()).collect();
        assert_eq!(texts.len(), all.len(), "no two trips have the same words");
        for trip in all {
            assert_eq!(remedy(&line(&trip.words())), trip.remedy());
        }
        assert!(remedy("something a later firmware says").contains("panel"));
    }
}
