//! Thermometers: what the liquid's temperature becomes on its way to the controller.
//!
//! mixing lag (in [`super::network`]) -> transport delay -> lag of the well -> calibration error and noise -> the front end's raw code.

use super::rng::Pcg;
use crate::rig::{Probe, ProbeKind};
use std::collections::VecDeque;

/// Time between two conversions of a 12-bit one-wire thermometer, s (DS18B20 datasheet: 750 ms at most).
pub const ONE_WIRE_S: f64 = 0.75;

/// IEC 60751 coefficients of platinum: `R / R0 = 1 + A t + B t^2 + C (t - 100) t^3`, the last term below 0 C only.
const PT_A: f64 = 3.9083e-3;
const PT_B: f64 = -5.775e-7;
const PT_C: f64 = -4.183e-12;
/// Reference resistor of the front end over the element's resistance at 0 C: 400 ohm and 100 ohm.
const PT_REFERENCE: f64 = 4.0;

/// Steinhart-Hart coefficients of the 10K3 curve, as published for a 10 kilo-ohm probe: `1/T = A + B ln R + C (ln R)^3`.
const NTC_A: f64 = 1.129241e-3;
const NTC_B: f64 = 2.341077e-4;
const NTC_C: f64 = 8.775468e-8;
/// Resistor between the thermistor (low side) and the reference, ohm.
const NTC_SERIES_OHM: f64 = 10_000.0;

/// What the front end hands over, in its own counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum RawCode {
    /// Pt100 over a 400 ohm reference, in 1/32768: 0 to 32767.
    Pt100 {
        /// The 15-bit code, without the fault bit.
        code: u16,
    },
    /// 10K3 thermistor on the low side of a divider with 10 kilo-ohm, in 1/4095: 0 to 4095.
    Ntc10k {
        /// The 12-bit code.
        code: u16,
    },
    /// Temperature word in sixteenths of a degree.
    Ds18b20 {
        /// Two's complement.
        word: u16,
    },
}

/// One sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RawReading {
    /// As the front end gives it.
    pub code: RawCode,
    /// The temperature that was encoded, noise and calibration error included, degrees Celsius.
    pub ideal_c: f64,
}

impl RawCode {
    /// Encodes a temperature, saturating at the converter's rails.
    pub fn encode(kind: ProbeKind, t_c: f64) -> RawCode {
        match kind {
            ProbeKind::Pt100 => {
                let code = (platinum_ratio(t_c) / PT_REFERENCE * 32_768.0).round().clamp(0.0, 32_767.0);
                RawCode::Pt100 { code: code as u16 }
            }
            ProbeKind::Ntc10k => {
                let ohm = thermistor_ohm(t_c);
                RawCode::Ntc10k { code: (4095.0 * ohm / (ohm + NTC_SERIES_OHM)).round() as u16 }
            }
            ProbeKind::Ds18b20 => RawCode::Ds18b20 { word: (t_c * 16.0).round().clamp(-880.0, 2000.0) as i16 as u16 },
        }
    }

    /// The temperature that the code stands for, degrees Celsius: the inverse of [`RawCode::encode`], -100 to 300 C.
    pub fn celsius(self) -> f64 {
        match self {
            RawCode::Pt100 { code } => {
                let ratio = f64::from(code) / 32_768.0 * PT_REFERENCE;
                let mut t_c = (-PT_A + (PT_A * PT_A - 4.0 * PT_B * (1.0 - ratio)).sqrt()) / (2.0 * PT_B);
                for _ in 0..3 {
                    t_c -= (platinum_ratio(t_c) - ratio) / (PT_A + 2.0 * PT_B * t_c);
                }
                t_c
            }
            RawCode::Ntc10k { code } => {
                let ratio = f64::from(code) / 4095.0;
                let log = (NTC_SERIES_OHM * ratio / (1.0 - ratio)).ln();
                1.0 / (NTC_A + NTC_B * log + NTC_C * log.powi(3)) - 273.15
            }
            RawCode::Ds18b20 { word } => f64::from(word as i16) / 16.0,
        }
    }
}

/// Resistance of a platinum element over that at 0 C. IEC 60751, -200 to 850 C.
pub fn platinum_ratio(t_c: f64) -> f64 {
    let cold = if t_c < 0.0 { PT_C * (t_c - 100.0) * t_c.powi(3) } else { 0.0 };
    1.0 + PT_A * t_c + PT_B * t_c * t_c + cold
}

