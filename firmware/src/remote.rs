//! What a message from the host may do: less heat at any time, heat only while a person has armed, and only for as long as it keeps asking.

use copperhold_core::heat::Demand;
use copperhold_core::supervisor::Supervisor;
use copperhold_core::units::{Instant, Span};
use copperhold_core::vessel::{PerVessel, Vessel};
use copperhold_core::wire::message::{DemandMessage, LONGEST_DEMAND_MS, Refused, ToDevice};
use copperhold_core::wire::sheet::EncodedSheet;

/// What a message meets.
#[derive(Debug)]
pub struct Standing<'a> {
    /// A person has armed.
    pub armed: bool,
    /// The sheet in the making, or ready to be started at the panel.
    pub sheet: &'a mut EncodedSheet,
}

/// The host's standing.
#[derive(Debug, Clone, Default)]
pub struct Remote {
    /// When each vessel's demand ends, if it came over the link.
    until: PerVessel<Option<Instant>>,
}

impl Remote {
    /// Nothing asked for.
    pub fn new() -> Remote {
        Remote::default()
    }

    /// Does what a message asks.
    ///
    /// # Errors
    /// Says why not; nothing has changed then.
    #[inline(never)]
    pub fn take(
        &mut self,
        now: Instant,
        message: &ToDevice,
        supervisor: &mut Supervisor,
        standing: Standing<'_>,
    ) -> Result<(), Refused> {
        let Standing { armed, sheet } = standing;
        match message {
            ToDevice::Hello => Err(Refused::Unknown),
            ToDevice::Stop => {
                supervisor.stop_sheet();
                self.until = PerVessel::default();
                Ok(())
            }
            ToDevice::Demand { vessel, demand: DemandMessage::Off, .. } => {
                supervisor.demand(*vessel, Demand::Off)?;
                *self.until.get_mut(*vessel) = None;
                Ok(())
            }
            ToDevice::Demand { .. } | ToDevice::Pumps(_) | ToDevice::Sheet { .. } if !armed => Err(Refused::NotArmed),
            ToDevice::Demand { vessel, demand, lasts_ms } => {
                if *lasts_ms == 0 || *lasts_ms > LONGEST_DEMAND_MS {
                    return Err(Refused::Duration);
                }
                supervisor.demand(*vessel, demand.demand())?;
                *self.until.get_mut(*vessel) = Some(now.plus(Span::from_millis(u64::from(*lasts_ms))));
                Ok(())
            }
            ToDevice::Pumps(pumps) => {
                if supervisor.sequencer().is_some() {
                    return Err(Refused::SheetRuns);
                }
                supervisor.pump(*pumps);
                Ok(())
            }
            ToDevice::Step { index, of, step } => {
                sheet.take(*index, *of, step).map_err(|_| Refused::Step)?;
                Ok(())
            }
            ToDevice::Sheet { step, act } => act.apply(*step, supervisor),
        }
    }

    /// A person at the panel has asked a vessel for something: the link's deadline no longer applies to it.
    pub fn forget(&mut self, vessel: Vessel) {
        *self.until.get_mut(vessel) = None;
    }

    /// Ends demands that the host has not repeated.
    pub fn expire(&mut self, now: Instant, supervisor: &mut Supervisor) {
        for vessel in Vessel::ALL {
            let until = self.until.get_mut(vessel);
            if until.is_some_and(|until| now.since(until).is_some()) {
                *until = None;
                // A sheet that has started since makes its own demands.
                let _ = supervisor.demand(vessel, Demand::Off);
            }
        }
    }
}
