//! What the elements draw from the supply. CAUTION: information only.
//!
//! Mains voltage and water kill. These figures check arithmetic; they are no wiring advice, and no proof that a circuit carries the load.
//! Local electrical code and a licensed electrician decide.

/// Standard ratings of North American overcurrent devices up to 100 A, A: NEC 240.6(A), as quoted; the book was not opened.
const STANDARD_A: [f64; 14] = [15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0, 110.0];
/// A load that runs for three hours or more is reckoned at 125 % there: NEC 210.19(A) and 210.20(A), as quoted.
const CONTINUOUS: f64 = 1.25;
/// A single appliance over 13.3 A there may have at most 150 % of its current, next size up: NEC 422.11(E), as quoted.
const APPLIANCE: f64 = 1.5;

/// An element's resistance, ohm, from its rating: `V^2 / P`. Ohm's law; the rise of under 2 % when hot is ignored.
pub fn resistance(rated_w: f64, rated_v: f64) -> f64 {
    rated_v * rated_v / rated_w
}

/// What an element of that rating gives at another voltage, W: `P (V / V_rated)^2`. Ohm's law.
pub fn power(rated_w: f64, rated_v: f64, volts: f64) -> f64 {
    rated_w * (volts / rated_v).powi(2)
}

/// What an element of that rating draws at another voltage, A: `V / R`. Ohm's law.
pub fn current(rated_w: f64, rated_v: f64, volts: f64) -> f64 {
    volts / resistance(rated_w, rated_v)
}

/// The current that a continuous load is reckoned at in North America, A: 125 %. CAUTION: information only.
pub fn continuous_a(amperes: f64) -> f64 {
    CONTINUOUS * amperes
}

/// The next standard rating at or above a current, A; `None` above 110 A. North American ratings. CAUTION: information only.
pub fn next_standard_a(amperes: f64) -> Option<f64> {
    STANDARD_A.into_iter().find(|rating| *rating >= amperes)
}

/// The largest overcurrent device for a single appliance there, A: 150 %, next size up. CAUTION: information only.
pub fn appliance_ceiling_a(amperes: f64) -> Option<f64> {
    next_standard_a(APPLIANCE * amperes)
}

/// A load as a share of a circuit's rating. 0.8 is the limit for continuous loads on an ordinary breaker. CAUTION: information only.
pub fn share_of_circuit(watts: f64, volts: f64, circuit_a: f64) -> f64 {
    watts / volts / circuit_a
}

/// Heat of a solid-state relay, W: current times its drop (1.0 to 1.6 V, typical, from memory).
pub fn relay_heat_w(amperes: f64, drop_v: f64) -> f64 {
    amperes * drop_v
}

/// What energy costs: kWh times the price of one, in whatever currency the price is in.
pub fn cost(kwh: f64, price_per_kwh: f64) -> f64 {
    kwh * price_per_kwh
}
