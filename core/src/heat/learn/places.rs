//! The places of a lag among the nodes.

use super::past::{DELAYS_US, NODES};
use super::usual::{COUNT, PLACES};

/// Where the places of a lag lie between the nodes: the node before each, and the share of the next, Q8. So coarse a share moves a place by less than
/// a thousandth of the lag, and any sum of the window's times it fits 64 bits.
pub struct Places([(usize, i32); COUNT]);

impl Places {
    /// Those of a lag, us.
    #[inline(never)]
    pub fn of(lag_us: i32) -> Places {
        // In ms all fits 32 bits.
        let lag_ms = u32::try_from(lag_us / 1_000).unwrap_or(0);
        let delay = |node: usize| DELAYS_US.get(node).map_or(0, |&us| us as u32 / 1_000);
        let mut before = 0;
        Places(PLACES.map(|place| {
            let delay_ms = lag_ms * place as u32 / 1_000;
            while before < NODES - 2 && delay(before + 1) < delay_ms {
                before += 1;
            }
            let width = (delay(before + 1) - delay(before)).max(1);
            let share = (delay_ms.saturating_sub(delay(before)) << 8) / width;
            (before, share.min(1 << 8) as i32)
        }))
    }

    /// A part of the response at a place, shared between its nodes.
    pub fn add(&self, place: usize, part: i64, response: &mut [i64; NODES]) {
        let Some(&(before, share)) = self.0.get(place) else { return };
        let next = (part * i64::from(share)) >> 8;
        if let Some([near, far]) = response.get_mut(before..before + 2) {
            *near += part - next;
            *far += next;
        }
    }

    /// A quantity of the columns at an unknown, which lies between two of them if it is a place.
    pub fn between(&self, unknown: usize, of: impl Fn(usize) -> i64) -> i64 {
        match self.0.get(unknown) {
            Some(&(before, share)) => {
                let near = of(before);
                near + (((of(before + 1) - near) * i64::from(share)) >> 8)
            }
            None => of(unknown + NODES - COUNT),
        }
    }
}
