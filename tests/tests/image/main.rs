//! The image that is flashed, in the emulator.

mod day;
mod figures;
mod link;
mod start;
mod stop;
mod support;
