//! Watching a brew day, rehearsed or on a board, and asking a little of it.
//!
//! | room | what it does |
//! | --- | --- |
//! | [`state`] | what is seen: [`state::Now`] four times a second, [`state::About`] when it changes |
//! | [`hub`] | one source puts in, any number of readers take out |
//! | [`order`], [`translate`] | what may be asked, and the same as the controller understands it |
//! | [`rehearsal`], [`drill`] | the source that needs no board, with faults on request |
//! | [`board`], [`conversation`] | the source that is real: the serial port, and what is said on it |
//! | [`diary`] | a board's day into the logbook |
//! | [`server`], [`gate`], [`routes`] | sockets, who may come in, what is served |
//! | [`track`], [`words`] | from what a controller says to a moment in words |
//!
//! ```text
//!   rehearsal thread --+                +--> pages (server-sent events)
//!   serial thread -----+--> Hub --------+--> any other reader: Hub::moments(), Hub::about()
//!          ^                            |
//!          +------- orders <------------+
//! ```

pub mod board;
pub mod conversation;
pub mod diary;
pub mod drill;
pub mod gate;
mod history;
pub mod hub;
pub mod order;
pub mod rehearsal;
pub mod routes;
pub mod server;
pub mod state;
pub mod track;
pub mod translate;
pub mod words;

pub use hub::{Hub, Snapshot};
pub use state::{About, Now};
