//! I2C controller with an end to every wait: a bus that hangs is an error, not a reset (reference manual RM0090, 27.3.3).

use crate::hal::pac;
use crate::hal::rcc::Rcc;
use embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

/// Looks at a flag before a wait counts as failed: a byte takes 23 us at 400 kHz.
const PATIENCE: u32 = 2_000;

/// The controller. Its pins are set up by whoever makes it.
pub struct Bus {
    i2c: pac::I2C1,
}

/// What went wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// Nobody answered.
    Silent,
    /// Somebody holds the bus, or it came to no end in time.
    Stuck,
}

impl Error for Fault {
    fn kind(&self) -> ErrorKind {
        match self {
            Fault::Silent => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown),
            Fault::Stuck => ErrorKind::Bus,
        }
    }
}

impl Bus {
    /// At 400 kHz.
    pub fn new(i2c: pac::I2C1, rcc: &mut Rcc) -> Bus {
        rcc.apb1enr().modify(|_, w| w.i2c1en().set_bit());
        let mut bus = Bus { i2c };
        bus.set_up(rcc.clocks.pclk1().raw());
        bus
    }

    fn set_up(&mut self, clock_hz: u32) {
        let mhz = (clock_hz / 1_000_000).clamp(2, 50);
        self.i2c.cr1().write(|w| w.swrst().set_bit());
        self.i2c.cr1().write(|w| w.swrst().clear_bit());
        // SAFETY: all three figures fit their fields: at most 50 MHz, a third of 125, and 300 ns of it.
        unsafe {
            self.i2c.cr2().write(|w| w.freq().bits(mhz as u8));
            self.i2c.ccr().write(|w| w.f_s().set_bit().ccr().bits((clock_hz / 1_200_000).max(4) as u16));
            self.i2c.trise().write(|w| w.trise().bits((mhz * 300 / 1_000 + 1) as u8));
        }
        self.i2c.cr1().write(|w| w.pe().set_bit());
    }

    fn wait(&self, done: impl Fn(&pac::i2c1::sr1::R) -> bool) -> Result<(), Fault> {
        for _ in 0..PATIENCE {
            let status = self.i2c.sr1().read();
            if status.af().bit_is_set() {
                self.i2c.sr1().modify(|_, w| w.af().clear_bit());
                return Err(Fault::Silent);
            }
            if status.berr().bit_is_set() || status.arlo().bit_is_set() {
                self.i2c.sr1().modify(|_, w| w.berr().clear_bit().arlo().clear_bit());
                return Err(Fault::Stuck);
            }
            if done(&status) {
                return Ok(());
            }
        }
        Err(Fault::Stuck)
    }

    fn send(&self, byte: u8) {
        // SAFETY: any byte is allowed.
        self.i2c.dr().write(|w| unsafe { w.dr().bits(byte) });
    }

    fn begin(&self, address: u8, read: bool) -> Result<(), Fault> {
        self.i2c.cr1().modify(|_, w| w.start().set_bit());
        self.wait(|status| status.sb().bit_is_set())?;
        self.send(address << 1 | u8::from(read));
        self.wait(|status| status.addr().bit_is_set())
    }

    fn put(&self, address: u8, bytes: &[u8]) -> Result<(), Fault> {
        self.begin(address, false)?;
        // Reading the second status register ends the address phase.
        let _ = self.i2c.sr2().read();
        for &byte in bytes {
            self.wait(|status| status.tx_e().bit_is_set())?;
            self.send(byte);
        }
        self.wait(|status| status.btf().bit_is_set())
    }

    /// Each byte is acknowledged but the last, which must be decided before it arrives.
    fn get(&self, address: u8, bytes: &mut [u8]) -> Result<(), Fault> {
        let Some(last) = bytes.len().checked_sub(1) else { return Ok(()) };
        self.i2c.cr1().modify(|_, w| w.ack().bit(last > 0));
        self.begin(address, true)?;
        let _ = self.i2c.sr2().read();
        for (index, byte) in bytes.iter_mut().enumerate() {
            if index == last {
                self.i2c.cr1().modify(|_, w| w.ack().clear_bit());
            }
            self.wait(|status| status.rx_ne().bit_is_set())?;
            *byte = self.i2c.dr().read().dr().bits();
        }
        Ok(())
    }
}

impl ErrorType for Bus {
    type Error = Fault;
}

impl I2c for Bus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), Fault> {
        let mut result = Ok(());
        for operation in operations {
            result = match operation {
                Operation::Write(bytes) => self.put(address, bytes),
                Operation::Read(bytes) => self.get(address, bytes),
            };
            if result.is_err() {
                break;
            }
        }
        self.i2c.cr1().modify(|_, w| w.stop().set_bit());
        for _ in 0..PATIENCE {
            if self.i2c.cr1().read().stop().bit_is_clear() {
                break;
            }
        }
        result
    }
}
