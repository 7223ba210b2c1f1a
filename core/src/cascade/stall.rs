//! Flow that has stopped: a gap that the mash does not answer.

use super::ONE;
use crate::units::{Celsius, Kelvin, Span};
use crate::wide::{Bound, Product, Sum};

/// A gap above the offset by more than this ought to move the mash.
const TELLING: i64 = ONE * 3 / 2;
/// Flow has stopped when so much of it (K s) ...
const STOPPED_K_S: i64 = 2_000;
/// ... has moved the mash by less than this. The weakest coil would move the
/// biggest mash by 1.3 K.
pub(super) const STOPPED_RISE: Kelvin = Kelvin::from_milli(200);

/// Watches for a gap that the mash does not answer.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Stall {
    /// Gap that ought to have moved the mash, Q16 K us.
    unanswered: i64,
    /// When flow was last seen, or since then.
    pub seen: Option<Seen>,
    pub stopped: bool,
}

/// The lowest mash temperature since flow was last seen, and the offset then (Q16, at the present rest).
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    mash: Celsius,
    pub offset: i64,
}

impl Stall {
    const LIMIT: i64 = STOPPED_K_S * ONE * 1_000_000;

    pub fn suspect(&self) -> bool {
        self.unanswered > Self::LIMIT / 2
    }

    /// `offset` is the one believed now; what is judged is the gap above the one that was last seen to work.
    pub fn tick(&mut self, elapsed: Span, gap: i64, mash: Celsius, lack: Kelvin, offset: i64) {
        let seen = *self.seen.get_or_insert(Seen { mash, offset });
        let drive = gap.minus(seen.offset);
        let answered = mash.above(seen.mash) >= STOPPED_RISE;
        let arrived = lack < STOPPED_RISE && drive < TELLING;
        if answered || arrived {
            *self = Stall { seen: Some(Seen { mash, offset }), ..Stall::default() };
            return;
        }
        self.seen = Some(Seen { mash: seen.mash.min(mash), ..seen });
        let dt_us = i64::try_from(elapsed.as_micros()).unwrap_or(i64::MAX);
        if drive > TELLING {
            self.unanswered = self.unanswered.plus(drive.product(dt_us)).at_most(Self::LIMIT);
        }
        self.stopped |= self.unanswered >= Self::LIMIT;
    }
}
