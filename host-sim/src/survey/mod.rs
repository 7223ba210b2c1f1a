//! The survey: random rigs, and on each of them the real controller beside its rivals.
//!
//! - *Draw*: a rig, its filling, its mains and its water, drawn at random within [`ranges`].
//! - *Trial*: one heat-up and hold of a draw under one law. All trials of a draw share plant, probe, noise and control tick.
//! - *Contender*: who heats. Ours twice (nothing known, then with what the first heat-up taught), then the rivals.
//! - *Least time*: the same plant at constant full power until its bulk is within [`BAND_K`] of the target.
//! - *Ratio*: time until the bulk is within the band for good, over the least time.
//!
//! The rivals conduct any share of a tick they like, without contactor, burst-fire or guard, which is in their favour.
//!
//! Every rig has its own seed, made from the survey's seed and the rig's number, and results are kept in order: the figures do not
//! depend on how many threads compute them.

mod csv;
mod draw;
mod figures;
mod oracle;
mod ours;
mod page;
mod plot;
pub mod ranges;
pub mod rivals;
mod text;
pub mod trial;

pub use csv::csv;
pub use draw::Draw;
pub use figures::{Measure, Spread, spread};
pub use oracle::{Tuned, penalty};
pub use page::page;
pub use text::{ranges_text, table};
pub use trial::{BAND_K, HOLD_S, Outcome};

use crate::plant::Figures;
use copperhold_core::guard::Trip;
use copperhold_core::heat::Learned;
use rayon::prelude::*;

/// Who heats.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Contender {
    /// The real controller, nothing known of the rig but its file.
    OursFirst,
    /// The real controller with what its first heat-up taught, other noise.
    OursSecond,
    /// A PI whose gains were searched for on this very rig, with this very noise.
    Oracle,
    /// SIMC PI with the plant's true climb and lag.
    Simc,
    /// Ziegler and Nichols' PI with the plant's true climb and lag.
    ZieglerNichols,
    /// The `pid` crate with SIMC gains from the plant's true climb and lag.
    PidCrate,
    /// On below the target by half a kelvin, off at the target.
    Thermostat,
}

impl Contender {
    /// Every contender, in the order of tables.
    pub const ALL: [Contender; 7] = [
        Contender::OursFirst,
        Contender::OursSecond,
        Contender::Oracle,
        Contender::Simc,
        Contender::ZieglerNichols,
        Contender::PidCrate,
        Contender::Thermostat,
    ];

    /// The name a person reads.
    pub const fn label(self) -> &'static str {
        match self {
            Contender::OursFirst => "ours, first heat-up",
            Contender::OursSecond => "ours, second heat-up",
            Contender::Oracle => "oracle PI",
            Contender::Simc => "SIMC PI",
            Contender::ZieglerNichols => "Ziegler-Nichols PI",
            Contender::PidCrate => "pid crate, SIMC",
            Contender::Thermostat => "thermostat",
        }
    }

    /// The name in column heads.
    pub const fn key(self) -> &'static str {
        match self {
            Contender::OursFirst => "ours_first",
            Contender::OursSecond => "ours_second",
            Contender::Oracle => "oracle",
            Contender::Simc => "simc",
            Contender::ZieglerNichols => "ziegler_nichols",
            Contender::PidCrate => "pid_crate",
            Contender::Thermostat => "thermostat",
        }
    }

    /// How it works and what it knows, in a sentence.
    pub const fn about(self) -> &'static str {
        match self {
            Contender::OursFirst => {
                "The real controller. Knows the rig file: rated power, capacity, probe kind. Not the filling, the mains voltage, any lag or loss."
            }
            Contender::OursSecond => "The real controller with what its first heat-up on this rig taught. The noise is another.",
            Contender::Oracle => {
                "A PI whose gain and integral time were searched for on this rig, this filling and this very noise, for the least \
                 penalty: (ratio - 1) / 0.02 + overshoot / 0.12 K. Nobody could tune so in practice."
            }
            Contender::Simc => {
                "PI, Kc = 1 / (2 k L), Ti = 8 L (Skogestad 2003, integrating process, closed-loop time L), with the plant's true k and L."
            }
            Contender::ZieglerNichols => {
                "PI, Kc = 0.9 / (k L), Ti = 3.33 L (Ziegler and Nichols 1942, step response), with the plant's true k and L."
            }
            Contender::PidCrate => {
                "The crate `pid` 4.0 with the SIMC gains; its integral term is limited to twice the true standing duty, which is its own means \
                 against windup."
            }
            Contender::Thermostat => "Full power from half a kelvin below the target until the reading is at the target.",
        }
    }
}

