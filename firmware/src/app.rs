//! The application: what a board does with its parts, whatever the board.
//!
//! ```text
//!   timer interrupt, 100 Hz: contacts -> FastTask -> lines          (see `fast_task`)
//!   stop loop and key edges: lines low at once
//!   main loop, woken by any interrupt: App::turn
//!     every 25th fast tick: thermometers -> Supervisor -> lease -> FastTask; then panel, telemetry, one-wire bus
//!     else: one slice of display, link and store
//!     watchdog fed when every task has moved on
//! ```

use crate::board::{Board, Parts, Port as PortName};
use crate::drivers::expander::{Expander, Presence, Signals};
use crate::drivers::oled::Oled;
use crate::lines::Coil;
use crate::link::{BYTES_PER_TURN, Port};
use crate::panel::{Lost, Moment, Panel, View};
use crate::probes::Probes;
use crate::progress::{Progress, Task};
use crate::remote::{Remote, Standing};
use crate::report;
use crate::sense::SenseLines;
use crate::storage::settings::Origin;
use crate::storage::{Store, Stored};
use copperhold_core::arming::Block;
use copperhold_core::controller::{CONTROL_LATEST, CONTROL_PERIOD};
use copperhold_core::event::Event;
use copperhold_core::fast::{FastPath, Lease, Outputs, Selector, Switches};
use copperhold_core::guard::flow::Meter;
use copperhold_core::guard::sense::Sense;
use copperhold_core::probe::Reading;
use copperhold_core::settings::Settings;
use copperhold_core::supervisor::Supervisor;
use copperhold_core::units::Instant;
use copperhold_core::vessel::{Element, PerVessel, Pumps};
use copperhold_core::wire::message::{Telemetry, ToDevice, ToHost};
use copperhold_core::wire::sheet::EncodedSheet;

mod acts;

/// Fast ticks per control tick.
const CONTROL_TICKS: u32 = 25;

/// What was loaded at the start.
#[derive(Debug)]
pub struct Loaded {
    stored: Stored,
    origin: Origin,
    settings: Settings,
}

/// The large pieces, each in a place of its own: on a microcontroller, built one by one so that the stack never holds them all.
pub struct Rooms<B: Board> {
    /// See [`Loaded::supervisor`].
    pub supervisor: &'static mut Supervisor,
    /// See [`Loaded::oled`].
    pub oled: &'static mut Oled<B::I2c>,
    /// See [`Loaded::ports`].
    pub ports: &'static mut [Port; 2],
    /// See [`Store::load_sheet`].
    pub sheet: &'static mut EncodedSheet,
}

impl Loaded {
    /// Reads the store. Defaults on any doubt; they must be confirmed at the panel before anything heats.
    #[inline(never)]
    pub fn from<F: embedded_storage::nor_flash::NorFlash>(store: &mut Store<F>) -> Option<Loaded> {
        let (stored, origin) = store.load_settings();
        // Stored settings have been checked, and a test holds that the defaults pass.
        let settings = stored.settings().ok()?;
        Some(Loaded { stored, origin, settings })
    }

    /// The fast path for these settings, everything off.
    pub fn fast_path(&self) -> FastPath {
        let draft = self.settings.get();
        FastPath::new(draft.mains, draft.timing, draft.press)
    }

    /// Whether the flow meter's pin is its own.
    pub const fn has_flow_meter(&self) -> bool {
        self.stored.flow_meter() > 0
    }

    /// How the contactor's line is driven.
    pub const fn coil(&self) -> Coil {
        self.stored.coil
    }

    /// The slow half of the controller, with what was learned.
    #[inline(never)]
    pub fn supervisor(&self) -> Supervisor {
        Supervisor::new(self.settings, self.stored.knowledge)
    }

    /// The display on its bus.
    pub fn oled<I: embedded_hal::i2c::I2c>(&self, i2c: I) -> Oled<I> {
        Oled::new(i2c, self.stored.display)
    }

    /// Both ports of the link. `session`: a number that differs at each start.
    #[inline(never)]
    pub const fn ports(session: u32) -> [Port; 2] {
        [Port::new(session), Port::new(session)]
    }
}

