//! The board as the application sees it.

use crate::interrupts::{self, PowerLines};
use crate::usb::Usb;
use crate::{clocks, flash, flow, hal, serial, watchdog};
use copperhold_core::event::Entry;
use copperhold_core::units::Instant;
use copperhold_core::vessel::{Element, Vessel};
use copperhold_core::wire::message::Happening;
use copperhold_firmware::board::{Board, Port};
use copperhold_firmware::fast_task::FastTask;
use copperhold_firmware::probes::{Analogue, averaged, folded};
use copperhold_firmware::restart::Restart;
use core::convert::Infallible;
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use embedded_hal_bus::i2c::RefCellDevice as I2cShare;
use embedded_hal_bus::spi::RefCellDevice as SpiShare;
use hal::gpio::bank0::{Gpio2, Gpio3, Gpio4, Gpio8, Gpio9, Gpio16};
use hal::gpio::{DynPinId, FunctionI2C, FunctionSioInput, FunctionSioOutput, FunctionSpi, Pin, PinId, PullDown, PullNone, PullUp};
use hal::pac;

/// Pins of the SPI bus.
pub type SpiPins = (Pin<Gpio3, FunctionSpi, PullDown>, Pin<Gpio4, FunctionSpi, PullDown>, Pin<Gpio2, FunctionSpi, PullDown>);
/// The SPI bus.
pub type SpiBus = hal::Spi<hal::spi::Enabled, pac::SPI0, SpiPins, 8>;
/// The I2C bus.
pub type I2cBus = hal::I2C<pac::I2C0, (Pin<Gpio8, FunctionI2C, PullUp>, Pin<Gpio9, FunctionI2C, PullUp>)>;

/// The board.
pub struct Pico {
    /// Time.
    pub timer: hal::Timer,
    /// UART to the host, if it came up.
    pub uart: Option<serial::UartOut>,
    /// USB.
    pub usb: Usb<hal::usb::UsbBus>,
    /// Watchdog.
    pub watchdog: pac::WATCHDOG,
    /// Why it started.
    pub restart: Restart,
}

impl Board for Pico {
    type Lines = PowerLines;
    type Spi = SpiShare<'static, SpiBus, Pin<DynPinId, FunctionSioOutput, PullDown>, BusDelay>;
    type Bus = BusPin;
    type Delay = BusDelay;
    type Analogue = AdcPins;
    type I2c = I2cShare<'static, I2cBus>;
    type Flash = flash::Flash;

    fn now(&self) -> Instant {
        Instant::from_micros(self.timer.get_counter().ticks())
    }

    fn fast<R>(&self, work: impl FnOnce(&mut FastTask<PowerLines>) -> R) -> R {
        interrupts::with_fast(work)
    }

    fn feed_watchdog(&mut self) {
        watchdog::feed(&self.watchdog);
    }

    fn may_heat(&self) -> bool {
        watchdog::is_sound(&self.watchdog) && !self.restart.locked()
    }

    fn receive(&mut self, port: Port) -> Option<u8> {
        match port {
            Port::Usb => self.usb.receive(),
            Port::Uart => serial::received(),
        }
    }

    fn send(&mut self, port: Port, byte: u8) -> bool {
        match port {
            Port::Usb => self.usb.send(byte),
            Port::Uart => match &self.uart {
                Some(uart) => uart.write_raw(&[byte]).is_ok(),
                // Nobody there: bytes go nowhere.
                None => true,
            },
        }
    }

    fn flow_pulses(&self) -> u16 {
        flow::pulses()
    }

    fn note(&mut self, entry: &Entry) {
        // The words that the link sends are there anyway; the formatting of every type is not.
        let what = Happening::from(entry.event);
        let (what, why) = match &what {
            Happening::Armed => ("armed", ""),
            Happening::Disarmed => ("disarmed", ""),
            Happening::Grant(None) => ("no grant", ""),
            Happening::Grant(Some(Element::LiquorTank)) => ("grant: ", "liquor tank"),
            Happening::Grant(Some(Element::BoilKettle)) => ("grant: ", "boil kettle"),
            Happening::Tripped(why) => ("trip: ", why.as_str()),
            Happening::Acknowledged(why) => ("acknowledged: ", why.as_str()),
            Happening::Advised(why) => ("advice: ", why.as_str()),
            Happening::Step(_) => ("step", ""),
            Happening::Addition(_) => ("addition", ""),
            Happening::SheetStood(_) => ("the sheet goes on", ""),
            Happening::SheetDone => ("the sheet is done", ""),
            Happening::Lost(_) => ("entries were lost", ""),
        };
        defmt::info!("{=u64} us: {=str}{=str}", entry.at.as_micros(), what, why);
    }
}

