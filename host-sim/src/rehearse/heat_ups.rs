//! Heat-ups: how long each took, how long it need have taken, how far it went past.

use crate::day::HeatUp;
use crate::plant::{Brewery, Truth};
use copperhold_core::vessel::Element;

/// A rise smaller than this is a correction, not a heat-up, K.
const LEAST_RISE_K: f64 = 2.0;
/// The target counts as reached within this distance of the true bulk temperature, K.
const REACHED_K: f64 = 0.3;

/// The volume may change by this share and still count as the same.
const SAME_VOLUME: f64 = 0.02;

/// One heat-up under way.
#[derive(Debug, Clone, Copy)]
struct Run {
    target_c: f64,
    from_c: f64,
    started_s: f64,
    least_s: f64,
    reached_s: Option<f64>,
    highest_c: f64,
    cold_l: f64,
}

/// Watches one element's vessel.
#[derive(Debug, Clone, Default)]
pub struct HeatUps {
    asked_c: Option<f64>,
    run: Option<Run>,
    done: Vec<HeatUp>,
}

impl HeatUps {
    /// Looks at the vessel: `target_c` is the temperature it is asked to hold, if any.
    pub fn look(&mut self, t_s: f64, element: Element, target_c: Option<f64>, truth: &Truth, brewery: &Brewery) {
        let bulk_c = *truth.bulk_c.get(element.vessel());
        let cold_l = *truth.cold_l.get(element.vessel());
        if self.asked_c != target_c {
            self.asked_c = target_c;
            self.close();
            self.run = target_c.filter(|target_c| target_c - bulk_c > LEAST_RISE_K).map(|target_c| Run {
                target_c,
                from_c: bulk_c,
                started_s: t_s,
                least_s: brewery.least_seconds(element, bulk_c, target_c - REACHED_K),
                reached_s: None,
                highest_c: bulk_c,
                cold_l,
            });
        }
        // A vessel that is being filled or emptied has no least time to compare with.
        self.run = self.run.filter(|run| run.reached_s.is_some() || (cold_l / run.cold_l - 1.0).abs() < SAME_VOLUME);
        if let Some(run) = &mut self.run {
            run.highest_c = run.highest_c.max(bulk_c);
            if run.reached_s.is_none() && bulk_c >= run.target_c - REACHED_K {
                run.reached_s = Some(t_s);
            }
        }
    }

    /// Ends the run under way; one that never reached its target is not a heat-up.
    fn close(&mut self) {
        if let Some(run) = self.run.take()
            && let Some(reached_s) = run.reached_s
        {
            self.done.push(HeatUp {
                from_c: run.from_c,
                to_c: run.target_c,
                seconds: reached_s - run.started_s,
                least_seconds: run.least_s,
                overshoot_c: (run.highest_c - run.target_c).max(0.0),
            });
        }
    }

    /// All of them.
    pub fn finish(mut self) -> Vec<HeatUp> {
        self.close();
        self.done
    }
}
