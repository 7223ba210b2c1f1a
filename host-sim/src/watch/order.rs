//! What may be asked from a page: less heat at any time; other figures, an answer, a held timer while a person has armed. There is no word
//! that arms or acknowledges.

use copperhold_core::vessel::Vessel;

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Act {
    /// Takes all heat away and ends the sheet.
    Stop,
    /// No heat for this vessel.
    Off(Vessel),
    /// Hold this temperature, degrees Celsius.
    Target(Vessel, f64),
    /// This share of full power, 0 to 1.
    Share(Vessel, f64),
    /// What the prompt of this name asked has been done.
    Answer(&'static str),
    /// Ends the step of this index.
    StepOn(usize),
    /// Stops the timer of the step of this index, or lets it run.
    Hold(usize, bool),
}
