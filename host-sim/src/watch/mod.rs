//! Watching a brew day, rehearsed or on a board, and asking a little of it.
//!
//! | room | what it does |
//! | --- | --- |
//! | [`state`] | what is seen: [`state::Now`] four times a second, [`state::About`] when it changes |
//! | [`hub`] | one source puts in, any number of readers take out |
//! | [`order`] | what may be asked |
//!
//! ```text
//!   rehearsal thread --+                +--> pages (server-sent events)
//!   serial thread -----+--> Hub --------+--> any other reader: Hub::moments(), Hub::about()
//!          ^                            |
//!          +------- orders <------------+
//! ```

pub mod hub;
pub mod order;
pub mod state;

pub use hub::{Hub, Snapshot};
pub use state::{About, Now};
