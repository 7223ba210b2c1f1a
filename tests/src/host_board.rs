//! A board on the host: the application with parts around it that answer at the level of registers and pins, and a clock that a test moves.

use crate::memory_flash::{Gone, MemoryFlash};
use copperhold_core::event::Entry;
use copperhold_core::units::Instant;
use copperhold_core::vessel::{PerVessel, Vessel};
use copperhold_firmware::app::{App, Loaded, Rooms};
use copperhold_firmware::board::{Board, Parts, Port};
use copperhold_firmware::drivers::one_wire::OneWire;
use copperhold_firmware::fast_task::{Contacts, FastTask};
use copperhold_firmware::lines::{Line, LinePort};
use copperhold_firmware::probes::Analogue;
use copperhold_firmware::storage::{Store, Stored};
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{self, InputPin, OutputPin};
use embedded_hal::i2c::{self, I2c, NoAcknowledgeSource};
use embedded_hal::spi::{self, Operation, SpiDevice};
use embedded_storage::nor_flash::{self, NorFlash, ReadNorFlash};
use std::cell::{Cell, RefCell};
use std::convert::Infallible;
use std::rc::Rc;

/// What the parts see and what the board did, shared between a test and the fakes.
#[derive(Debug, Default)]
pub struct World {
    /// Time since the start, us.
    pub now_us: Cell<u64>,
    /// The contacts.
    pub contacts: Cell<Contacts>,
    /// Codes of the RTD front ends.
    pub codes: Cell<PerVessel<u16>>,
    /// Pins of the selector's expander that something outside pulls low; `None`: it is not there.
    pub selector: Cell<Option<u8>>,
    /// As `selector`, for the sense lines' expander.
    pub sense: Cell<Option<u8>>,
    /// How often the sense lines' expander was asked.
    pub asked: Cell<u32>,
    /// The lines to the power side, one bit each.
    pub lines: Cell<u8>,
    /// Changes of the contactor's line.
    pub contactor_changes: Cell<u32>,
    /// Times the watchdog was fed.
    pub fed: Cell<u32>,
    /// What happened, as text.
    pub log: RefCell<Vec<String>>,
}

impl World {
    /// Whether a line is high.
    pub fn is_high(&self, line: Line) -> bool {
        self.lines.get() & line.bit() != 0
    }

    /// Whether this happened, by a piece of its text.
    pub fn noted(&self, piece: &str) -> bool {
        self.log.borrow().iter().any(|entry| entry.contains(piece))
    }
}

/// One of the fakes: everything it does is done in the world.
#[derive(Debug, Clone)]
pub struct Part {
    world: Rc<World>,
    vessel: Vessel,
    registers: [u8; 8],
}

impl Part {
    fn new(world: &Rc<World>, vessel: Vessel) -> Part {
        Part { world: Rc::clone(world), vessel, registers: [0; 8] }
    }
}

impl LinePort for Part {
    fn drive(&mut self, levels: u8) {
        let contactor = Line::Contactor.bit();
        if (self.world.lines.get() ^ levels) & contactor != 0 {
            self.world.contactor_changes.set(self.world.contactor_changes.get() + 1);
        }
        let both = Line::TankElement.bit() | Line::KettleElement.bit();
        assert_ne!(levels & both, both, "both elements are on");
        self.world.lines.set(levels);
    }
}

impl spi::ErrorType for Part {
    type Error = Infallible;
}

/// MAX31865: the address byte, then registers one after the other.
impl SpiDevice for Part {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Infallible> {
        let word = *self.world.codes.get().get(self.vessel) << 1;
        [self.registers[1], self.registers[2]] = word.to_be_bytes();
        let mut at = None;
        for operation in operations {
            match operation {
                Operation::Write(bytes) => {
                    for &byte in *bytes {
                        match at {
                            None => at = Some(usize::from(byte & 7)),
                            Some(register) => {
                                // The bit that clears the fault falls back by itself.
                                self.registers[register] = if register == 0 { byte & !2 } else { byte };
                                at = Some(register + 1);
                            }
                        }
                    }
                }
                Operation::Read(bytes) => {
                    let start = at.expect("an address comes first");
                    bytes.copy_from_slice(&self.registers[start..start + bytes.len()]);
                }
                Operation::Transfer(..) | Operation::TransferInPlace(_) | Operation::DelayNs(_) => panic!("not used"),
            }
        }
        Ok(())
    }
}