/// Resistance of the 10K3 thermistor, ohm: the Steinhart-Hart equation solved for ln R (Cardano), -80 to 250 C.
pub fn thermistor_ohm(t_c: f64) -> f64 {
    let half = (NTC_A - 1.0 / (t_c + 273.15)) / (2.0 * NTC_C);
    let third = NTC_B / (3.0 * NTC_C);
    let root = (third.powi(3) + half * half).sqrt();
    ((root - half).cbrt() - (root + half).cbrt()).exp()
}

/// A thermometer as it follows its vessel.
#[derive(Debug, Clone)]
pub struct Thermometer {
    probe: Probe,
    rng: Pcg,
    now_s: f64,
    seen_c: f64,
    sensor_c: f64,
    /// What was seen, at growing times; the first is the latest that is at least the delay old.
    past: VecDeque<(f64, f64)>,
    delayed_c: f64,
    decay: (f64, f64),
    converted: Option<(f64, RawReading)>,
}

/// Samples that a transport delay is divided into.
const DELAY_SAMPLES: f64 = 200.0;

impl Thermometer {
    /// A thermometer that has long been at `t_c`. `stream` tells its noise from the others'.
    pub fn new(probe: &Probe, seed: u64, stream: u64, t_c: f64) -> Thermometer {
        let mut thermometer = Thermometer {
            probe: *probe,
            rng: Pcg::new(seed, stream),
            now_s: 0.0,
            seen_c: t_c,
            sensor_c: t_c,
            past: VecDeque::with_capacity(DELAY_SAMPLES as usize + 8),
            delayed_c: t_c,
            decay: (0.0, 1.0),
            converted: None,
        };
        thermometer.settle(t_c);
        thermometer
    }

    /// Forgets the past: as if it had long been at `t_c`.
    pub fn settle(&mut self, t_c: f64) {
        (self.seen_c, self.sensor_c, self.delayed_c) = (t_c, t_c, t_c);
        self.past.clear();
        self.past.push_back((self.now_s, t_c));
        self.converted = None;
    }

    /// Moves on by `dt_s`, at the end of which its place has `seen_c`.
    pub fn step(&mut self, dt_s: f64, seen_c: f64) {
        self.now_s += dt_s;
        self.seen_c = seen_c;
        let before_c = self.delayed_c;
        self.delayed_c = self.delayed();
        if self.probe.lag_s <= 0.0 {
            self.sensor_c = self.delayed_c;
            return;
        }
        if self.decay.0 != dt_s {
            self.decay = (dt_s, (-dt_s / self.probe.lag_s).exp());
        }
        // Exact for an input that moves straight from before_c to delayed_c.
        let behind_c = (self.delayed_c - before_c) / dt_s * self.probe.lag_s;
        self.sensor_c = self.delayed_c - behind_c + (self.sensor_c - before_c + behind_c) * self.decay.1;
    }

    fn delayed(&mut self) -> f64 {
        let delay_s = self.probe.delay_s;
        if delay_s <= 0.0 {
            return self.seen_c;
        }
        let newest_s = self.past.back().map_or(f64::NEG_INFINITY, |newest| newest.0);
        if self.now_s - newest_s >= delay_s / DELAY_SAMPLES {
            self.past.push_back((self.now_s, self.seen_c));
        }
        let wanted_s = self.now_s - delay_s;
        while self.past.len() > 2 && self.past[1].0 <= wanted_s {
            self.past.pop_front();
        }
        let &(from_s, from_c) = &self.past[0];
        match self.past.get(1) {
            Some(&(to_s, to_c)) => from_c + (to_c - from_c) * ((wanted_s - from_s) / (to_s - from_s)).clamp(0.0, 1.0),
            None => from_c,
        }
    }

    /// Temperature of the sensing element, without calibration error and noise, degrees Celsius.
    pub fn sensor_c(&self) -> f64 {
        self.sensor_c
    }

    /// What the front end gives now. Each call draws new noise, but a one-wire thermometer repeats its last conversion for 0.75 s.
    pub fn sample(&mut self) -> RawReading {
        if let (ProbeKind::Ds18b20, Some((at_s, reading))) = (self.probe.kind, self.converted)
            && self.now_s - at_s < ONE_WIRE_S - 1e-9
        {
            return reading;
        }
        let ideal_c = self.sensor_c + self.probe.offset_k + self.probe.noise_k * self.rng.normal();
        let reading = RawReading { code: RawCode::encode(self.probe.kind, ideal_c), ideal_c };
        self.converted = Some((self.now_s, reading));
        reading
    }
}
