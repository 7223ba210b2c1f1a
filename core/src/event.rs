//! The event log: what happened, when, and how much of it was lost.
//!
//! A fixed ring. When nobody reads, the oldest entries give way to new ones, and the log counts what it dropped and since when, so a
//! reader never takes a gap for silence. Trips are not kept here alone: the guard latches them by itself.

use crate::guard::{Advice, Trip};
use crate::units::{Instant, Span};
use crate::vessel::Element;
use heapless::Deque;

/// Something that happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Event {
    /// A person armed the controller.
    Armed,
    /// The controller was disarmed, by the key, a stop or a trip.
    Disarmed,
    /// An element was granted, or the grant was withdrawn.
    Grant(Option<Element>),
    /// The guard tripped.
    Tripped(Trip),
    /// A trip was acknowledged at the panel.
    Acknowledged(Trip),
    /// A warning was raised.
    Advised(Advice),
    /// The sheet moved to this step (counted from 0).
    Step(u8),
    /// The sheet asks for an addition (counted from 0 within the step).
    Addition(u8),
    /// The sheet goes on; it stood still for this long, because of a trip or because nobody had armed.
    SheetStood(Span),
    /// The last step of the sheet ended.
    SheetDone,
}

/// An event and when it happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Entry {
    /// When.
    pub at: Instant,
    /// What.
    pub event: Event,
}

/// Entries lost because nobody read the log in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Loss {
    /// How many.
    pub count: u32,
    /// When the first of them happened.
    pub since: Instant,
}

/// A ring of the last `N` entries that nobody has read yet.
#[derive(Debug, Clone, Default)]
pub struct Log<const N: usize> {
    entries: Deque<Entry, N>,
    loss: Option<Loss>,
}

impl<const N: usize> Log<N> {
    /// An empty log.
    pub const fn new() -> Self {
        Log { entries: Deque::new(), loss: None }
    }

    /// Adds an entry; a full log drops its oldest and counts it.
    pub fn push(&mut self, at: Instant, event: Event) {
        if self.entries.is_full()
            && let Some(oldest) = self.entries.pop_front()
        {
            let loss = self.loss.get_or_insert(Loss { count: 0, since: oldest.at });
            loss.count = loss.count.saturating_add(1);
        }
        // The ring has room now; a log without any does not compile.
        let _ = self.entries.push_back(Entry { at, event });
    }

    /// Takes the oldest entry.
    pub fn take(&mut self) -> Option<Entry> {
        self.entries.pop_front()
    }

    /// Takes the account of what was lost since the last call.
    pub fn take_loss(&mut self) -> Option<Loss> {
        self.loss.take()
    }
}

#[cfg(test)]
mod tests;
