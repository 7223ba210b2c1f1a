//! Shared pieces of the tests: the reference tables and scenario builders.

pub mod bench;
pub mod bench_kettle;
pub mod boil_bench;
pub mod emulator;
pub mod fake_board;
pub mod heat_bench;
pub mod host_board;
pub mod http;
pub mod mash_bench;
pub mod memory_flash;
pub mod parsers;
pub mod pty;
pub mod reference;
pub mod sample_day;
pub mod stack;
pub mod trips;
pub mod watched;

pub use copperhold_uf2 as flash;
