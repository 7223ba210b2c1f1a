//! Copperhold's control core: pure, `no_std`, integer and fixed point only.
#![no_std]
#![forbid(unsafe_code)]

pub mod arming;
pub mod burst;
pub mod event;
pub mod fast;
pub mod guard;
pub mod interlock;
pub mod probe;
pub mod sheet;
pub mod units;
pub mod vessel;
