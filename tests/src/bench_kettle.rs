//! A kettle on the bench: a plain lumped model of heated water and its thermometer, to tune and judge heat control.
//!
//! Element sheath (lag), bulk (integrator with wall and evaporation loss), mixing (lag), transport delay, probe (lag), then noise and
//! quantisation. Integrated by fourth-order Runge-Kutta. Times in s, temperatures in degrees Celsius, power in W, all `f64`.

use std::collections::VecDeque;

/// A small random generator (SplitMix64, Steele et al. 2014), so that every rig is known by its seed.
#[derive(Debug, Clone)]
pub struct Dice(pub u64);

impl Dice {
    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform in 0..1.
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform between two values.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Uniform in the logarithm between two positive values.
    pub fn log_between(&mut self, low: f64, high: f64) -> f64 {
        (self.between(low.ln(), high.ln())).exp()
    }

    /// Standard normal (Box-Muller).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }
}

/// The figures of a bench kettle.
#[derive(Debug, Clone, Copy)]
pub struct Bench {
    /// Water, L.
    pub litres: f64,
    /// Element power at the present mains, W.
    pub power_w: f64,
    /// Sheath lag, s.
    pub sheath_s: f64,
    /// Mixing lag, s.
    pub mixing_s: f64,
    /// Transport delay, s.
    pub delay_s: f64,
    /// Probe lag, s.
    pub probe_s: f64,
    /// Wall loss, W/K over 20 C air.
    pub ua_w_per_k: f64,
    /// Evaporation, W per kPa of vapour pressure above the room's.
    pub evaporation_w_per_kpa: f64,
    /// Standard deviation of the reading, K.
    pub noise_k: f64,
    /// Step of the reading, K; zero for none.
    pub step_k: f64,
    /// Time between fresh readings, s.
    pub refresh_s: f64,
    /// Temperature at the start.
    pub start_c: f64,
    /// Target.
    pub target_c: f64,
}

impl Bench {
    /// A common home rig: 40 L, 5.5 kW, 40 s of lag, open, quiet thermometer.
    pub fn common() -> Bench {
        Bench {
            litres: 40.0,
            power_w: 5500.0,
            sheath_s: 8.0,
            mixing_s: 15.0,
            delay_s: 4.0,
            probe_s: 13.0,
            ua_w_per_k: 4.0,
            evaporation_w_per_kpa: 18.0,
            noise_k: 0.02,
            step_k: 0.03,
            refresh_s: 0.25,
            start_c: 15.0,
            target_c: 71.0,
        }
    }

    /// A rig drawn at random from the range of home breweries; the same seed gives the same rig.
    pub fn random(seed: u64) -> Bench {
        let mut dice = Dice(seed.wrapping_mul(7919).wrapping_add(17));
        loop {
            let litres = dice.log_between(10.0, 150.0);
            let power_w = dice.log_between(1500.0, 11_000.0) * dice.between(0.9, 1.1);
            let lag = dice.between(10.0, 110.0);
            let parts = [dice.unit(), dice.unit(), dice.unit(), dice.unit()];
            let whole = parts.iter().sum::<f64>();
            let share = |i: usize| lag * parts[i] / whole;
            let diameter = (4.0 * litres / 1000.0 / std::f64::consts::PI).cbrt();
            let area = std::f64::consts::FRAC_PI_4 * diameter * diameter;
            let lid = dice.unit() < 0.4;
            let (step_k, refresh_s) = match dice.bits() % 3 {
                0 => (0.0, 0.25),
                1 => (0.03, 0.25),
                _ => (0.0625, 0.75),
            };
            let hot = dice.unit() < 0.15;
            let start_c = if hot { dice.between(30.0, 60.0) } else { dice.between(5.0, 25.0) };
            let target_c = dice.between(50.0, 80.0);
            let bench = Bench {
                litres,
                power_w,
                sheath_s: share(0),
                mixing_s: share(1),
                delay_s: share(2),
                probe_s: share(3),
                ua_w_per_k: area * 4.0 * dice.between(4.0, 12.0),
                evaporation_w_per_kpa: area * 143.0 * if lid { dice.between(0.02, 0.15) } else { dice.between(0.5, 1.0) },
                noise_k: dice.between(0.0, 0.1),
                step_k,
                refresh_s,
                start_c,
                target_c,
            };
            // A person would not build these: more loss than half the power, or a climb of more than 9 K a minute.
            if bench.loss_w(target_c) < 0.5 * power_w && bench.slope() < 0.15 && target_c > start_c + 5.0 {
                return bench;
            }
        }
    }

    /// Heat capacity, J/K: water and about 10 % of wall.
    pub fn capacity(&self) -> f64 {
        self.litres * 4186.0 * 1.02
    }

