//! What a person keeps of a brew day: a table for the terminal, a JSON document, and a page with charts.
//!
//! All three are pure functions of a [`Day`](crate::day::Day), so the same day gives the same bytes.

mod atomic;
mod chart;
mod cursor;
mod energy;
mod facts;
pub(crate) mod frame;
pub mod html;
pub mod json;
pub mod measure;
pub mod palette;
mod strip;
pub(crate) mod svg;
mod tables;
pub mod text;
pub(crate) mod thin;

pub use atomic::write_atomically;
