//! What a person asks for at the panel, done or refused.

use super::App;
use crate::board::Board;
use crate::buttons::Gesture;
use crate::drivers::ds18b20::Rom;
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
        let before = self.stored.probes;
        let mut vessels = Vessel::ALL.into_iter().filter(|&vessel| matches!(before.get(vessel), Choice::OneWire { .. }));
        let first = vessels.next().ok_or("no vessel is set to one-wire")?;
        let present = |rom: &Rom| before.get(first) == &Choice::OneWire { rom: Some(*rom) };
        let turn = found.iter().position(present).map_or(0, |at| at + 1);
        for (vessel, rom) in core::iter::once(first).chain(vessels).zip(found.iter().cycle().skip(turn)) {
            *self.stored.probes.get_mut(vessel) = Choice::OneWire { rom: Some(*rom) };
        }
        self.unsaved.settings = true;
        Ok(())
    }

    fn with_sequencer(&mut self, f: impl FnOnce(&mut Sequencer)) {
        if let Some(sequencer) = self.supervisor.sequencer_mut() {
            f(sequencer);
        }
    }
}
