//! The arithmetic of the brew day: pure functions, each with its source beside it.
//!
//! | room | what it answers |
//! | --- | --- |
//! | [`gravity`] | specific gravity, Plato, density; what a hydrometer or refractometer says at another temperature |
//! | [`grain`] | what malt holds: heat, water, room, extract |
//! | [`mash`] | strike, infusion and decoction by heat balance |
//! | [`volumes`] | water through the day: absorption, dead space, boil-off, shrinkage, trub |
//! | [`extract`] | extract, predicted gravity, efficiency by stage |
//! | [`alcohol`] | attenuation and alcohol by several published formulas |
//! | [`electric`] | what the elements draw: CAUTION information only |
//! | [`clock`] | times of day, and when to begin |
//!
//! Units: litres at 20 C ("cold") unless a name says hot, kilograms, degrees Celsius, joules, watts, seconds. SG is the apparent specific
//! gravity 20/20 C. Arguments outside the range that a function states give a number that means little, never a panic.
//!
//! ```
//! use copperhold::brewing::{gravity, mash::{Strike, WaterHeat}};
//!
//! let strike = Strike { grain_kg: 5.0, grain_c: 20.0, water_kg: 15.0, tun_j_per_k: 2000.0, tun_c: 20.0, ..Strike::dry() };
//! assert!((strike.water_c(66.0, WaterHeat::Constant) - 73.60).abs() < 0.01);
//! assert!((gravity::plato(1.048) - 11.91).abs() < 0.01);
//! ```

pub mod alcohol;
pub mod clock;
pub mod electric;
pub mod extract;
pub mod grain;
pub mod gravity;
pub mod mash;
pub mod volumes;