    /// Climb at full power without loss, K/s.
    pub fn slope(&self) -> f64 {
        self.power_w / self.capacity()
    }

    /// Total lag from element to reading, s.
    pub fn lag(&self) -> f64 {
        self.sheath_s + self.mixing_s + self.delay_s + self.probe_s
    }

    /// Loss at a bulk temperature, W: wall and evaporation (Magnus formula for the vapour pressure).
    pub fn loss_w(&self, bulk_c: f64) -> f64 {
        let kpa = |c: f64| 0.6112 * (17.62 * c / (243.12 + c)).exp();
        self.ua_w_per_k * (bulk_c - 20.0) + self.evaporation_w_per_kpa * (kpa(bulk_c) - 0.5 * kpa(20.0))
    }
}

/// A bench kettle in time.
#[derive(Debug, Clone)]
pub struct Kettle {
    /// Its figures; may be changed as it runs (lid, mains, volume).
    pub bench: Bench,
    /// Seconds since the start.
    pub time_s: f64,
    /// Heat leaving the sheath W, bulk C, at the probe's place C, probe C.
    state: [f64; 4],
    pipe: VecDeque<f64>,
    dice: Dice,
    shown: f64,
    shown_at: f64,
}

impl Kettle {
    /// At rest at its start temperature.
    pub fn new(bench: Bench, seed: u64) -> Kettle {
        let c = bench.start_c;
        let mut kettle =
            Kettle { bench, time_s: 0.0, state: [0.0, c, c, c], pipe: VecDeque::new(), dice: Dice(seed), shown: c, shown_at: -1e9 };
        kettle.show();
        kettle
    }

    /// True temperature of the bulk.
    pub fn bulk_c(&self) -> f64 {
        self.state[1]
    }

    /// What the bulk has still to rise by from the heat in the sheath.
    pub fn stored_k(&self) -> f64 {
        self.state[0] * self.bench.sheath_s.max(0.1) / self.bench.capacity()
    }

    /// What the thermometer says.
    pub fn reading_c(&self) -> f64 {
        self.shown
    }

    /// Pours in water and mixes it at once.
    pub fn pour(&mut self, litres: f64, at_c: f64) {
        let before = self.bench.litres;
        self.bench.litres += litres;
        self.state[1] = (self.state[1] * before + at_c * litres) / self.bench.litres;
    }

    /// Moves the bulk by `kelvin`, as a stir that lifts a cold layer does.
    pub fn stir(&mut self, kelvin: f64) {
        self.state[1] += kelvin;
    }

    /// Runs `dt` seconds at a share of full power.
    pub fn run(&mut self, dt: f64, duty: f64) {
        let b = self.bench;
        let capacity = b.capacity();
        let steps = (dt / 0.125).ceil().max(1.0) as usize;
        let h = dt / steps as f64;
        for _ in 0..steps {
            let delayed = self.delayed();
            let rate = |s: [f64; 4]| {
                [
                    (b.power_w * duty - s[0]) / b.sheath_s.max(0.1),
                    (s[0] - b.loss_w(s[1])) / capacity,
                    (s[1] - s[2]) / b.mixing_s.max(0.1),
                    (delayed - s[3]) / b.probe_s.max(0.1),
                ]
            };
            let add = |s: [f64; 4], k: [f64; 4], f: f64| std::array::from_fn(|i| s[i] + k[i] * f);
            let k1 = rate(self.state);
            let k2 = rate(add(self.state, k1, h / 2.0));
            let k3 = rate(add(self.state, k2, h / 2.0));
            let k4 = rate(add(self.state, k3, h));
            self.state = std::array::from_fn(|i| self.state[i] + h / 6.0 * (k1[i] + 2.0 * k2[i] + 2.0 * k3[i] + k4[i]));
            self.pipe.push_back(self.state[2]);
            self.time_s += h;
        }
        self.show();
    }

    /// The temperature that left the probe's place one delay ago (pipe cells are 0.125 s apart at the ticks used here).
    fn delayed(&mut self) -> f64 {
        let cells = (self.bench.delay_s / 0.125).round() as usize;
        while self.pipe.len() > cells + 1 {
            self.pipe.pop_front();
        }
        if self.pipe.len() > cells { self.pipe[0] } else { self.bench.start_c }
    }

    fn show(&mut self) {
        if self.time_s - self.shown_at >= self.bench.refresh_s - 1e-9 {
            let noisy = self.state[3] + self.bench.noise_k * self.dice.normal();
            let step = self.bench.step_k;
            self.shown = if step > 0.0 { (noisy / step).round() * step } else { noisy };
            self.shown_at = self.time_s;
        }
    }
}
