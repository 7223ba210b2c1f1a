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
//! | [`progress`], [`restart`] | when the watchdog may be fed, and what its resets mean |
#![no_std]
#![forbid(unsafe_code)]

#[cfg(all(feature = "pico", feature = "stm32f4"))]
compile_error!("an image is for one board: choose one of the features `pico` and `stm32f4`");

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
pub mod restart;
pub mod sense;
pub mod storage;

pub use copperhold_core as control;
