//! What is watched, told to other programs in the house: an OpenMetrics page and messages over MQTT.
//!
//! Out only: nothing can be asked through either. What is old is not told as new: figures are left out of [`metrics`], and the device counts
//! as unavailable over [`mqtt`].

pub mod discovery;
pub mod metrics;
pub mod mqtt;
