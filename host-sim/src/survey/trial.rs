//! One heat-up and hold under one law, and the figures it is judged by.

use super::Draw;
use super::oracle::penalty_of;
use super::rivals::{Gains, Pi};
use crate::fit;
use crate::plant::{Brewery, Drive};
use copperhold_core::controller::CONTROL_PERIOD;
use copperhold_core::probe::{self, ProbeSetup};
use copperhold_core::vessel::{PerElement, Pumps, Vessel};

/// The bulk has arrived within this of the target, K.
pub const BAND_K: f64 = 0.3;
/// A trial goes on for this long after the least time, s.
pub const HOLD_S: f64 = 3000.0;
/// The hold is judged over the last seconds of a trial.
pub const JUDGED_S: f64 = 1200.0;
/// Before the heat is asked for the rig stands still for as long as it takes to arm the controller, s.
pub const STILL_S: f64 = 4.5;
/// The ramp is kept every so many ticks, for trials to start from.
const KEPT_EVERY: u32 = 40;

/// Length of a control tick, s.
pub fn tick_s() -> f64 {
    CONTROL_PERIOD.as_micros() as f64 * 1e-6
}

/// How a heat-up went.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outcome {
    /// Time until the true bulk is within the band for good, over the least time. If it never was, the trial's whole length counts: a lower
    /// bound.
    pub ratio: f64,
    /// Whether it was in the band at the end.
    pub settled: bool,
    /// Highest true bulk temperature above the target, K; 0 if it stayed below.
    pub overshoot_k: f64,
    /// Root mean square distance of the true bulk from the target over the last 20 min, K.
    pub hold_rms_k: f64,
}

impl Outcome {
    /// Nothing came of it.
    pub const NEVER: Outcome =
        Outcome { ratio: f64::INFINITY, settled: false, overshoot_k: f64::INFINITY, hold_rms_k: f64::INFINITY };
}

/// Watches the true bulk of a trial.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judge {
    target_c: f64,
    least_s: f64,
    end_s: f64,
    out_at_s: f64,
    overshoot_k: f64,
    squares: f64,
    count: f64,
    now_s: f64,
}

impl Judge {
    /// At the moment the heat is asked for.
    pub fn new(target_c: f64, least_s: f64) -> Judge {
        Judge { target_c, least_s, end_s: least_s + HOLD_S, out_at_s: 0.0, overshoot_k: 0.0, squares: 0.0, count: 0.0, now_s: 0.0 }
    }

    /// Sees the bulk at `now_s` after the heat was asked for.
    pub fn see(&mut self, now_s: f64, bulk_c: f64) {
        self.now_s = now_s;
        let off_k = bulk_c - self.target_c;
        self.overshoot_k = self.overshoot_k.max(off_k);
        if off_k.abs() > BAND_K {
            self.out_at_s = now_s;
        }
        if now_s > self.end_s - JUDGED_S {
            self.squares += off_k * off_k;
            self.count += 1.0;
        }
    }

    /// Whether the trial is over.
    pub fn is_over(&self) -> bool {
        self.now_s >= self.end_s
    }

    /// The penalty so far; it never falls.
    pub fn penalty(&self) -> f64 {
        penalty_of(self.out_at_s / self.least_s, self.overshoot_k)
    }

    /// The figures.
    pub fn outcome(&self) -> Outcome {
        Outcome {
            ratio: (self.out_at_s / self.least_s).max(1.0),
            settled: self.out_at_s < self.now_s,
            overshoot_k: self.overshoot_k,
            hold_rms_k: (self.squares / self.count.max(1.0)).sqrt(),
        }
    }
}

/// A plant with its thermometer, driven tick by tick.
#[derive(Debug, Clone)]
pub struct Plant {
    brewery: Brewery,
    setup: ProbeSetup,
    reading_c: f64,
    ticks: u32,
}

impl Plant {
    /// The draw's plant at the moment the heat is asked for.
    pub fn new(draw: &Draw) -> Plant {
        let mut brewery = Brewery::new(&draw.file.rig, draw.noise_seed);
        draw.fill(&mut brewery);
        let setup = fit::probes(&draw.file.rig).liquor_tank;
        let mut plant = Plant { brewery, setup, reading_c: draw.start_c, ticks: 0 };
        for _ in 0..(STILL_S / tick_s()).round() as u32 {
            plant.read();
            plant.heat(0.0);
        }
        plant.ticks = 0;
        plant
    }

