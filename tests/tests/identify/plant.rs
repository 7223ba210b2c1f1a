//! A heated vessel integrated by the crate `ode_solvers` (Dormand and Prince 5(4)), independent of the project's own plants.
//!
//! Element sheath (lag), bulk (integrator with wall and evaporation loss), mixing (a chain of equal lags), transport delay, probe (lag), noise,
//! quantisation. Times in s, temperatures in degrees Celsius.

use copperhold_tests::bench_kettle::{Bench, Dice};
use copperhold_tests::heat_bench::TICK_S;
use ode_solvers::dop_shared::OutputType;
use ode_solvers::dopri5::Dopri5;
use ode_solvers::{SVector, System};
use std::collections::VecDeque;

/// Parts of the mixing chain.
const PARTS: usize = 3;
/// Sheath W, bulk, mixing parts, probe.
type State = SVector<f64, { PARTS + 3 }>;

/// The vessel over one tick: duty and what the delay lets out are held.
#[derive(Clone, Copy)]
struct Vessel {
    bench: Bench,
    parts: usize,
    duty: f64,
    delayed_c: f64,
}

impl System<f64, State> for Vessel {
    fn system(&self, _t: f64, y: &State, dy: &mut State) {
        let b = &self.bench;
        dy[0] = (b.power_w * self.duty - y[0]) / b.sheath_s;
        dy[1] = (y[0] - b.loss_w(y[1])) / b.capacity();
        let part_s = b.mixing_s / self.parts as f64;
        for part in 0..PARTS {
            dy[2 + part] = if part < self.parts { (y[1 + part] - y[2 + part]) / part_s } else { 0.0 };
        }
        dy[PARTS + 2] = (self.delayed_c - y[PARTS + 2]) / b.probe_s;
    }
}

pub struct Plant {
    vessel: Vessel,
    state: State,
    pipe: VecDeque<f64>,
    dice: Dice,
    pub time_s: f64,
}

impl Plant {
    /// At rest; the lags of `bench` are brought to 1 s at least, and the delay to whole ticks. `parts`: mixing lags in series, 1 to 3.
    pub fn new(bench: Bench, parts: usize, seed: u64) -> Plant {
        assert!((1..=PARTS).contains(&parts));
        let cells = (bench.delay_s / TICK_S).round().max(1.0);
        let least = |s: f64| s.max(1.0);
        let bench = Bench {
            sheath_s: least(bench.sheath_s),
            mixing_s: least(bench.mixing_s),
            delay_s: cells * TICK_S,
            probe_s: least(bench.probe_s),
            ..bench
        };
        let mut state = State::from_element(bench.start_c);
        state[0] = 0.0;
        Plant {
            vessel: Vessel { bench, parts, duty: 0.0, delayed_c: bench.start_c },
            state,
            pipe: VecDeque::from(vec![bench.start_c; cells as usize]),
            dice: Dice(seed),
            time_s: 0.0,
        }
    }

    pub fn bench(&self) -> &Bench {
        &self.vessel.bench
    }

    /// True temperature of the bulk.
    pub fn bulk_c(&self) -> f64 {
        self.state[1]
    }

    /// What the thermometer says.
    pub fn reading_c(&mut self) -> f64 {
        let noisy = self.state[PARTS + 2] + self.vessel.bench.noise_k * self.dice.normal();
        let step = self.vessel.bench.step_k;
        if step > 0.0 { (noisy / step).round() * step } else { noisy }
    }

    /// One tick at a share of full power.
    pub fn run(&mut self, duty: f64) {
        let mixed = self.state[1 + self.vessel.parts];
        self.pipe.push_back(mixed);
        // A tick is let out at its middle: half what it began and half what it ends with.
        let out = self.pipe.pop_front().unwrap_or(mixed);
        let next = self.pipe.front().copied().unwrap_or(out);
        self.vessel.delayed_c = 0.5 * (out + next);
        self.vessel.duty = duty;
        let mut stepper = Dopri5::from_param(
            self.vessel,
            0.0,
            TICK_S,
            TICK_S,
            self.state,
            1e-7,
            1e-9,
            0.9,
            0.04,
            0.2,
            10.0,
            TICK_S,
            0.0,
            100_000,
            1000,
            OutputType::Sparse,
        );
        stepper.integrate().expect("the solver converges");
        // Every accepted step is put out, so the last is the end of the tick.
        assert!((stepper.x_out().last().expect("it returns the end") - TICK_S).abs() < 1e-9);
        self.state = *stepper.y_out().last().expect("it returns the end");
        self.time_s += TICK_S;
    }
}