/// The application on a board.
// Small fields first: what lies far from the start takes more instructions to reach.
#[repr(C)]
pub struct App<B: Board> {
    supervisor: &'static mut Supervisor,
    oled: &'static mut Oled<B::I2c>,
    sheet: &'static mut EncodedSheet,
    ports: &'static mut [Port; 2],
    control_at: u32,
    last_control: Option<Instant>,
    restarted: &'static str,
    progress: Progress,
    origin: Origin,
    outputs: Outputs,
    switches: Switches,
    selector_lost: bool,
    /// The store is behind what is in memory.
    unsaved: Unsaved,
    sense: SenseLines<B::I2c>,
    expander: Expander<B::I2c>,
    flow: Meter,
    remote: Remote,
    probes: Probes<B::Spi, B::Bus, B::Delay, B::Analogue>,
    panel: Panel,
    store: Store<B::Flash>,
    stored: Stored,
    board: B,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Unsaved {
    settings: bool,
    sheet: bool,
}

impl<B: Board> App<B> {
    /// Puts the parts together. `restarted`: why it started.
    pub fn new(parts: Parts<B>, rooms: Rooms<B>, store: Store<B::Flash>, loaded: Loaded, restarted: &'static str) -> App<B> {
        let Loaded { stored, origin, .. } = loaded;
        App {
            board: parts.board,
            supervisor: rooms.supervisor,
            probes: Probes::new(stored.probes, stored.draft.mains, parts.spi, parts.bus, parts.analogue),
            oled: rooms.oled,
            expander: Expander::new(parts.expander),
            sense: SenseLines::new(parts.sense, stored.fitted),
            flow: Meter::new(stored.flow_meter()),
            store,
            stored,
            origin,
            sheet: rooms.sheet,
            panel: Panel::new(),
            remote: Remote::new(),
            ports: rooms.ports,
            progress: Progress::new(),
            outputs: Outputs::default(),
            switches: Switches::default(),
            control_at: 0,
            last_control: None,
            selector_lost: false,
            unsaved: Unsaved::default(),
            restarted,
        }
    }

    /// One turn of the main loop. The caller sleeps until the next interrupt. What it does in turn is not inlined: the stack then holds one
    /// after the other, not all at once.
    pub fn turn(&mut self) {
        let (ticks, gesture, held) = self.board.fast(|fast| (fast.ticks(), fast.gesture(), fast.knob_held()));
        self.progress.mark_fast(ticks);
        if let Some(gesture) = gesture {
            self.gesture(gesture);
        }
        self.panel.set_held(held);
        self.serve_link();
        if ticks.wrapping_sub(self.control_at) >= CONTROL_TICKS {
            self.control_at = ticks;
            self.control();
        } else {
            self.oled.flush_some();
        }
        self.progress.mark(Task::Panel);
        if self.progress.complete() {
            self.board.feed_watchdog();
        }
    }

    /// The board, for its tests.
    pub const fn board(&mut self) -> &mut B {
        &mut self.board
    }

    /// The canvas, for its tests.
    pub const fn canvas(&self) -> &crate::drivers::oled::Canvas {
        &self.oled.canvas
    }

    fn control(&mut self) {
        let now = self.decide();
        self.tell_events(now);
        self.tell(now);
        self.draw();
        self.signal();
        self.save_if_quiet();
        self.probes.serve_bus(now);
        self.study();
    }

    /// What is learned of the kettles is worked out when the lease is out and the display served. Its cycles are measured on the image, by
    /// this name.
    #[inline(never)]
    fn study(&mut self) {
        self.supervisor.study();
    }

    /// Thermometers, then the control tick.
    fn decide(&mut self) -> Instant {
        let now = self.board.fast(|fast| fast.at());
        let readings = self.sample(now);
        self.progress.mark(Task::Probes);
        self.supervise(now, &readings);
        self.progress.mark(Task::Control);
        now
    }

    /// What the thermometers say. Its cycles are measured on the image, by this name.
    #[inline(never)]
    fn sample(&mut self, now: Instant) -> PerVessel<Reading> {
        self.probes.sample(now)
    }

    /// The control tick proper: readings to lease. Its cycles are measured on the image, by this name.
    #[inline(never)]
    fn supervise(&mut self, now: Instant, readings: &PerVessel<Reading>) {
        let elapsed = self.last_control.and_then(|last| now.since(last)).unwrap_or(CONTROL_PERIOD).min(CONTROL_LATEST);
        self.last_control = Some(now);
        self.remote.expire(now, self.supervisor);
        let sense = self.sense.read();
        let (report, switches) = self.board.fast(crate::fast_task::FastTask::report);
        let switches = Switches { sense: Sense { flow: self.flow.count(self.board.flow_pulses()), ..sense }, ..switches };
        self.switches = switches;
        let lease = self.supervisor.tick(now, elapsed, readings, &switches, &report);
        self.outputs = self.renew(lease);
    }

    /// Without a lease nothing heats and nothing pumps: the fast path sees to it.
    fn renew(&mut self, lease: Lease) -> Outputs {
        if self.origin != Origin::Stored || !self.board.may_heat() {
            return Outputs::default();
        }
        let hold = lease.hold || self.selector_lost || self.sense.lost();
        self.board.fast(|fast| fast.renew(Lease { hold, ..lease }))
    }

    #[inline(never)]
    fn tell_events(&mut self, now: Instant) {
        if let Some(loss) = self.supervisor.log().take_loss() {
            let message = ToHost::Happened { at_ms: report::ms(now), what: report::lost(loss) };
            self.ports.iter_mut().for_each(|port| port.send(&message));
        }
        // A few at a time: the queue to the host is short, the log is not.
        for _ in 0..3 {
            let Some(entry) = self.supervisor.log().take() else { break };
            self.board.note(&entry);
            self.panel.note(&entry.event);
            if matches!(entry.event, Event::Disarmed | Event::SheetDone) {
                self.unsaved.settings |= self.learn();
            }
            let message = ToHost::Happened { at_ms: report::ms(entry.at), what: entry.event.into() };
            self.ports.iter_mut().for_each(|port| port.send(&message));
        }
    }

