//! The image that is flashed, in the emulator.

mod start;
mod stop;
mod support;
