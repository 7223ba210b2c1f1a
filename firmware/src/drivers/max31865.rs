//! RTD front end MAX31865 (Analog Devices datasheet 19-6478): a platinum thermometer over SPI, modes 1 or 3, up to 5 MHz.
//!
//! The chip converts by itself; each sample reads all eight registers in one go and believes the code only if the configuration and the
//! thresholds still read as they were written. A chip that lost its supply, a line stuck high or low, and a plug on the wrong select line
//! all show up there. The filter's notch may only be changed while the chip is idle, so it is written before the conversion is started.

use copperhold_core::burst::Mains;
use copperhold_core::probe::{ProbeFault, RawReading};
use embedded_hal::spi::{Operation, SpiDevice};

const WRITE: u8 = 0x80;
const CONFIG: u8 = 0x00;
const HIGH_THRESHOLD: u8 = 0x03;

const BIAS: u8 = 1 << 7;
const AUTO: u8 = 1 << 6;
const THREE_WIRE: u8 = 1 << 4;
const CLEAR_FAULT: u8 = 1 << 1;
const FILTER_50_HZ: u8 = 1;

/// Above 200 ohm over a reference of 400 ohm the element is open: code 16,384, shifted as the register has it.
const HIGH: u16 = 0x8000;
/// Below 50 ohm it is shorted: code 4,096.
const LOW: u16 = 0x2000;

/// How many wires go to the element.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Wires {
    /// Two: the leads' resistance is read as heat.
    Two,
    /// Three: as most probes come.
    #[default]
    Three,
    /// Four.
    Four,
}

/// One front end.
#[derive(Debug)]
pub struct Max31865<S> {
    spi: S,
    config: u8,
    ready: bool,
}

impl<S: SpiDevice> Max31865<S> {
    /// A front end on its select line. Nothing is sent yet.
    pub const fn new(spi: S, wires: Wires, mains: Mains) -> Max31865<S> {
        let wires = match wires {
            Wires::Three => THREE_WIRE,
            Wires::Two | Wires::Four => 0,
        };
        let filter = match mains {
            Mains::Hz50 => FILTER_50_HZ,
            Mains::Hz60 => 0,
        };
        Max31865 { spi, config: wires | filter, ready: false }
    }

    /// Takes the latest conversion. After a start or a fault the chip is set up first, and that sample is not ready.
    pub fn sample(&mut self) -> RawReading {
        if !self.ready {
            self.ready = self.set_up().is_ok();
            return RawReading::Fault(ProbeFault::NotReady);
        }
        let mut registers = [0; 8];
        let address = [CONFIG];
        let read = self.spi.transaction(&mut [Operation::Write(&address), Operation::Read(&mut registers)]);
        if read.is_err() {
            self.ready = false;
            return RawReading::Fault(ProbeFault::FrontEnd);
        }
        let [config, msb, lsb, high_msb, high_lsb, low_msb, low_lsb, status] = registers;
        let as_written = config == BIAS | AUTO | self.config
            && u16::from_be_bytes([high_msb, high_lsb]) == HIGH
            && u16::from_be_bytes([low_msb, low_lsb]) == LOW;
        if !as_written {
            self.ready = false;
            return RawReading::Fault(ProbeFault::FrontEnd);
        }
        let code = u16::from_be_bytes([msb, lsb]);
        if code & 1 == 1 {
            // The status is latched: let it speak again if the cause is still there.
            if self.write(CONFIG, &[BIAS | AUTO | self.config | CLEAR_FAULT]).is_err() {
                self.ready = false;
            }
            return RawReading::Fault(fault(status));
        }
        RawReading::from_rtd_registers(code)
    }

    fn set_up(&mut self) -> Result<(), S::Error> {
        let [high_msb, high_lsb] = HIGH.to_be_bytes();
        let [low_msb, low_lsb] = LOW.to_be_bytes();
        // Idle first: the filter may not change while it converts.
        self.write(CONFIG, &[BIAS | self.config | CLEAR_FAULT])?;
        self.write(HIGH_THRESHOLD, &[high_msb, high_lsb, low_msb, low_lsb])?;
        self.write(CONFIG, &[BIAS | AUTO | self.config])
    }

    fn write(&mut self, register: u8, values: &[u8]) -> Result<(), S::Error> {
        self.spi.transaction(&mut [Operation::Write(&[WRITE | register]), Operation::Write(values)])
    }
}

/// The fault status register (07h), worst first: a break at the element, a bridge, then whatever else.
fn fault(status: u8) -> ProbeFault {
    const ABOVE_HIGH: u8 = 1 << 7;
    const BELOW_LOW: u8 = 1 << 6;
    const REFERENCE_OPEN: u8 = 0b11 << 4;
    if status & ABOVE_HIGH != 0 {
        ProbeFault::Open
    } else if status & BELOW_LOW != 0 {
        ProbeFault::Shorted
    } else if status & REFERENCE_OPEN != 0 {
        ProbeFault::Open
    } else {
        ProbeFault::FrontEnd
    }
}
