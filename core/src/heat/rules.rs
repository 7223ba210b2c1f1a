//! Published tuning rules: from a kettle's climb and lag, or its ultimate gain and period, to gains of a [`Pid`](super::pid::Pid).
//!
//! - *Integrating kettle*: climb `k` in K/s at full power, dead time `L`. Heated water over a few minutes is one.
//! - *Ultimate gain and period*: the proportional gain (duty per kelvin) at which a loop would swing steadily, and the period of that swing.
//!
//! | rule | source |
//! | --- | --- |
//! | Ziegler-Nichols, step and ultimate | Ziegler and Nichols, Trans. ASME 64 (1942) 759-768 |
//! | Tyreus-Luyben | Tyreus and Luyben, Ind. Eng. Chem. Res. 31 (1992) 2625-2628 |
//! | SIMC | Skogestad, J. Process Control 13 (2003) 291-309 |
//! | AMIGO | Astrom and Hagglund, J. Process Control 14 (2004) 635-650 |
//!
//! Gains are rounded down to 1/65536 duty per kelvin, and bounded by what [`PidGains`] accepts.

use fixed::types::I16F16;

use super::pid::{PidGains, PidGainsError};
use crate::units::{Slope, Span};

/// How briskly a loop answers, as the closed-loop time constant of SIMC.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Brisk {
    /// `tc = L`: Skogestad's "tight" choice; Ms about 1.7 on an integrating kettle.
    #[default]
    Tight,
    /// `tc = 3 L`: smooth; Ms about 1.3.
    Smooth,
}

/// An integrating kettle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Integrating {
    /// Climb at full power, above 0.
    pub climb: Slope,
    /// Dead time, above 0.
    pub lag: Span,
}

/// The edge of stability.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ultimate {
    /// Ultimate gain, duty per kelvin.
    pub gain: I16F16,
    /// Ultimate period.
    pub period: Span,
}

/// Rules for an integrating kettle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IntegratingRule {
    /// SIMC PI: `Kc = 1 / (k (tc + L))`, `Ti = 4 (tc + L)`.
    Simc(Brisk),
    /// AMIGO PI: `Kc = 0.35 / (k L)`, `Ti = 13.4 L`.
    AmigoPi,
    /// AMIGO PID: `Kc = 0.45 / (k L)`, `Ti = 8 L`, `Td = 0.5 L`.
    AmigoPid,
    /// Ziegler-Nichols step response, P: `Kc = 1 / (k L)`.
    ZieglerNicholsP,
    /// Ziegler-Nichols step response, PI: `Kc = 0.9 / (k L)`, `Ti = L / 0.3`.
    ZieglerNicholsPi,
    /// Ziegler-Nichols step response, PID: `Kc = 1.2 / (k L)`, `Ti = 2 L`, `Td = L / 2`.
    ZieglerNicholsPid,
}

/// Rules for a known edge of stability.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UltimateRule {
    /// Ziegler-Nichols P: `Ku / 2`.
    ZieglerNicholsP,
    /// Ziegler-Nichols PI: `0.45 Ku`, `Pu / 1.2`.
    ZieglerNicholsPi,
    /// Ziegler-Nichols PID: `0.6 Ku`, `Pu / 2`, `Pu / 8`.
    ZieglerNicholsPid,
    /// Tyreus-Luyben PI: `Ku / 3.2`, `2.2 Pu`.
    TyreusLuybenPi,
    /// Tyreus-Luyben PID: `Ku / 2.2`, `2.2 Pu`, `Pu / 6.3`.
    TyreusLuybenPid,
}

/// Coefficients in millionths: of the gain, of the integral time (`None`: no integral action), of the derivative time.
type Coefficients = (i64, Option<u64>, u64);

impl Integrating {
    /// Gains by `rule`, or why they cannot be had (climb or lag of zero, or outside what [`PidGains`] accepts).
    pub fn gains(&self, rule: IntegratingRule) -> Result<PidGains, PidGainsError> {
        let (kc, ti, td): Coefficients = match rule {
            IntegratingRule::Simc(Brisk::Tight) => (500_000, Some(8_000_000), 0),
            IntegratingRule::Simc(Brisk::Smooth) => (250_000, Some(16_000_000), 0),
            IntegratingRule::AmigoPi => (350_000, Some(13_400_000), 0),
            IntegratingRule::AmigoPid => (450_000, Some(8_000_000), 500_000),
            IntegratingRule::ZieglerNicholsP => (1_000_000, None, 0),
            IntegratingRule::ZieglerNicholsPi => (900_000, Some(3_333_333), 0),
            IntegratingRule::ZieglerNicholsPid => (1_200_000, Some(2_000_000), 500_000),
        };
        // 1 / (k L): climb in 2^-24 K/s, lag in us, result in 2^-16 duty/K: 2^(24 + 16) 1e6 / 1e6 of a coefficient.
        let product = i128::from(self.climb.fixed().to_bits()) * i128::from(self.lag.as_micros());
        let bits = (i128::from(kc) << 40).checked_div(product).unwrap_or(0);
        gains(bits, ti, td, self.lag)
    }

    /// The edge of stability of this kettle under proportional control: `Ku = pi / (2 k L)`, `Pu = 4 L` (phase condition, exact).
    pub fn ultimate(&self) -> Ultimate {
        let product = i128::from(self.climb.fixed().to_bits()) * i128::from(self.lag.as_micros());
        // pi / 2 in millionths, times 1e6 us, times 2^40, over the product.
        let bits = (1_570_796_i128 << 40).checked_div(product).unwrap_or(0);
        Ultimate { gain: narrow(bits), period: self.lag.times(4) }
    }
}

impl Ultimate {
    /// Gains by `rule`, or why they cannot be had.
    pub fn gains(&self, rule: UltimateRule) -> Result<PidGains, PidGainsError> {
        let (kc, ti, td): Coefficients = match rule {
            UltimateRule::ZieglerNicholsP => (500_000, None, 0),
            UltimateRule::ZieglerNicholsPi => (450_000, Some(833_333), 0),
            UltimateRule::ZieglerNicholsPid => (600_000, Some(500_000), 125_000),
            UltimateRule::TyreusLuybenPi => (312_500, Some(2_200_000), 0),
            UltimateRule::TyreusLuybenPid => (454_545, Some(2_200_000), 158_730),
        };
        gains(i128::from(self.gain.to_bits()) * i128::from(kc) / 1_000_000, ti, td, self.period)
    }
}

fn gains(kc_bits: i128, ti: Option<u64>, td: u64, time: Span) -> Result<PidGains, PidGainsError> {
    let part = |millionths: u64| Span::from_micros(time.times(millionths).as_micros() / 1_000_000);
    PidGains::new(narrow(kc_bits), ti.map(part), part(td))
}

fn narrow(bits: i128) -> I16F16 {
    I16F16::from_bits(i32::try_from(bits).unwrap_or(if bits < 0 { i32::MIN } else { i32::MAX }))
}
