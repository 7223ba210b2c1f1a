//! Copperhold's control core: pure, `no_std`, no alloc, integer and fixed point only.
//!
//! The map, in the order a tick flows:
//!
//! | room | job |
//! | --- | --- |
//! | [`controller`] | one tick from inputs to outputs; drives the two halves below |
//! | [`fast`] | switches, [`arming`], [`interlock`], [`burst`]: 100 Hz or faster, trusts nobody |
//! | [`supervisor`] | the control tick, 4 Hz: drives everything below |
//! | [`probe`] | raw counts to temperatures, and what no liquid can do |
//! | [`guard`] | watches for danger: holds, trips, advises |
//! | [`sequencer`], [`sheet`] | the brew day's steps |
//! | [`cascade`], [`boil`], [`boil_power`] | the mash by its own thermometer; coming to the boil; how hard to boil |
//! | [`heat`] | from a demand and a reading to a duty, learning the vessel while it heats |
//! | [`arbiter`] | who gets the one element |
//! | [`units`], [`vessel`], [`settings`], [`event`] | words the others are made of |
//! | [`wide`] | products that saturate, cheap on a 32-bit processor |
//! | `wire` (feature `wire`) | messages and frames of the serial link |
//!
//! Time and readings come in as arguments; outputs are plain values; nothing here touches hardware or reads a clock.
#![no_std]
#![forbid(unsafe_code)]

pub mod arbiter;
pub mod arming;
pub mod boil;
pub mod boil_power;
pub mod burst;
pub mod cascade;
pub mod controller;
pub mod event;
pub mod fast;
pub mod guard;
pub mod heat;
pub mod interlock;
pub mod probe;
pub mod sequencer;
pub mod settings;
pub mod sheet;
pub mod supervisor;
pub mod units;
pub mod vessel;
pub mod wide;
#[cfg(feature = "wire")]
pub mod wire;
