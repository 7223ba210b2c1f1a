//! What a vessel has taught: the record the firmware stores between brew days.

use crate::units::{Slope, Span};

/// Bounds of the total lag, ms.
pub(super) const LAG_MS: [u32; 2] = [5_000, 180_000];

/// What a heat-up taught about a vessel, each part within its bounds. Plain integers, to be stored and read back as they are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Learned {
    slope_micro_k_per_s: u32,
    lag_ms: u32,
    loss_micro_k_per_s: u32,
}

impl Learned {
    /// From its parts, each brought within its bounds: `slope`, the climb at full power before any loss (0.0005 to 1 K/s); `lag`, the total
    /// from element to thermometer (5 to 180 s); `loss`, the fall without power at 76 C (0 to 0.02 K/s).
    pub fn new(slope: Slope, lag: Span, loss: Slope) -> Learned {
        let micro = |slope: Slope| u32::try_from(slope.micro()).unwrap_or(0);
        Learned::from_figures([micro(slope), u32::try_from(lag.as_millis()).unwrap_or(u32::MAX), micro(loss)])
    }

    /// As plain numbers, to be stored: slope and loss in uK/s, lag in ms.
    pub const fn figures(&self) -> [u32; 3] {
        [self.slope_micro_k_per_s, self.lag_ms, self.loss_micro_k_per_s]
    }

    /// From the numbers that [`Learned::figures`] gave, each brought within its bounds.
    pub fn from_figures([slope, lag_ms, loss]: [u32; 3]) -> Learned {
        Learned {
            slope_micro_k_per_s: slope.clamp(500, 1_000_000),
            lag_ms: lag_ms.clamp(LAG_MS[0], LAG_MS[1]),
            loss_micro_k_per_s: loss.min(20_000),
        }
    }

    /// The same record with another loss.
    #[must_use]
    pub fn with_loss(self, loss: Slope) -> Learned {
        Learned { loss_micro_k_per_s: u32::try_from(loss.micro()).unwrap_or(0).min(20_000), ..self }
    }

    /// Climb at full power before any loss.
    pub fn slope(&self) -> Slope {
        Slope::from_micro(i32::try_from(self.slope_micro_k_per_s).unwrap_or(i32::MAX))
    }

    /// Total lag from element to thermometer.
    pub fn lag(&self) -> Span {
        Span::from_millis(u64::from(self.lag_ms))
    }

    /// Fall without power at 76 C; see [`super::loss`] for other temperatures.
    pub fn loss(&self) -> Slope {
        Slope::from_micro(i32::try_from(self.loss_micro_k_per_s).unwrap_or(0))
    }
}
