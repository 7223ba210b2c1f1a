//! From what a page asks to what a controller understands.

use super::order::Act;
use super::words;
use copperhold_core::vessel::Vessel;
use copperhold_core::wire::message::{DemandMessage, PromptMessage, SheetAct};

/// What a controller understands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ask {
    /// All heat away, the sheet ended.
    Stop,
    /// A demand by hand.
    Demand(Vessel, DemandMessage),
    /// Something about the step under way.
    Sheet(u8, SheetAct),
}

/// Translates. `shown` is the prompt that the controller shows.
///
/// # Errors
/// In words: a figure that is no figure, or another prompt than the one that is shown.
pub fn translate(act: &Act, shown: Option<PromptMessage>) -> Result<Ask, String> {
    Ok(match act {
        Act::Stop {} => Ask::Stop,
        Act::Off { vessel } => Ask::Demand((*vessel).into(), DemandMessage::Off),
        Act::Target { vessel, target_c } => Ask::Demand((*vessel).into(), DemandMessage::Hold(milli(*target_c)?)),
        Act::Share { vessel, share } => Ask::Demand((*vessel).into(), DemandMessage::Percent(hundredths(*share)?)),
        Act::StepTarget { step, target_c } => Ask::Sheet(*step, SheetAct::Target(milli(*target_c)?)),
        Act::StepShare { step, share } => Ask::Sheet(*step, SheetAct::Share(hundredths(*share)?)),
        Act::Answer { step, prompt } => {
            let asked = shown.filter(|&shown| words::prompt_key(shown) == prompt);
            let asked = asked.ok_or("the controller asks something else by now: look again")?;
            Ask::Sheet(*step, SheetAct::Answer(asked))
        }
        Act::StepOn { step } => Ask::Sheet(*step, SheetAct::StepOn),
        Act::Hold { step, held } => Ask::Sheet(*step, SheetAct::Hold(*held)),
    })
}

/// Thousandths of a degree; what is hotter or colder than any brewery is refused here, the vessel's limit by the controller.
fn milli(celsius: f64) -> Result<i32, String> {
    if (0.0..=120.0).contains(&celsius) {
        Ok((celsius * 1000.0).round() as i32)
    } else {
        Err(format!("a target of {celsius} °C: give one from 0 to 120 °C"))
    }
}

fn hundredths(share: f64) -> Result<u16, String> {
    if (0.0..=1.0).contains(&share) {
        Ok((share * 10_000.0).round() as u16)
    } else {
        Err(format!("a share of {share}: give one from 0 to 1, the whole power"))
    }
}
