//! The controller: one tick from inputs to outputs, for hosts that call it in one place.
//!
//! A microcontroller runs the two halves at two rates: [`FastPath`] in a timer interrupt, [`Supervisor`] in its main loop. Here both are
//! driven from one call, in the same order.

use crate::arming::Block;
use crate::fast::{FastPath, FastReport, Outputs, Switches};
use crate::probe::Reading;
use crate::settings::Settings;
use crate::supervisor::{Knowledge, Supervisor};
use crate::units::{Instant, Span};
use crate::vessel::PerVessel;

/// The control tick comes this often.
pub const CONTROL_PERIOD: Span = Span::from_millis(250);
/// Longest time a control tick accounts for; a longer gap counts as this much.
pub const CONTROL_LATEST: Span = Span::from_millis(1_000);

/// What the controller sees.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Inputs {
    /// What each probe gives.
    pub probes: PerVessel<Reading>,
    /// Switches at the panel.
    pub switches: Switches,
}

/// The whole controller.
#[derive(Debug, Clone)]
pub struct Controller {
    fast: FastPath,
    supervisor: Supervisor,
    last_control: Option<Instant>,
}

impl Controller {
    /// Starts disarmed, with everything off.
    pub fn new(settings: Settings, knowledge: Knowledge) -> Controller {
        let draft = settings.get();
        Controller {
            fast: FastPath::new(draft.mains, draft.timing, draft.press),
            supervisor: Supervisor::new(settings, knowledge),
            last_control: None,
        }
    }

    /// The slow half: demands, sheet, status, log.
    pub const fn supervisor(&self) -> &Supervisor {
        &self.supervisor
    }

    /// The slow half, to command.
    pub const fn supervisor_mut(&mut self) -> &mut Supervisor {
        &mut self.supervisor
    }

    /// What stands in the way of arming.
    pub fn block(&self, switches: &Switches) -> Option<Block> {
        self.fast.block(switches)
    }

    /// Moves on to `now`: outputs hold until the next tick.
    ///
    /// Time must move forward. While it does not, no element conducts; if that persists, the guard trips.
    pub fn tick(&mut self, now: Instant, inputs: &Inputs) -> Outputs {
        let outputs = self.fast.tick(now, &inputs.switches);
        let Some(elapsed) = self.control_due(now) else { return outputs };
        let report: FastReport = self.fast.report();
        let lease = self.supervisor.tick(now, elapsed, &inputs.probes, &inputs.switches, &report);
        self.fast.renew(lease);
        self.fast.apply(&inputs.switches)
    }

    /// Until this time the outputs stay as they are, if no input changes before.
    pub fn next_due(&self, now: Instant) -> Instant {
        let since = self.last_control.and_then(|last| now.since(last)).unwrap_or(CONTROL_PERIOD);
        now.plus(self.fast.due_in().min(CONTROL_PERIOD.less(since)).max(Span::from_millis(10)))
    }

    /// Time since the last control tick, if the next is due.
    fn control_due(&mut self, now: Instant) -> Option<Span> {
        let elapsed = match self.last_control {
            None => CONTROL_PERIOD,
            Some(last) => match now.since(last) {
                Some(span) if span >= CONTROL_PERIOD => span,
                // The guard must hear of a clock that misbehaves even though nothing seems due.
                Some(_) | None if self.fast.clock_is_faulty() => Span::ZERO,
                Some(_) | None => return None,
            },
        };
        self.last_control = Some(now);
        Some(elapsed.min(CONTROL_LATEST))
    }
}
