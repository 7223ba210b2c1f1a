//! The image that is flashed, in the emulator.

mod day;
mod figures;
mod flood;
mod start;
mod stop;
mod support;