    /// What the thermometer says, through the controller's own conversion, degrees Celsius. A fault repeats the last reading.
    pub fn read(&mut self) -> f64 {
        if let Ok(reading) = probe::convert(&self.setup, fit::raw(self.brewery.sample(Vessel::LiquorTank).code)) {
            self.reading_c = fit::degrees(reading);
        }
        self.reading_c
    }

    /// One tick at a share of full power.
    pub fn heat(&mut self, duty: f64) {
        let drive = Drive { element_on: PerElement { liquor_tank: duty, boil_kettle: 0.0 }, pumps: Pumps::default() };
        self.brewery.step(tick_s(), &drive);
        self.ticks += 1;
    }

    /// Seconds since the heat was asked for.
    pub fn now_s(&self) -> f64 {
        f64::from(self.ticks) * tick_s()
    }

    /// True temperature of the bulk, degrees Celsius.
    pub fn bulk_c(&self) -> f64 {
        self.brewery.bulk_c().liquor_tank
    }
}

/// The full-power heat-up of a draw: the least time, and places from which a law that begins with full power may go on.
#[derive(Debug, Clone)]
pub struct Ramp {
    /// Seconds of full power until the bulk is in the band.
    pub least_s: f64,
    /// The plant before a reading was taken, and the highest reading until then.
    kept: Vec<(f64, Plant)>,
}

impl Ramp {
    /// Heats.
    pub fn run(draw: &Draw) -> Ramp {
        let mut plant = Plant::new(draw);
        let mut kept = Vec::new();
        let mut highest_c = f64::NEG_INFINITY;
        while plant.bulk_c() < draw.target_c - BAND_K {
            if plant.ticks.is_multiple_of(KEPT_EVERY) {
                kept.push((highest_c, plant.clone()));
            }
            highest_c = highest_c.max(plant.read());
            plant.heat(1.0);
        }
        Ramp { least_s: plant.now_s(), kept }
    }

    /// The latest kept place that is not after a time.
    pub fn at(&self, now_s: f64) -> Option<&Plant> {
        let past = self.kept.partition_point(|(_, plant)| plant.now_s() <= now_s);
        self.kept.get(past.saturating_sub(1)).map(|(_, plant)| plant)
    }

    /// The latest place before which no reading came nearer to the target than `error_k`.
    fn before(&self, target_c: f64, error_k: f64) -> Option<&Plant> {
        let past = self.kept.partition_point(|(highest_c, _)| target_c - highest_c > error_k);
        self.kept.get(past.saturating_sub(1)).map(|(_, plant)| plant)
    }
}

/// A trial under any law from reading to duty.
pub fn free(draw: &Draw, least_s: f64, mut law: impl FnMut(f64) -> f64) -> Outcome {
    let mut judge = Judge::new(draw.target_c, least_s);
    let mut plant = Plant::new(draw);
    while !judge.is_over() {
        let reading_c = plant.read();
        plant.heat(law(reading_c));
        judge.see(plant.now_s(), plant.bulk_c());
    }
    judge.outcome()
}

/// A trial under a PI, given up as soon as its penalty is above `most`. It is saturated and its integral at rest until the error is less
/// than `1 / Kc`, so the trial goes on from the ramp there.
pub fn pi(draw: &Draw, ramp: &Ramp, gains: Gains, most: f64) -> Option<Outcome> {
    let mut judge = Judge::new(draw.target_c, ramp.least_s);
    let mut plant = ramp.before(draw.target_c, 1.0 / gains.per_k).cloned().unwrap_or_else(|| Plant::new(draw));
    // On the skipped part the bulk was below the band all the time.
    judge.see(plant.now_s(), plant.bulk_c());
    let mut law = Pi::new(draw.target_c, gains);
    while !judge.is_over() {
        let reading_c = plant.read();
        plant.heat(law.duty(reading_c));
        judge.see(plant.now_s(), plant.bulk_c());
        if judge.penalty() > most {
            return None;
        }
    }
    Some(judge.outcome())
}
