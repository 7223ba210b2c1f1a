//! What a gesture at the knob does, screen by screen.

use super::{Action, NOTICE, Panel, Screen, View, lists, setup};
use crate::buttons::Gesture;
use crate::storage::settings::Origin;
use copperhold_core::heat::Demand;
use copperhold_core::sequencer::Prompt;
use copperhold_core::units::{Celsius, Duty};

impl Panel {
    /// A person's gesture; gives what it asks for.
    #[inline(never)]
    pub fn gesture(&mut self, gesture: Gesture, view: &View<'_>) -> Option<Action> {
        self.rest = 0;
        if view.now.origin != Origin::Stored {
            return self.at_doubt(gesture);
        }
        if view.tripped() {
            self.scroll(gesture);
            return None;
        }
        if let Some(prompt) = self.asking(view) {
            return self.at_prompt(gesture, prompt);
        }
        match self.screen {
            Screen::Home => {
                self.set_aside = None;
                if self.asking(view).is_none() {
                    self.screen = Screen::Menu { row: 0 };
                }
                None
            }
            Screen::Menu { row } => self.at_menu(gesture, row, view),
            Screen::Vessel { .. } => self.at_vessel(gesture),
            Screen::Sheet { row } => self.at_sheet(gesture, row, view),
            Screen::Pumps { row } => self.at_pumps(gesture, row),
            Screen::Arming => {
                self.leave(gesture);
                None
            }
            Screen::Setup { .. } => self.at_setup(gesture, view),
        }
    }

    fn at_doubt(&mut self, gesture: Gesture) -> Option<Action> {
        self.scroll(gesture);
        (gesture == Gesture::Hold).then_some(Action::ConfirmDefaults)
    }

    fn at_prompt(&mut self, gesture: Gesture, prompt: Prompt) -> Option<Action> {
        match gesture {
            Gesture::Hold => Some(Action::Answer),
            Gesture::Turn(_) | Gesture::Click => {
                self.set_aside = Some(prompt);
                None
            }
        }
    }

    fn at_menu(&mut self, gesture: Gesture, row: u8, view: &View<'_>) -> Option<Action> {
        match gesture {
            Gesture::Turn(by) => self.screen = Screen::Menu { row: lists::move_row(row, by, lists::MENU.len()) },
            Gesture::Click => self.screen = lists::target(row, view),
            Gesture::Hold => {}
        }
        None
    }

    #[inline(never)]
    fn at_vessel(&mut self, gesture: Gesture) -> Option<Action> {
        let Screen::Vessel { vessel, row, editing, target_milli, percent } = &mut self.screen else { return None };
        let rows = lists::vessel_rows(*vessel);
        let chosen = rows.get(usize::from(*row)).copied().unwrap_or(lists::VesselRow::Back);
        let demand = match chosen {
            lists::VesselRow::Hold => Some(Demand::Hold(Celsius::from_milli(*target_milli))),
            lists::VesselRow::Percent => Some(Demand::Percent(Duty::from_basis_points(u32::from(*percent).saturating_mul(100)))),
            lists::VesselRow::Off => Some(Demand::Off),
            lists::VesselRow::Back => None,
        };
        match gesture {
            Gesture::Turn(by) if *editing => (*target_milli, *percent) = lists::adjust(chosen, by, *target_milli, *percent),
            Gesture::Turn(by) => *row = lists::move_row(*row, by, rows.len()),
            Gesture::Click => match chosen {
                lists::VesselRow::Hold | lists::VesselRow::Percent => *editing = !*editing,
                lists::VesselRow::Off => return Some(Action::Demand(*vessel, Demand::Off)),
                lists::VesselRow::Back => self.screen = Screen::Home,
            },
            Gesture::Hold => {
                *editing = false;
                return demand.map(|demand| Action::Demand(*vessel, demand));
            }
        }
        None
    }

    fn at_sheet(&mut self, gesture: Gesture, row: u8, view: &View<'_>) -> Option<Action> {
        let chosen = lists::SHEET.get(usize::from(row)).copied().unwrap_or(lists::SheetRow::Back);
        let runs = view.supervisor.sequencer().is_some();
        match gesture {
            Gesture::Turn(by) => self.screen = Screen::Sheet { row: lists::move_row(row, by, lists::SHEET.len()) },
            Gesture::Click => match chosen {
                lists::SheetRow::Back => self.screen = Screen::Home,
                lists::SheetRow::Start | lists::SheetRow::Next | lists::SheetRow::Pause | lists::SheetRow::End => {
                    self.notice = Some(("press and hold", NOTICE));
                }
            },
            Gesture::Hold => match chosen {
                lists::SheetRow::Start if !runs => {
                    self.paused = false;
                    self.screen = Screen::Home;
                    return Some(Action::StartSheet);
                }
                lists::SheetRow::Next if runs => return Some(Action::Skip),
                lists::SheetRow::Pause if runs => {
                    self.paused = !self.paused;
                    return Some(Action::Pause(self.paused));
                }
                lists::SheetRow::End if runs => return Some(Action::StopSheet),
                lists::SheetRow::Start | lists::SheetRow::Next | lists::SheetRow::Pause | lists::SheetRow::End => {
                    self.notice = Some((if runs { "a sheet runs already" } else { "no sheet runs" }, NOTICE));
                }
                lists::SheetRow::Back => self.screen = Screen::Home,
            },
        }
        None
    }

    fn at_pumps(&mut self, gesture: Gesture, row: u8) -> Option<Action> {
        match gesture {
            Gesture::Turn(by) => self.screen = Screen::Pumps { row: lists::move_row(row, by, 4) },
            Gesture::Click if row == 3 => self.screen = Screen::Home,
            Gesture::Click => self.notice = Some(("press and hold", NOTICE)),
            Gesture::Hold => {
                let pumps = &mut self.pumps;
                let pump = match row {
                    0 => &mut pumps.liquor,
                    1 => &mut pumps.mash,
                    2 => &mut pumps.wort,
                    _ => return None,
                };
                *pump = !*pump;
                return Some(Action::Pumps(self.pumps));
            }
        }
        None
    }

    fn at_setup(&mut self, gesture: Gesture, view: &View<'_>) -> Option<Action> {
        let Screen::Setup { row, editing } = &mut self.screen else { return None };
        let chosen = setup::row(*row);
        match gesture {
            Gesture::Turn(by) if *editing => {
                let draft = self.draft.get_or_insert_with(|| view.stored.clone());
                setup::adjust(chosen, draft, by);
            }
            Gesture::Turn(by) => *row = lists::move_row(*row, by, setup::rows()),
            Gesture::Click => match chosen {
                setup::Row::Back => {
                    self.draft = None;
                    self.screen = Screen::Home;
                }
                setup::Row::FindOneWire => self.notice = Some(("press and hold", NOTICE)),
                _ => *editing = !*editing,
            },
            Gesture::Hold => {
                *editing = false;
                if chosen == setup::Row::FindOneWire {
                    return Some(Action::FindOneWire);
                }
                return self.draft.take().map(Action::Set);
            }
        }
        None
    }

    fn scroll(&mut self, gesture: Gesture) {
        if let Gesture::Turn(by) = gesture {
            self.line = self.line.saturating_add_signed(by).min(12);
        }
    }

    fn leave(&mut self, gesture: Gesture) {
        if gesture == Gesture::Click {
            self.screen = Screen::Home;
        }
    }
}