/// Nobody answered at this address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Nobody;

impl i2c::Error for Nobody {
    fn kind(&self) -> i2c::ErrorKind {
        i2c::ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address)
    }
}

impl i2c::ErrorType for Part {
    type Error = Nobody;
}

/// A display that takes everything, and two PCF8574: what is written low, or pulled low outside, reads low.
impl I2c for Part {
    fn transaction(&mut self, address: u8, operations: &mut [i2c::Operation<'_>]) -> Result<(), Nobody> {
        let pulled = match address {
            0x3C => Some(0),
            0x20 => self.world.selector.get(),
            0x21 => {
                self.world.asked.set(self.world.asked.get() + 1);
                self.world.sense.get()
            }
            _ => None,
        };
        let pulled = pulled.ok_or(Nobody)?;
        let mut latch = 0;
        for operation in operations {
            match operation {
                i2c::Operation::Write(bytes) => latch = bytes.last().copied().unwrap_or(0),
                i2c::Operation::Read(bytes) => bytes.fill(latch & !pulled),
            }
        }
        Ok(())
    }
}

impl digital::ErrorType for Part {
    type Error = Infallible;
}

/// A one-wire bus with nothing on it.
impl OutputPin for Part {
    fn set_low(&mut self) -> Result<(), Infallible> {
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

impl InputPin for Part {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(false)
    }
}

impl DelayNs for Part {
    fn delay_ns(&mut self, _ns: u32) {}
}

impl Analogue for Part {
    fn read(&mut self, _vessel: Vessel) -> Option<u16> {
        None
    }
}

/// A flash that the board and a test both look at.
#[derive(Debug, Clone)]
pub struct SharedFlash(Rc<RefCell<MemoryFlash>>);

impl nor_flash::ErrorType for SharedFlash {
    type Error = Gone;
}

impl ReadNorFlash for SharedFlash {
    const READ_SIZE: usize = MemoryFlash::READ_SIZE;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Gone> {
        self.0.borrow_mut().read(offset, bytes)
    }

    fn capacity(&self) -> usize {
        self.0.borrow().capacity()
    }
}

impl NorFlash for SharedFlash {
    const WRITE_SIZE: usize = MemoryFlash::WRITE_SIZE;
    const ERASE_SIZE: usize = MemoryFlash::ERASE_SIZE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Gone> {
        self.0.borrow_mut().erase(from, to)
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Gone> {
        self.0.borrow_mut().write(offset, bytes)
    }
}

/// The board.
#[derive(Debug)]
pub struct HostBoard {
    world: Rc<World>,
    fast: RefCell<FastTask<Part>>,
}

impl Board for HostBoard {
    type Lines = Part;
    type Spi = Part;
    type Bus = Part;
    type Delay = Part;
    type Analogue = Part;
    type I2c = Part;
    type Flash = SharedFlash;

    fn now(&self) -> Instant {
        Instant::from_micros(self.world.now_us.get())
    }

    fn fast<R>(&self, work: impl FnOnce(&mut FastTask<Part>) -> R) -> R {
        work(&mut self.fast.borrow_mut())
    }

    fn feed_watchdog(&mut self) {
        self.world.fed.set(self.world.fed.get() + 1);
    }

    fn may_heat(&self) -> bool {
        true
    }

    fn receive(&mut self, _port: Port) -> Option<u8> {
        None
    }

    fn send(&mut self, _port: Port, _byte: u8) -> bool {
        true
    }

