//! Shared pieces of the tests: the reference tables and scenario builders.

pub mod bench_kettle;
pub mod reference;
pub mod sample_day;
