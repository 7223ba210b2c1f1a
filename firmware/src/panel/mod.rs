//! The front panel: one knob, one button, 128x64 pixels.
//!
//! Rules, for wet hands: turning only looks; a click only moves about, or takes heat away; whatever adds heat, starts a pump, answers
//! for a covered element or changes a setting is *held* for 0.8 s, with a bar that fills. Arming and acknowledging are not here: they are
//! a button of their own.

pub mod draw;
pub mod font;
mod gestures;
pub mod home;
pub mod lists;
pub mod setup;
pub mod text;

use crate::drivers::oled::Canvas;
use crate::storage::Stored;
use crate::storage::settings::Origin;
use copperhold_core::arming::Block;
use copperhold_core::event::Event;
use copperhold_core::fast::Outputs;
use copperhold_core::guard::sense::Sense;
use copperhold_core::heat::Demand;
use copperhold_core::sequencer::Prompt;
use copperhold_core::supervisor::Supervisor;
use copperhold_core::vessel::{Pumps, Vessel};

/// What there is to show.
#[derive(Clone, Copy)]
pub struct View<'a> {
    /// The slow half of the controller.
    pub supervisor: &'a Supervisor,
    /// The settings.
    pub stored: &'a Stored,
    /// The rest.
    pub now: Moment,
}

/// How things stand at the moment.
#[derive(Debug, Clone, Copy, Default)]
pub struct Moment {
    /// The outputs.
    pub outputs: Outputs,
    /// What stands in the way of arming.
    pub block: Option<Block>,
    /// Where the settings came from.
    pub origin: Origin,
    /// Steps of the sheet that is ready to be started; 0 if there is none.
    pub sheet_steps: u8,
    /// The key is on.
    pub key: bool,
    /// Sense lines in force.
    pub sense: Sense,
    /// Flow behind the mash pump, mL/min.
    pub flow_ml_per_min: u32,
    /// An expander was there, or should be, and does not answer.
    pub lost: Option<Lost>,
}

/// What does not answer; no element is granted meanwhile.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lost {
    /// The selector's expander.
    Selector,
    /// The sense lines' expander.
    Sense,
}

impl View<'_> {
    fn prompt(&self) -> Option<Prompt> {
        self.supervisor.status().directive.as_ref().and_then(|directive| directive.prompt)
    }

    fn tripped(&self) -> bool {
        self.supervisor.guard().latch().is_some()
    }
}

/// What a person asks for.
#[derive(Debug, Clone, PartialEq)]
#[expect(clippy::large_enum_variant, reason = "there is no allocator, and settings are changed once in a while")]
pub enum Action {
    /// A demand by hand.
    Demand(Vessel, Demand),
    /// Pumps by hand.
    Pumps(Pumps),
    /// Start the sheet.
    StartSheet,
    /// End the sheet.
    StopSheet,
    /// On to the next step.
    Skip,
    /// Stop the step's timer, or let it run.
    Pause(bool),
    /// The prompt is done.
    Answer,
    /// Use the defaults although nothing trustworthy is stored.
    ConfirmDefaults,
    /// Change a setting.
    Set(Stored),
    /// Look for one-wire thermometers and hand them out in turn.
    FindOneWire,
}

/// Where the panel is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Screen {
    /// The three vessels.
    #[default]
    Home,
    /// The list of places to go.
    Menu {
        /// Row under the cursor.
        row: u8,
    },
    /// One vessel.
    Vessel {
        /// Which.
        vessel: Vessel,
        /// Row under the cursor.
        row: u8,
        /// The knob changes the row's figure.
        editing: bool,
        /// Target as it stands in the row, thousandths of a degree.
        target_milli: i32,
        /// Share of full power as it stands in the row, percent.
        percent: u8,
    },
    /// The sheet.
    Sheet {
        /// Row under the cursor.
        row: u8,
    },
    /// Pumps.
    Pumps {
        /// Row under the cursor.
        row: u8,
    },
    /// Why it does not arm, or that it has.
    Arming,
    /// Settings.
    Setup {
        /// Row under the cursor.
        row: u8,
        /// The knob changes the row's figure.
        editing: bool,
    },
}