    fn note(&mut self, entry: &Entry) {
        self.world.log.borrow_mut().push(format!("{:?}", entry.event));
    }
}

/// A controller on the bench: the application, its world, and a flash that outlives a restart.
pub struct HostBench {
    app: App<HostBoard>,
    /// The world around it.
    pub world: Rc<World>,
    flash: SharedFlash,
}

impl HostBench {
    /// Starts with these settings in the store, every front end at `code`.
    ///
    /// # Panics
    /// The settings do not fit the store.
    pub fn new(stored: &Stored, code: u16) -> HostBench {
        let mut flash = MemoryFlash::new(4 * 4096);
        Store::new(&mut flash, 0).save_settings(stored).expect("it fits");
        let world = Rc::new(World::default());
        world.codes.set(PerVessel::build(|_| code));
        world.contacts.set(Contacts { stop_loop: true, ..Contacts::default() });
        let part = |vessel| Part::new(&world, vessel);
        let any = || part(Vessel::LiquorTank);
        let flash = SharedFlash(Rc::new(RefCell::new(flash)));
        let mut store = Store::new(flash.clone(), 0);
        let loaded = Loaded::from(&mut store).expect("settings");
        let fast = RefCell::new(FastTask::new(loaded.fast_path(), any(), loaded.coil()));
        let rooms = Rooms {
            supervisor: Box::leak(Box::new(loaded.supervisor())),
            oled: Box::leak(Box::new(loaded.oled(any()))),
            ports: Box::leak(Box::new(Loaded::ports(7))),
            sheet: Box::leak(Box::new(store.load_sheet())),
        };
        let parts = Parts {
            board: HostBoard { world: Rc::clone(&world), fast },
            spi: PerVessel::build(part),
            bus: OneWire::new(any(), any()),
            analogue: any(),
            expander: any(),
            sense: any(),
        };
        HostBench { app: App::new(parts, rooms, store, loaded, "power on"), world, flash }
    }

    /// What the store holds now.
    pub fn stored(&self) -> Stored {
        Store::new(self.flash.clone(), 0).load_settings().0
    }

    /// Time passes: each 10 ms a fast tick, then a turn of the main loop.
    pub fn run(&mut self, seconds: f64) {
        self.pass(seconds, true);
    }

    /// Time passes for the timer interrupt, and the main loop stands still.
    pub fn run_hung(&mut self, seconds: f64) {
        self.pass(seconds, false);
    }

    fn pass(&mut self, seconds: f64, turns: bool) {
        for _ in 0..(seconds * 100.0).round() as u32 {
            self.world.now_us.set(self.world.now_us.get() + 10_000);
            let (now, contacts) = (Instant::from_micros(self.world.now_us.get()), self.world.contacts.get());
            self.app.board().fast.borrow_mut().tick(now, &contacts);
            if turns {
                self.app.turn();
            }
        }
    }

    /// The main loop turns, and the timer interrupt does not come.
    pub fn turns_without_ticks(&mut self, count: u32) {
        for _ in 0..count {
            self.world.now_us.set(self.world.now_us.get() + 10_000);
            self.app.turn();
        }
    }

    /// Changes the contacts; an opening of the stop loop or the key comes by its own interrupt too.
    pub fn contacts(&mut self, change: impl FnOnce(&mut Contacts)) {
        let mut contacts = self.world.contacts.get();
        change(&mut contacts);
        self.world.contacts.set(contacts);
        self.app.board().fast.borrow_mut().emergency(&contacts);
    }

    /// Turns the key off and on and holds the green button.
    pub fn arm(&mut self) {
        self.contacts(|contacts| contacts.key = false);
        self.run(0.5);
        self.contacts(|contacts| contacts.key = true);
        self.run(0.5);
        self.press(1.5);
    }

    /// Presses the green button.
    pub fn press(&mut self, seconds: f64) {
        self.contacts(|contacts| contacts.button = true);
        self.run(seconds);
        self.contacts(|contacts| contacts.button = false);
        self.run(0.5);
    }

    /// Presses the knob.
    pub fn press_knob(&mut self, seconds: f64) {
        self.contacts(|contacts| contacts.knob_push = true);
        self.run(seconds);
        self.contacts(|contacts| contacts.knob_push = false);
        self.run(0.1);
    }

    /// Menu, liquor tank, hold at 60 C.
    pub fn ask_the_tank(&mut self) {
        self.press_knob(0.1);
        self.press_knob(0.1);
        self.press_knob(1.0);
    }
}
