//! What a person asks for at the panel, done or refused.

use super::App;
use crate::board::Board;
use crate::buttons::Gesture;
use crate::panel::{Action, View};
use crate::probes::Choice;
use crate::storage::Stored;
use crate::storage::settings::Origin;
use copperhold_core::sequencer::Sequencer;
use copperhold_core::vessel::Vessel;

impl<B: Board> App<B> {
    #[inline(never)]
    pub(super) fn gesture(&mut self, gesture: Gesture) {
        let view = View { supervisor: self.supervisor, stored: &self.stored, now: self.moment() };
        let action = self.panel.gesture(gesture, &view);
        if let Some(action) = action {
            let refusal = self.act(action);
            self.panel.answer(refusal);
        }
    }

    /// Does what a person asked for at the panel; gives the reason if it is refused.
    #[inline(never)]
    fn act(&mut self, action: Action) -> Result<(), &'static str> {
        match action {
            Action::Demand(vessel, demand) => {
                self.supervisor.demand(vessel, demand).map_err(|refusal| refusal.text())?;
                self.remote.forget(vessel);
            }
            Action::FindOneWire => self.find_one_wire()?,
            Action::Pumps(pumps) => self.supervisor.pump(pumps),
            Action::StartSheet => {
                if self.sheet.is_empty() {
                    return Err("no sheet was sent yet");
                }
                self.supervisor.start_steps(self.sheet.steps());
            }
            Action::StopSheet => self.supervisor.stop_sheet(),
            Action::Skip => self.with_sequencer(Sequencer::skip),
            Action::Pause(paused) => self.with_sequencer(|sequencer| sequencer.pause(paused)),
            Action::Answer => self.with_sequencer(|sequencer| {
                if let Some(prompt) = sequencer.asked() {
                    sequencer.answer(prompt);
                }
            }),
            Action::ConfirmDefaults => {
                self.origin = Origin::Stored;
                self.unsaved.settings = true;
            }
            Action::Set(stored) => {
                if self.outputs.armed || self.switches.key {
                    return Err("turn the key off to change settings");
                }
                stored.settings().map_err(|_| "out of range: not changed")?;
                self.stored = Stored { knowledge: self.stored.knowledge, ..stored };
                self.unsaved.settings = true;
            }
        }
        Ok(())
    }

    /// Hands the thermometers found out to the vessels that want one, each time one further round.
    #[inline(never)]
    fn find_one_wire(&mut self) -> Result<(), &'static str> {
        if self.outputs.armed || self.switches.key {
            return Err("turn the key off to change settings");
        }
        let found = self.probes.search().map_err(|fault| fault.cause())?;
        let mut next = None;
        for vessel in Vessel::ALL {
            let choice = self.stored.probes.get_mut(vessel);
            let Choice::OneWire { rom } = *choice else { continue };
            let at = match next {
                Some(at) => at,
                // The first vessel gets the one after its own.
                None => rom.and_then(|rom| found.iter().position(|one| *one == rom)).map_or(0, |at| at + 1),
            };
            let at = if at < found.len() { at } else { 0 };
            if let Some(rom) = found.get(at) {
                *choice = Choice::OneWire { rom: Some(*rom) };
            }
            next = Some(at + 1);
        }
        next.ok_or("no vessel is set to one-wire")?;
        self.unsaved.settings = true;
        Ok(())
    }

    fn with_sequencer(&mut self, f: impl FnOnce(&mut Sequencer)) {
        if let Some(sequencer) = self.supervisor.sequencer_mut() {
            f(sequencer);
        }
    }
}
