//! Copperhold's control core: pure, `no_std`, integer and fixed point only.
#![no_std]
#![forbid(unsafe_code)]

pub mod heat;
pub mod sheet;
pub mod units;
pub mod vessel;
