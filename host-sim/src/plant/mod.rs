//! The brewery as physics: what the elements, pumps, valves and the room do to the liquid, and what the thermometers make of it.
//!
//! Deterministic: a rig, a seed and a list of actions give the same day, bit for bit, on one machine. In f64, SI units; temperatures in
//! degrees Celsius, volumes in litres.
//!
//! [`brewery`] is the door, [`hands`] what the brewer does. Behind it: [`network`] has the equations over the flat [`state`],
//! [`integrate`] steps them, [`vessel`] and [`loss`] are one kettle in a room, [`coil`] the heat exchangers, [`water`] and [`air`] the
//! fluids, [`foam`] the hot break, [`probe`] the thermometers, [`energy`] the account.
//!
//! ```
//! use copperhold::{plant::{Brewery, Drive}, rig::Rig};
//! use copperhold_core::vessel::Vessel;
//!
//! let mut brewery = Brewery::new(&Rig::example(), 1);
//! brewery.preset(Vessel::LiquorTank, 30.0, 20.0);
//! let mut drive = Drive::default();
//! drive.element_on.liquor_tank = 1.0;
//! for _ in 0..240 {
//!     brewery.step(0.25, &drive);
//! }
//! let warmed_k = brewery.truth().bulk_c.liquor_tank - 20.0;
//! assert!((2.0..2.6).contains(&warmed_k)); // 5.5 kW for a minute into 128 kJ/K, less the sheath's share
//! ```
//!
//! Left out: wort's own properties (it is water here), the pumps' heat, heat exchange with a neighbouring vessel, weather.

pub mod air;
pub mod brewery;
pub mod coil;
pub mod energy;
pub mod figures;
pub mod foam;
pub mod hands;
pub mod integrate;
pub mod loss;
pub mod network;
pub mod probe;
pub mod rng;
pub mod state;
pub mod vessel;
pub mod water;

pub use brewery::{Brewery, Truth};
pub use energy::EnergyAccount;
pub use figures::Figures;
pub use network::{Drive, FlowShare, MashReturn, Network, WortReturn};
pub use probe::{RawCode, RawReading};
