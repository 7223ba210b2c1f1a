//! The image that is flashed, in the emulator.

mod day;
mod figures;
mod flood;
mod host;
mod start;
mod stop;
mod support;
