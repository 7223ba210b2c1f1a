//! What the log tells the host.

use super::message::{Line, line};
use crate::event::Event;
use crate::vessel::Element;
use serde::{Deserialize, Serialize};

/// Something that happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Happening {
    /// A person armed.
    Armed,
    /// Disarmed.
    Disarmed,
    /// The grant changed.
    Grant(Option<Element>),
    /// A trip, in words.
    Tripped(Line),
    /// A trip was acknowledged at the panel.
    Acknowledged(Line),
    /// Advice, in words.
    Advised(Line),
    /// The sheet moved to this step.
    Step(u8),
    /// An addition is due.
    Addition(u8),
    /// The sheet is done.
    SheetDone,
    /// Entries of the log were lost.
    Lost(u32),
    /// The sheet goes on; it stood still for this long, in milliseconds, because of a trip or because nobody had armed.
    SheetStood(u32),
}

impl From<Event> for Happening {
    fn from(event: Event) -> Happening {
        match event {
            Event::Armed => Happening::Armed,
            Event::Disarmed => Happening::Disarmed,
            Event::Grant(element) => Happening::Grant(element),
            Event::Tripped(trip) => Happening::Tripped(line(&trip.words())),
            Event::Acknowledged(trip) => Happening::Acknowledged(line(&trip.words())),
            Event::Advised(advice) => Happening::Advised(line(&advice.words())),
            Event::Step(step) => Happening::Step(step),
            Event::Addition(addition) => Happening::Addition(addition),
            Event::SheetStood(time) => Happening::SheetStood(u32::try_from(time.as_millis()).unwrap_or(u32::MAX)),
            Event::SheetDone => Happening::SheetDone,
        }
    }
}
