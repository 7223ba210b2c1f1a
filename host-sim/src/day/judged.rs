//! How a step kept to its target, as rehearsed or as watched.

/// A target counts as reached from this far below it, K.
const REACHED_K: f64 = 0.3;

/// The judgement of one step, made as it runs.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Judged {
    /// Highest temperature since the target was reached or the timer ran; `None` before that.
    highest_c: Option<f64>,
    squares: f64,
    count: u32,
}

impl Judged {
    /// Looks at one moment. `from_c`: temperature at the step's start; `timed`: the step's timer runs.
    pub fn look(&mut self, from_c: Option<f64>, target_c: f64, seen_c: f64, timed: bool) {
        let arrived = from_c.is_some_and(|from_c| from_c < target_c) && seen_c >= target_c - REACHED_K;
        if self.highest_c.is_some() || timed || arrived {
            self.highest_c = Some(self.highest_c.map_or(seen_c, |highest_c| highest_c.max(seen_c)));
        }
        if timed {
            self.squares += (seen_c - target_c).powi(2);
            self.count += 1;
        }
    }

    /// Furthest past the target, K; `None` without a target or before it was reached.
    pub fn overshoot_k(&self, target_c: Option<f64>) -> Option<f64> {
        Some((self.highest_c? - target_c?).max(0.0))
    }

    /// Root mean square distance from the target while the timer ran, K; `None` if it did not.
    pub fn hold_rms_k(&self) -> Option<f64> {
        (self.count > 0).then(|| (self.squares / f64::from(self.count)).sqrt())
    }
}