/// The panel.
#[derive(Debug, Clone, Default)]
// Small fields first: what lies far from the start takes more instructions to reach.
#[repr(C)]
pub struct Panel {
    screen: Screen,
    /// Set aside while the person looks elsewhere; asked again when it changes.
    set_aside: Option<Prompt>,
    /// First line shown of a text longer than the screen.
    line: u8,
    held: u8,
    /// Control ticks for which the buzzer still sounds.
    beep: u8,
    /// Control ticks until it is drawn again by itself.
    rest: u8,
    paused: bool,
    pumps: Pumps,
    /// Shown for a while.
    notice: Option<(&'static str, u8)>,
    /// Settings being changed, until they are stored or left.
    draft: Option<Stored>,
}

/// Control ticks for which a notice stays: 3 s.
const NOTICE: u8 = 12;
/// Control ticks between two drawings while nobody touches anything: once a second.
const REDRAW: u8 = 3;
/// Control ticks of a beep.
const BEEP: u8 = 2;

impl Panel {
    /// At home.
    pub fn new() -> Panel {
        Panel::default()
    }

    /// How far a press has come towards a hold.
    pub const fn set_held(&mut self, ticks: u8) {
        if self.held != ticks {
            self.rest = 0;
        }
        self.held = ticks;
    }

    /// Whether the buzzer sounds.
    pub const fn sounds(&self) -> bool {
        self.beep > 0
    }

    /// Something happened: what a person should notice beeps.
    pub fn note(&mut self, event: &Event) {
        self.rest = 0;
        if matches!(event, Event::Tripped(_) | Event::Addition(_) | Event::Step(_) | Event::SheetDone) {
            self.beep = BEEP;
        }
        if matches!(event, Event::Tripped(_)) {
            self.beep = 4 * BEEP;
            self.line = 0;
        }
    }

    /// What became of an action.
    pub fn answer(&mut self, outcome: Result<(), &'static str>) {
        self.notice = Some((outcome.err().unwrap_or("done"), NOTICE));
    }

    /// Whether the store took a change.
    pub fn stored(&mut self, done: bool) {
        self.notice = Some((if done { "stored" } else { "NOT STORED: flash fault" }, NOTICE));
    }

    /// Draws what there is to see, if it is time; called once per control tick. True if it drew.
    pub fn draw(&mut self, canvas: &mut Canvas, view: &View<'_>) -> bool {
        self.beep = self.beep.saturating_sub(1);
        self.notice = self.notice.and_then(|(text, left)| Some((text, left.checked_sub(1)?)));
        if self.set_aside.is_some() && self.set_aside != view.prompt() {
            self.set_aside = None;
        }
        if self.rest > 0 {
            self.rest -= 1;
            return false;
        }
        self.rest = REDRAW;
        canvas.begin();
        self.paint(canvas, view);
        let changed = canvas.begin_drawing();
        if changed {
            self.paint(canvas, view);
        }
        changed
    }

    fn paint(&self, canvas: &mut Canvas, view: &View<'_>) {
        if view.now.origin != Origin::Stored {
            draw::doubt(canvas, view.now.origin, self.line);
        } else if let Some(latch) = view.supervisor.guard().latch() {
            draw::trip(canvas, &latch, self.line);
        } else if let Some(prompt) = self.asking(view) {
            draw::prompt(canvas, prompt);
        } else {
            self.draw_screen(canvas, view);
        }
        if let Some((text, _)) = self.notice {
            draw::notice(canvas, text);
        }
        draw::hold_bar(canvas, self.held);
    }

    fn draw_screen(&self, canvas: &mut Canvas, view: &View<'_>) {
        match self.screen {
            Screen::Home => home::draw(canvas, view),
            Screen::Menu { row } => lists::menu(canvas, row),
            Screen::Vessel { vessel, row, editing, target_milli, percent } => {
                lists::vessel(canvas, vessel, row, editing, target_milli, percent);
            }
            Screen::Sheet { row } => lists::sheet(canvas, row, view, self.paused),
            Screen::Pumps { row } => lists::pumps(canvas, row, self.pumps),
            Screen::Arming => draw::arming(canvas, view),
            Screen::Setup { row, editing } => {
                setup::draw(canvas, row, editing, self.draft.as_ref().unwrap_or(view.stored), &view.now);
            }
        }
    }

    /// The prompt that fills the screen, if any.
    fn asking(&self, view: &View<'_>) -> Option<Prompt> {
        view.prompt().filter(|&prompt| self.screen == Screen::Home && self.set_aside != Some(prompt))
    }
}
