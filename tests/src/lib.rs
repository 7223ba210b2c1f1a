//! Shared pieces of the tests: the reference tables and scenario builders.

pub mod reference;
