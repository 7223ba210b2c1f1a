//! Shared pieces of the tests: the reference tables and scenario builders.

pub mod emulator;
pub mod flash;
pub mod memory_flash;
pub mod reference;
pub mod sample_day;