    /// Takes over what was learned; true if it differs from what is stored.
    #[inline(never)]
    fn learn(&mut self) -> bool {
        let knowledge = self.supervisor.knowledge();
        let changed = knowledge != self.stored.knowledge;
        self.stored.knowledge = knowledge;
        changed
    }

    #[inline(never)]
    fn tell(&mut self, now: Instant) {
        let (outputs, switches) = (self.outputs, self.switches);
        let block = self.block();
        for port in self.ports.iter_mut() {
            if port.first_turn() {
                port.send(&report::hello(self.restarted, port.heard()));
            }
            let telemetry = Telemetry::of(now, self.supervisor, &outputs, &switches, block, port.dropped());
            port.send(&ToHost::Telemetry(telemetry));
        }
    }

    fn moment(&self) -> Moment {
        Moment {
            outputs: self.outputs,
            block: self.block(),
            origin: self.origin,
            sheet_steps: self.sheet.len(),
            key: self.switches.key,
            sense: self.switches.sense,
            flow_ml_per_min: self.flow.ml_per_min(),
            lost: match (self.sense.lost(), self.selector_lost) {
                (true, _) => Some(Lost::Sense),
                (false, true) => Some(Lost::Selector),
                (false, false) => None,
            },
        }
    }

    /// What stands in the way of arming.
    fn block(&self) -> Option<Block> {
        self.board.fast(|fast| fast.fast().block(fast.switches()))
    }

    #[inline(never)]
    fn draw(&mut self) {
        let view = View { supervisor: self.supervisor, stored: &self.stored, now: self.moment() };
        if self.panel.draw(&mut self.oled.canvas, &view) {
            self.oled.touch();
        }
    }

    fn signal(&mut self) {
        let signals = Signals {
            buzzer: self.panel.sounds(),
            armed: self.outputs.armed,
            heat: self.outputs.grant.is_some(),
            trip: self.supervisor.guard().latch().is_some(),
        };
        let presence = self.expander.exchange(signals);
        self.selector_lost = presence == Presence::Lost;
        let selector = match presence {
            Presence::NotFitted | Presence::Lost => Selector::Auto,
            Presence::Present(contacts) => match (contacts.tank, contacts.kettle) {
                (false, false) => Selector::Auto,
                // Both at once cannot be: a bridge between them allows no more than one position would.
                (true, _) => Selector::Only(Element::LiquorTank),
                (false, true) => Selector::Only(Element::BoilKettle),
            },
        };
        self.board.fast(|fast| fast.select(selector));
    }

    #[inline(never)]
    fn serve_link(&mut self) {
        let now = self.board.now();
        for (port, name) in self.ports.iter_mut().zip(PortName::ALL) {
            for _ in 0..BYTES_PER_TURN {
                let Some(byte) = self.board.receive(name) else { break };
                let Some((sequence, message)) = port.receive(now, byte) else { continue };
                // Compared by their kind alone: whole messages would take half a kilobyte.
                if matches!(message, ToDevice::Hello) {
                    port.send(&report::hello(self.restarted, port.heard()));
                    continue;
                }
                let standing = Standing { armed: self.outputs.armed, sheet: self.sheet };
                let outcome = self.remote.take(now, &message, self.supervisor, standing);
                self.unsaved.sheet |= matches!(message, ToDevice::Step { .. }) && self.sheet.is_whole();
                if matches!(message, ToDevice::Stop) {
                    // The next control tick is too far away.
                    let tripped = self.supervisor.guard().latch().is_some();
                    let nothing = Lease { tripped, hold: false, heat: None, pumps: Pumps::default() };
                    self.outputs = self.board.fast(|fast| fast.renew(nothing));
                }
                port.send(&ToHost::Answer { sequence, outcome });
            }
            while let Some(byte) = port.peek() {
                if !self.board.send(name, byte) {
                    break;
                }
                port.sent();
            }
        }
        self.progress.mark(Task::Link);
    }

    /// The flash is slow and nothing else runs meanwhile: only with every line off.
    #[inline(never)]
    fn save_if_quiet(&mut self) {
        let quiet = self.outputs == Outputs::default();
        if !quiet {
            return;
        }
        if self.unsaved.settings {
            // A failure leaves the record of before in place; it is tried again with the next change.
            self.unsaved.settings = false;
            self.panel.stored(self.store.save_settings(&self.stored).is_ok());
        } else if self.unsaved.sheet {
            self.unsaved.sheet = false;
            self.panel.stored(self.store.save_sheet(self.sheet).is_ok());
        }
    }
}