/// The one-wire pin, open-drain: its output is always low, and either drives the line or lets it go. One register write each, because
/// slots are decided by microseconds.
pub struct BusPin {
    _pin: Pin<Gpio16, FunctionSioInput, PullUp>,
}

impl BusPin {
    const MASK: u32 = 1 << 16;

    /// Lets the line go.
    pub fn new(pin: Pin<Gpio16, FunctionSioInput, PullUp>) -> BusPin {
        // SAFETY: the set and clear registers change this pin's bit only, and this value owns the pin.
        unsafe { (*pac::SIO::PTR).gpio_out_clr().write(|w| w.bits(BusPin::MASK)) };
        BusPin { _pin: pin }
    }
}

impl ErrorType for BusPin {
    type Error = Infallible;
}

impl OutputPin for BusPin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        // SAFETY: as in `new`.
        unsafe { (*pac::SIO::PTR).gpio_oe_set().write(|w| w.bits(BusPin::MASK)) };
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        // SAFETY: as in `new`.
        unsafe { (*pac::SIO::PTR).gpio_oe_clr().write(|w| w.bits(BusPin::MASK)) };
        Ok(())
    }
}

impl InputPin for BusPin {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        self.is_low().map(|low| !low)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        // SAFETY: reading the pads changes nothing.
        Ok(unsafe { (*pac::SIO::PTR).gpio_in().read().bits() } & BusPin::MASK == 0)
    }
}

/// Delays for the one-wire bus. Short ones count cycles; long ones sleep until the alarm, or any interrupt, and look at the clock.
#[derive(Clone, Copy)]
pub struct BusDelay {
    timer: hal::Timer,
}

impl BusDelay {
    /// On the timer.
    pub const fn new(timer: hal::Timer) -> BusDelay {
        BusDelay { timer }
    }
}

/// Below this a sleep is not worth its preparation, us.
const SHORT_US: u32 = 20;

impl DelayNs for BusDelay {
    fn delay_ns(&mut self, ns: u32) {
        self.delay_us(ns.div_ceil(1_000));
    }

    fn delay_us(&mut self, us: u32) {
        if us < SHORT_US {
            // The loop takes three cycles for every two that are asked for on this core.
            cortex_m::asm::delay(us * (clocks::HZ / 1_000_000) * 2 / 3);
            return;
        }
        let end = self.timer.get_counter().ticks() + u64::from(us);
        interrupts::wake_in(us);
        while self.timer.get_counter().ticks() < end {
            // With interrupts off an alarm that fires right now still wakes it, and is served after.
            cortex_m::interrupt::free(|_| {
                if self.timer.get_counter().ticks() < end {
                    cortex_m::asm::wfi();
                }
            });
        }
    }
}

/// An analogue pin.
type AdcPin = Pin<DynPinId, FunctionSioInput, PullNone>;

/// Makes a pin without a pull analogue: its digital input is off. Done while the pin's number is known, which takes a tenth of the code.
pub fn analogue<I: PinId>(mut pin: Pin<I, FunctionSioInput, PullNone>) -> AdcPin {
    pin.set_input_enable(false);
    pin.into_dyn_pin()
}

/// The analogue pins.
pub struct AdcPins {
    adc: pac::ADC,
    _pins: [AdcPin; 3],
}

/// Turns to wait for a conversion of 2 us before it counts as failed.
const PATIENCE: u16 = 500;
/// The chip's own thermometer.
const OWN_TEMPERATURE: u8 = 4;

impl AdcPins {
    /// Brings the converter up.
    pub fn new(adc: pac::ADC, resets: &mut pac::RESETS, pins: [AdcPin; 3]) -> AdcPins {
        resets.reset().modify(|_, w| w.adc().set_bit());
        resets.reset().modify(|_, w| w.adc().clear_bit());
        while resets.reset_done().read().adc().bit_is_clear() {}
        adc.cs().write(|w| w.en().set_bit().ts_en().set_bit());
        AdcPins { adc, _pins: pins }
    }

    fn convert(&self, channel: u8) -> Option<u16> {
        // SAFETY: channels 0 to 4 exist.
        self.adc.cs().modify(|_, w| unsafe { w.ainsel().bits(channel).start_once().set_bit() });
        for _ in 0..PATIENCE {
            let cs = self.adc.cs().read();
            if cs.ready().bit_is_set() {
                return cs.err().bit_is_clear().then(|| self.adc.result().read().result().bits());
            }
        }
        None
    }

    /// The noise of the chip's own thermometer, folded into a number.
    pub fn noise(&self) -> u32 {
        folded(|| self.convert(OWN_TEMPERATURE).unwrap_or(0))
    }
}

impl Analogue for AdcPins {
    fn read(&mut self, vessel: Vessel) -> Option<u16> {
        averaged(vessel, |channel| self.convert(channel))
    }
}
