//! The application that carries [`copperhold_core`] to a microcontroller.
//!
//! | room | job |
//! | --- | --- |
//! | [`app`] | the main loop, whatever the board |
//! | [`board`] | what a board must offer; the board files are in `boards/` |
//! | [`fast_task`], [`lines`], [`buttons`] | the timer interrupt: contacts in, lines out |
//! | [`probes`], [`sense`], [`drivers`] | thermometers, sense lines, display, expander |
//! | [`panel`] | the front panel's screens |
//! | [`storage`] | settings, learned values and the sheet in flash |
//! | [`link`], [`remote`], [`report`] | the serial link |
//! | [`progress`] | when the watchdog may be fed |
#![no_std]
#![forbid(unsafe_code)]

pub mod app;
pub mod board;
pub mod buttons;
pub mod drivers;
pub mod fast_task;
pub mod lines;
pub mod link;
pub mod panel;
pub mod probes;
pub mod progress;
pub mod remote;
pub mod report;
pub mod sense;
pub mod storage;

pub use copperhold_core as control;