/// One value for each contender.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PerContender<T>([T; Contender::ALL.len()]);

impl<T> PerContender<T> {
    /// The value of one contender.
    pub const fn get(&self, contender: Contender) -> &T {
        &self.0[contender as usize]
    }
}

/// Everything that was found out on one rig.
#[derive(Debug, Clone, PartialEq)]
pub struct RigResult {
    /// The rig's number within the survey, from 0.
    pub number: u32,
    /// The rig, its filling and its water.
    pub draw: Draw,
    /// The plant's true figures.
    pub plant: Figures,
    /// Least time, s.
    pub least_s: f64,
    /// How each contender did.
    pub outcomes: PerContender<Outcome>,
    /// What tripped in our first and in our second heat-up; neither should.
    pub trips: [Option<Trip>; 2],
    /// What the first heat-up taught.
    pub learned: Option<Learned>,
    /// The oracle's gains.
    pub oracle: Tuned,
}

/// A survey, done.
#[derive(Debug, Clone, PartialEq)]
pub struct Survey {
    /// The seed all rigs come from.
    pub seed: u64,
    /// Rig by rig, in order.
    pub rigs: Vec<RigResult>,
}

/// Surveys `rigs` rigs on all cores of the present rayon pool. `done` is called once per finished rig, in no particular order.
pub fn run(rigs: u32, seed: u64, done: impl Fn() + Sync) -> Survey {
    let one = |number: u32| {
        let result = survey_rig(number, seed);
        done();
        result
    };
    Survey { seed, rigs: (0..rigs).into_par_iter().map(one).collect() }
}

/// Draws one rig and lets only the real controller heat it, first knowing nothing, then what that taught; the first trip. No fault is
/// injected, so any trip is a false one.
pub fn false_trip(number: u32, seed: u64) -> Option<Trip> {
    let draw = Draw::of(number, seed);
    let least_s = trial::Ramp::run(&draw).least_s;
    let first = ours::heat_up(&draw, draw.noise_seed, Default::default(), least_s);
    let second = ours::heat_up(&draw, draw.noise_seed ^ ours::OTHER_NOISE, first.knowledge, least_s);
    first.trip.or(second.trip)
}

/// Draws one rig and lets every contender heat it.
pub fn survey_rig(number: u32, seed: u64) -> RigResult {
    let draw = Draw::of(number, seed);
    let plant = draw.figures();
    let ramp = trial::Ramp::run(&draw);
    let first = ours::heat_up(&draw, draw.noise_seed, Default::default(), ramp.least_s);
    let second = ours::heat_up(&draw, draw.noise_seed ^ ours::OTHER_NOISE, first.knowledge, ramp.least_s);
    let (tuned, oracle) = oracle::search(&draw, &plant, &ramp);
    let pi = |gains| trial::pi(&draw, &ramp, gains, f64::INFINITY).unwrap_or(Outcome::NEVER);
    let mut crate_pid = rivals::CratePid::new(draw.target_c, rivals::simc(&plant), 2.0 * plant.standing_duty);
    let mut thermostat = rivals::Thermostat::new(draw.target_c);
    let outcomes = PerContender([
        first.outcome,
        second.outcome,
        oracle,
        pi(rivals::simc(&plant)),
        pi(rivals::ziegler_nichols(&plant)),
        trial::free(&draw, ramp.least_s, |reading_c| crate_pid.duty(reading_c)),
        trial::free(&draw, ramp.least_s, |reading_c| thermostat.duty(reading_c)),
    ]);
    RigResult {
        number,
        plant,
        least_s: ramp.least_s,
        outcomes,
        trips: [first.trip, second.trip],
        learned: first.knowledge.vessels.liquor_tank,
        oracle: tuned,
        draw,
    }
}
