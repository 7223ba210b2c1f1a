//! The survey: random rigs, and on each of them the real controller beside its rivals.
//!
//! - *Draw*: a rig, its filling, its mains and its water, drawn at random within [`ranges`].
//! - *Trial*: one heat-up and hold of a draw under one law. All trials of a draw share plant, probe, noise and control tick.
//! - *Contender*: who heats. Ours twice (nothing known, then with what the first heat-up taught), then the rivals; if asked for, [`limits`].
//! - *Least time*: the same plant at constant full power until its bulk is within [`BAND_K`] of the target.
//! - *Ratio*: time until the bulk is within the band for good, over the least time.
//!
//! The rivals conduct any share of a tick they like, without contactor, burst-fire or guard, which is in their favour.
//!
//! Every rig has its own seed, made from the survey's seed and the rig's number, and results are kept in order: the figures do not
//! depend on how many threads compute them.

mod contender;
mod csv;
mod draw;
mod figures;
pub mod limits;
mod oracle;
mod ours;
mod page;
mod plot;
pub mod ranges;
pub mod rivals;
mod text;
pub mod trial;

pub use contender::{Contender, Field, Outcomes};
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
    pub outcomes: Outcomes,
    /// What tripped in our first and in our second heat-up; neither should.
    pub trips: [Option<Trip>; 2],
    /// What the first heat-up taught.
    pub learned: Option<Learned>,
    /// The oracle's gains, if it is in the field.
    pub oracle: Option<Tuned>,
}

/// A survey, done.
#[derive(Debug, Clone, PartialEq)]
pub struct Survey {
    /// The seed all rigs come from.
    pub seed: u64,
    /// Who heats.
    pub field: Field,
    /// Rig by rig, in order.
    pub rigs: Vec<RigResult>,
}

/// Surveys the rigs of these numbers on all cores of the present rayon pool. `done` is called once per finished rig, in no particular order.
pub fn run(rigs: impl IntoIterator<Item = u32>, seed: u64, field: Field, done: impl Fn() + Sync) -> Survey {
    let one = |number: u32| {
        let result = survey_rig(number, seed, field);
        done();
        result
    };
    let numbers: Vec<u32> = rigs.into_iter().collect();
    Survey { seed, field, rigs: numbers.into_par_iter().map(one).collect() }
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

/// Draws one rig and lets everybody in the field heat it.
pub fn survey_rig(number: u32, seed: u64, field: Field) -> RigResult {
    let draw = Draw::of(number, seed);
    let plant = draw.figures();
    let ramp = trial::Ramp::run(&draw);
    let first = ours::heat_up(&draw, draw.noise_seed, Default::default(), ramp.least_s);
    let second = ours::heat_up(&draw, draw.noise_seed ^ ours::OTHER_NOISE, first.knowledge, ramp.least_s);
    let pi = |gains| trial::pi(&draw, &ramp, gains, f64::INFINITY).unwrap_or(Outcome::NEVER);
    let mut oracle = None;
    let outcomes = Outcomes::of_field(field, [first.outcome, second.outcome], |contender| match contender {
        Contender::Oracle => {
            let (tuned, outcome) = oracle::search(&draw, &plant, &ramp);
            oracle = Some(tuned);
            outcome
        }
        Contender::Simc => pi(rivals::simc(&plant)),
        Contender::ZieglerNichols => pi(rivals::ziegler_nichols(&plant)),
        Contender::PidCrate => {
            let mut law = rivals::CratePid::new(draw.target_c, rivals::simc(&plant), 2.0 * plant.standing_duty);
            trial::free(&draw, ramp.least_s, |reading_c| law.duty(reading_c))
        }
        Contender::Thermostat => {
            let mut law = rivals::Thermostat::new(draw.target_c);
            trial::free(&draw, ramp.least_s, |reading_c| law.duty(reading_c))
        }
        Contender::OursFirst => first.outcome,
        Contender::OursSecond => second.outcome,
        Contender::ToldLag | Contender::Told => limits::told(&draw, &plant, &ramp, contender == Contender::Told),
        Contender::Sighted => limits::sighted(&draw, &plant, &ramp, 0.0),
        Contender::SightedSecond => limits::sighted(&draw, &plant, &ramp, limits::AIMS[1].1),
        Contender::SightedFirst => limits::sighted(&draw, &plant, &ramp, limits::AIMS[0].1),
    });
    RigResult {
        number,
        plant,
        least_s: ramp.least_s,
        outcomes,
        trips: [first.trip, second.trip],
        learned: first.knowledge.vessels.liquor_tank,
        oracle,
        draw,
    }
}
