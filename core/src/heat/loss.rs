//! How the standing loss of a vessel of hot water grows with its temperature.
//!
//! An open vessel loses heat through its wall, in proportion to its rise over the room, and from its surface, in proportion to the
//! vapour pressure (Magnus formula). With a usual share of both, the sum follows `f = (u + u^3) / 2` with `u = (T - 20 C) / 56 K` within 2 % of
//! its value at 76 C from 20 to 90 C; `f` is 1 at 76 C. As a fall in K/s it hardly depends on the size of the vessel: area grows as the
//! two-thirds power of the volume, so the fall shrinks with its cube root only.

use crate::wide::{Bound, Product};

/// The fall at 76 C assumed before anything is known, Q32 K/s: 0.0032 K/s. Open kettles of 10 to 150 L fall by 0.0025 to 0.005, lidded ones
/// by 0.0003 to 0.001 (bench model in the tests).
pub const UNKNOWN: i64 = 13743895;

/// `f(T)` in Q16 for a temperature in Q16 degrees Celsius, which counts as 0 to 120 C beyond those.
pub fn shape(celsius: i64) -> i64 {
    let rise = celsius.within(0, 120 << 16) - (20 << 16);
    let u = (rise * 1170) >> 16;
    let cube = (((u * u) >> 16) * u) >> 16;
    (u + cube) / 2
}

/// The loss that explains a steady ramp, `seen`, may in part be an error of the climb: what doubt about the usual loss and one part in a
/// hundred of the climb leave likely. All Q32 K/s.
pub fn standing(seen: i64, usual: i64, of_loss: i64, climb: i64) -> i64 {
    let of_climb = climb / 100;
    let square = |x: i64| (x >> 12).product(x >> 12);
    let trust = square(of_loss).product(256).checked_div(square(of_loss).saturating_add(square(of_climb))).unwrap_or(0);
    usual.saturating_add(seen.saturating_sub(usual).product(trust) >> 8)
}
