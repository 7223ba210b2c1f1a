//! The application that carries [`copperhold_core`] to a microcontroller.
#![no_std]
#![forbid(unsafe_code)]

pub use copperhold_core as control;
