//! What a page that is opened late needs for its chart: the day so far, thinned.

use super::state::{DemandNow, Now};
use copperhold_core::vessel::{Element, Vessel};
use serde::Serialize;

/// Most points; one more, and every second one goes.
const MOST: usize = 1_200;
/// Spacing at first, s.
const FIRST_S: f64 = 2.0;

/// One point: time, s; three readings and three targets, tenths of a degree Celsius; who has the grant (0 tank, 1 kettle).
type Point = (f64, [Option<i32>; 3], [Option<i32>; 3], Option<u8>);

/// The day so far.
#[derive(Debug, Clone, Default, Serialize)]
pub struct History {
    boot: u32,
    points: Vec<Point>,
    #[serde(skip)]
    every_s: f64,
}

impl History {
    /// Takes a moment, if it is time for one.
    pub fn take(&mut self, now: &Now) {
        let back = self.points.last().is_some_and(|last| now.at_s < last.0);
        if self.boot != now.boot || back || self.every_s == 0.0 {
            *self = History { boot: now.boot, points: Vec::new(), every_s: FIRST_S };
        }
        if self.points.last().is_some_and(|last| now.at_s - last.0 < self.every_s) {
            return;
        }
        let tenths = |c: f64| (c * 10.0).round() as i32;
        self.points.push((
            (now.at_s * 10.0).round() / 10.0,
            Vessel::ALL.map(|v| now.vessel(v).reading_c.map(tenths)),
            Vessel::ALL.map(|v| match now.vessel(v).demand {
                DemandNow::Hold { target_c } => Some(tenths(target_c)),
                DemandNow::Off | DemandNow::Percent { .. } => None,
            }),
            now.grant.map(|element| match element {
                Element::LiquorTank => 0,
                Element::BoilKettle => 1,
            }),
        ));
        if self.points.len() > MOST {
            let mut keep = false;
            self.points.retain(|_| {
                keep = !keep;
                keep
            });
            self.every_s *= 2.0;
        }
    }
}
