//! The heat control on the bench kettle: one loop for every scenario, and the figures a heat-up is judged by.

use copperhold_core::heat::pid::Pid;
use copperhold_core::heat::rules::{Integrating, IntegratingRule};
use copperhold_core::heat::{Demand, HeatConfig, HeatControl, Learned};
use copperhold_core::units::{Celsius, Duty, Slope, Span};

use crate::bench_kettle::{Bench, Kettle};

/// Seconds per control tick.
pub const TICK_S: f64 = 0.25;

/// A temperature from degrees Celsius.
pub fn celsius(c: f64) -> Celsius {
    Celsius::from_milli((c * 1000.0).round() as i32)
}

/// A duty from a share of full power.
pub fn duty(share: f64) -> Duty {
    Duty::from_basis_points((share * 10_000.0).round() as u32)
}

/// A share of full power from a duty.
pub fn share(duty: Duty) -> f64 {
    f64::from(duty.bits()) / 65_536.0
}

/// A kettle under heat control.
pub struct Run {
    /// The water.
    pub kettle: Kettle,
    /// What heats it.
    pub control: HeatControl,
    /// What the control is asked to do.
    pub demand: Demand,
    /// Share of the time that the element is granted to this vessel, 0 to 1.
    pub granted: f64,
    /// The last duty the control asked for.
    pub asked: f64,
    applied: f64,
}

impl Run {
    /// A rig at rest and a control whose bound on the climb is twice the truth, at most 0.3 K/s.
    pub fn new(bench: Bench, seed: u64, learned: Option<Learned>) -> Run {
        Run::bounded(bench, seed, learned, 2.0)
    }

    /// The same with a bound that is `times` the truth, at most 0.3 K/s: a kettle that is filled far above its element.
    pub fn bounded(bench: Bench, seed: u64, learned: Option<Learned>, times: f64) -> Run {
        let bound = (times * bench.slope()).min(0.3);
        let config = HeatConfig::new(Slope::from_micro((bound * 1e6) as i32)).expect("bound is in range");
        Run {
            kettle: Kettle::new(bench, seed),
            control: HeatControl::new(config, learned),
            demand: Demand::Hold(celsius(bench.target_c)),
            granted: 1.0,
            asked: 0.0,
            applied: 0.0,
        }
    }

    /// One tick of 0.25 s.
    pub fn tick(&mut self) {
        self.tick_for(TICK_S);
    }

    /// One tick of any length.
    pub fn tick_for(&mut self, dt: f64) {
        let span = Span::from_micros((dt * 1e6).round() as u64);
        self.asked = share(self.control.tick(span, celsius(self.kettle.reading_c()), duty(self.applied), self.demand));
        self.applied = self.asked * self.granted;
        self.kettle.run(dt, self.applied);
    }

    /// Runs for a time; returns the lowest and highest bulk temperature on the way.
    pub fn run_for(&mut self, seconds: f64) -> (f64, f64) {
        let end = self.kettle.time_s + seconds;
        let (mut low, mut high) = (f64::MAX, f64::MIN);
        while self.kettle.time_s < end {
            self.tick();
            low = low.min(self.kettle.bulk_c());
            high = high.max(self.kettle.bulk_c());
        }
        (low, high)
    }
}

/// The figures of one heat-up.
#[derive(Debug, Clone, Copy)]
pub struct Outcome {
    /// Time until the bulk is within 0.3 K of the target for good, over the least possible: full power until it is.
    pub ratio: f64,
    /// Seconds that full power needs.
    pub least_s: f64,
    /// Highest bulk temperature above the target, K.
    pub overshoot_k: f64,
    /// Root mean square error of the bulk over the last 20 min, K.
    pub hold_rms_k: f64,
    /// What was learned.
    pub learned: Option<Learned>,
}

/// Seconds of full power that bring the bulk within 0.3 K of the target.
pub fn least_seconds(bench: Bench) -> f64 {
    let mut kettle = Kettle::new(bench, 0);
    while kettle.bulk_c() < bench.target_c - 0.3 {
        kettle.run(TICK_S, 1.0);
    }
    kettle.time_s
}

/// Heats a rig from its start to its target under `step` (reading, applied, dt -> duty) and holds for at least 40 min.
pub fn judge(bench: Bench, seed: u64, mut step: impl FnMut(f64, f64) -> f64) -> Outcome {
    judge_kettle(bench, seed, |kettle, applied| step(kettle.reading_c(), applied))
}

