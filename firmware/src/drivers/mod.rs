//! Small drivers of our own over embedded-hal 1.0, each with its datasheet named.

pub mod ds18b20;
pub mod expander;
pub mod max31865;
pub mod oled;
pub mod one_wire;
