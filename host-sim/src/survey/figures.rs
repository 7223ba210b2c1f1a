//! From rigs to a few figures.

use super::limits::{self, Miss};
use super::{Contender, Outcome, Survey};
use copperhold_core::guard::Trip;

/// What is measured on a heat-up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// Time ratio.
    Ratio,
    /// Overshoot of the true bulk, K.
    Overshoot,
    /// Hold error, K.
    Hold,
}

impl Measure {
    /// All of them.
    pub const ALL: [Measure; 3] = [Measure::Ratio, Measure::Overshoot, Measure::Hold];

    /// Its value.
    pub const fn of(self, outcome: &Outcome) -> f64 {
        match self {
            Measure::Ratio => outcome.ratio,
            Measure::Overshoot => outcome.overshoot_k,
            Measure::Hold => outcome.hold_rms_k,
        }
    }
}

/// Median, 95th percentile and worst.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Median.
    pub median: f64,
    /// 95th percentile.
    pub p95: f64,
    /// Worst.
    pub worst: f64,
}

/// The spread of values, by nearest rank; not-a-number for none.
pub fn spread(values: impl Iterator<Item = f64>) -> Spread {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    let at = |share: f64| sorted.get((sorted.len().saturating_sub(1) as f64 * share).round() as usize).copied().unwrap_or(f64::NAN);
    Spread { median: at(0.5), p95: at(0.95), worst: at(1.0) }
}

impl Survey {
    /// One contender's outcomes, rig by rig.
    pub fn outcomes(&self, contender: Contender) -> impl Iterator<Item = &Outcome> {
        self.rigs.iter().filter_map(move |rig| rig.outcomes.get(contender))
    }

    /// The spread of a measure over all rigs.
    pub fn spread(&self, contender: Contender, measure: Measure) -> Spread {
        spread(self.outcomes(contender).map(|outcome| measure.of(outcome)))
    }

    /// Rigs on which a contender was not in the band at the end.
    pub fn unsettled(&self, contender: Contender) -> usize {
        self.outcomes(contender).filter(|outcome| !outcome.settled).count()
    }

    /// Whoever heats, in the order of tables.
    pub fn contenders(&self) -> impl Iterator<Item = Contender> {
        self.field.contenders().iter().copied()
    }

    /// The aims for the worst rig that ours misses, and what limits it; empty unless the limits are in the field.
    pub fn misses(&self) -> impl Iterator<Item = Miss> {
        self.rigs.iter().flat_map(limits::misses)
    }

    /// Our heat-ups that tripped: the rig's number, which heat-up, and the trip.
    pub fn trips(&self) -> impl Iterator<Item = (u32, &'static str, Trip)> {
        self.rigs.iter().flat_map(|rig| {
            let [first, second] = rig.trips;
            [("first", first), ("second", second)]
                .into_iter()
                .filter_map(|(which, trip)| trip.map(|trip| (rig.number, which, trip)))
        })
    }

    /// Rigs on which our first heat-up has the lower penalty.
    pub fn behind_ours(&self, contender: Contender) -> usize {
        let ours = self.outcomes(Contender::OursFirst).map(super::penalty);
        let theirs = self.outcomes(contender).map(super::penalty);
        ours.zip(theirs).filter(|(ours, theirs)| ours < theirs).count()
    }
}
