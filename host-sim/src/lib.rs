//! Rehearses an electric brew day: the real control core against simulated kettles.
#![forbid(unsafe_code)]

pub mod bench;
pub mod brewing;
pub mod cosim;
pub mod day;
pub mod drill;
pub mod files;
pub mod fit;
pub mod import;
pub mod logbook;
pub mod plan;
pub mod plant;
pub mod port;
pub mod rehearse;
pub mod report;
pub mod rig;
pub mod send;
mod sheet_subject;
pub mod survey;
pub mod telemetry;
pub mod tune;
mod voice;
pub mod watch;
