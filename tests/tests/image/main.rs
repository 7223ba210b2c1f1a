//! The image that is flashed, in the emulator.

mod day;
mod start;
mod stop;
mod support;
