//! Rehearses a brew day against simulated kettles.
#![forbid(unsafe_code)]
