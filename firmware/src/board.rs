//! What a board must offer. A board file is wiring only: it fills this in and calls [`crate::app::App::turn`] whenever it wakes.

use crate::drivers::one_wire::OneWire;
use crate::fast_task::FastTask;
use crate::lines::LinePort;
use crate::probes::Analogue;
use copperhold_core::event::Entry;
use copperhold_core::units::Instant;
use copperhold_core::vessel::PerVessel;
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::i2c::I2c;
use embedded_hal::spi::SpiDevice;
use embedded_storage::nor_flash::NorFlash;

/// A serial port.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Port {
    /// USB.
    Usb,
    /// UART.
    Uart,
}

impl Port {
    /// Both.
    pub const ALL: [Port; 2] = [Port::Usb, Port::Uart];
}

/// What a board offers.
pub trait Board {
    /// The lines to the power side.
    type Lines: LinePort;
    /// An RTD front end's place on the SPI bus.
    type Spi: SpiDevice;
    /// The one-wire pin.
    type Bus: OutputPin + InputPin;
    /// Delays for the one-wire bus.
    type Delay: DelayNs;
    /// The analogue pins.
    type Analogue: Analogue;
    /// The I2C bus, shared.
    type I2c: I2c + 'static;
    /// The flash.
    type Flash: NorFlash;

    /// Time since the start.
    fn now(&self) -> Instant;
    /// Works on what the timer interrupt owns, with interrupts off. Must be short.
    fn fast<R>(&self, work: impl FnOnce(&mut FastTask<Self::Lines>) -> R) -> R;
    /// Every task has moved on.
    fn feed_watchdog(&mut self);
    /// The watchdog runs and would reset everything, and the board has not restarted too often. While false, there is no lease.
    fn may_heat(&self) -> bool;
    /// A byte that has arrived.
    fn receive(&mut self, port: Port) -> Option<u8>;
    /// Sends a byte if there is room.
    fn send(&mut self, port: Port, byte: u8) -> bool;
    /// Pulses of the flow meter so far, modulo 2^16. A board that has no input for one says that nothing flows.
    fn flow_pulses(&self) -> u16 {
        0
    }
    /// Something happened: for the board's own log.
    fn note(&mut self, entry: &Entry);
}

/// A board's parts, each given to whoever uses it.
pub struct Parts<B: Board> {
    /// The board itself.
    pub board: B,
    /// RTD front ends.
    pub spi: PerVessel<B::Spi>,
    /// One-wire bus.
    pub bus: OneWire<B::Bus, B::Delay>,
    /// Analogue pins.
    pub analogue: B::Analogue,
    /// Expander's place on the I2C bus.
    pub expander: B::I2c,
    /// The place of the sense lines' expander.
    pub sense: B::I2c,
}
