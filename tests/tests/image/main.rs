//! The image that is flashed, in the emulator.

mod campaign;
mod day;
mod figures;
mod flood;
mod flow;
mod host;
mod sense;
mod stack;
mod start;
mod stop;
mod support;
