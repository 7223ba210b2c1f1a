//! The real controller on a draw: panel, guard, contactor, burst-fire and all.

use super::Draw;
use super::trial::{Judge, Outcome, STILL_S};
use crate::bench::Bench;
use crate::fit;
use copperhold_core::guard::Trip;
use copperhold_core::heat::Demand;
use copperhold_core::supervisor::Knowledge;
use copperhold_core::vessel::Vessel;

/// Changes the noise for the second heat-up.
pub(super) const OTHER_NOISE: u64 = 1 << 40;

/// The slowest rigs heat for longer than the controller lets anybody be away: somebody presses a button every few hours, s.
const LOOKED_AFTER_S: f64 = 3.0 * 3_600.0;

fn is_looked_after(t_s: f64) -> bool {
    t_s >= LOOKED_AFTER_S && t_s % LOOKED_AFTER_S < 1.0
}

/// One heat-up under the real controller.
pub(super) struct Heated {
    pub outcome: Outcome,
    /// What is known afterwards.
    pub knowledge: Knowledge,
    /// What tripped on the way.
    pub trip: Option<Trip>,
}

/// Heats up and holds. A trip counts as never settled.
pub(super) fn heat_up(draw: &Draw, noise_seed: u64, knowledge: Knowledge, least_s: f64) -> Heated {
    let never = Heated { outcome: Outcome::NEVER, knowledge, trip: None };
    // A sound draw is one whose settings the controller accepts.
    let Ok(mut bench) = Bench::new(&draw.file, noise_seed, knowledge) else { return never };
    draw.fill(&mut bench.brewery);
    bench.arm();
    let asked = bench.controller.supervisor_mut().demand(Vessel::LiquorTank, Demand::Hold(fit::celsius(draw.target_c)));
    if asked.is_err() {
        return never;
    }
    let start_s = bench.t_s();
    debug_assert!((start_s - STILL_S).abs() < 1e-9);
    let mut judge = Judge::new(draw.target_c, least_s);
    let mut trip = None;
    while !judge.is_over() {
        bench.switches.acknowledge = trip.is_none() && is_looked_after(bench.t_s());
        bench.advance();
        trip = trip.or(bench.controller.supervisor().guard().latch().map(|latch| latch.trip));
        judge.see(bench.t_s() - start_s, bench.brewery.bulk_c().liquor_tank);
    }
    let supervisor = bench.controller.supervisor();
    let outcome = judge.outcome();
    Heated { outcome: Outcome { settled: outcome.settled && trip.is_none(), ..outcome }, knowledge: supervisor.knowledge(), trip }
}