fn judge_kettle(bench: Bench, seed: u64, mut step: impl FnMut(&Kettle, f64) -> f64) -> Outcome {
    let least_s = least_seconds(bench);
    let end = least_s + 2400.0_f64.max(10.0 * bench.lag());
    let mut kettle = Kettle::new(bench, seed);
    let (mut out_at, mut overshoot_k, mut squares, mut count) = (0.0, 0.0_f64, 0.0, 0.0);
    let mut applied = 0.0;
    while kettle.time_s < end {
        applied = step(&kettle, applied);
        kettle.run(TICK_S, applied);
        let off = kettle.bulk_c() - bench.target_c;
        overshoot_k = overshoot_k.max(off);
        if off.abs() > 0.3 {
            out_at = kettle.time_s;
        }
        if kettle.time_s > end - 1200.0 {
            squares += off * off;
            count += 1.0;
        }
    }
    Outcome { ratio: out_at / least_s, least_s, overshoot_k, hold_rms_k: (squares / count).sqrt(), learned: None }
}

/// Heats a rig up under the heat control.
pub fn heat_up(bench: Bench, seed: u64, learned: Option<Learned>) -> Outcome {
    let mut control = Run::new(bench, seed, learned).control;
    let demand = Demand::Hold(celsius(bench.target_c));
    let outcome =
        judge(bench, seed, |reading, applied| share(control.tick(Span::from_millis(250), celsius(reading), duty(applied), demand)));
    Outcome { learned: control.learned(), ..outcome }
}

/// A value at a rank of a sorted sample, 0 to 1.
pub fn rank(values: &[f64], at: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[((sorted.len() - 1) as f64 * at).round() as usize]
}

/// Runs `job` for every seed on two threads; outcomes in order of the seeds.
pub fn survey<T: Send + 'static>(seeds: std::ops::Range<u64>, job: impl Fn(u64) -> T + Send + Sync + Copy + 'static) -> Vec<T> {
    let lanes: Vec<_> = (0..2)
        .map(|lane| {
            let mine: Vec<u64> = seeds.clone().filter(|s| s % 2 == lane).collect();
            std::thread::spawn(move || mine.into_iter().map(|s| (s, job(s))).collect::<Vec<_>>())
        })
        .collect();
    let mut all: Vec<_> = lanes.into_iter().flat_map(|lane| lane.join().expect("no survey run panics")).collect();
    all.sort_by_key(|(seed, _)| *seed);
    all.into_iter().map(|(_, outcome)| outcome).collect()
}

/// A PI by a published rule that knows the true climb and lag.
///
/// # Panics
/// If the rule gives gains the block refuses.
pub fn told_the_truth(seed: u64, rule: IntegratingRule) -> Outcome {
    let bench = Bench::random(seed);
    let kettle =
        Integrating { climb: Slope::from_micro((bench.slope() * 1e6) as i32), lag: Span::from_millis((bench.lag() * 1e3) as u64) };
    let mut pid = Pid::new(kettle.gains(rule).expect("gains in range"));
    judge(bench, seed, |reading, _| share(pid.tick(Span::from_millis(250), celsius(bench.target_c), celsius(reading))))
}

/// The fastest that heat without cooling can be, by one who sees the bulk and the heat in the sheath: full power until both together come to
/// `aim_k` above the target, then exactly the loss.
pub fn clairvoyant(bench: Bench, seed: u64, aim_k: f64) -> Outcome {
    judge_kettle(bench, seed, |kettle, _| {
        // What a steady hold leaves in the sheath never arrives.
        let standing_w = bench.loss_w(bench.target_c);
        let kept_k = standing_w * bench.sheath_s / bench.capacity();
        let short = bench.target_c + aim_k - kettle.bulk_c() - kettle.stored_k() + kept_k;
        (standing_w / bench.power_w + short / (bench.slope() * TICK_S)).clamp(0.0, 1.0)
    })
}

/// A thermostat with 0.5 K of hysteresis.
pub fn thermostat(seed: u64) -> Outcome {
    let bench = Bench::random(seed);
    judge(bench, seed, |reading, applied| {
        let off = reading - bench.target_c;
        if off > 0.25 {
            0.0
        } else if off < -0.25 {
            1.0
        } else {
            applied
        }
    })
}
