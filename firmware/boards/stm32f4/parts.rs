//! The board as the application sees it.

use crate::interrupts::{self, PowerLines};
use crate::usb::Usb;
use crate::{flash, flow, hal, i2c, serial, watchdog};
use copperhold_core::event::Entry;
use copperhold_core::units::Instant;
use copperhold_core::vessel::Vessel;
use copperhold_firmware::board::{Board, Port};
use copperhold_firmware::fast_task::FastTask;
use copperhold_firmware::probes::{Analogue, averaged, folded};
use copperhold_firmware::restart::Restart;
use cortex_m::peripheral::SYST;
use embedded_hal::delay::DelayNs;
use embedded_hal_bus::i2c::RefCellDevice as I2cShare;
use embedded_hal_bus::spi::RefCellDevice as SpiShare;
use hal::gpio::{AnyPin, OpenDrain, Output, PB10};
use hal::otg_fs::{USB, UsbBus};
use hal::pac;

/// The SPI bus.
pub type SpiBus = hal::spi::Spi<pac::SPI1>;

/// The board.
pub struct Stm32F4 {
    /// USB, if it came up.
    pub usb: Option<Usb<UsbBus<USB>>>,
    /// Counts the flow meter's pulses.
    pub flow_meter: pac::TIM9,
    /// Watchdog.
    pub watchdog: pac::IWDG,
    /// Backup registers.
    pub rtc: pac::RTC,
    /// Why it started.
    pub restart: Restart,
    /// The crystal runs.
    pub crystal: bool,
}

impl Board for Stm32F4 {
    type Lines = PowerLines;
    type Spi = SpiShare<'static, SpiBus, AnyPin<Output>, BusDelay>;
    type Bus = PB10<Output<OpenDrain>>;
    type Delay = BusDelay;
    type Analogue = Converter;
    type I2c = I2cShare<'static, i2c::Bus>;
    type Flash = flash::Flash;

    fn now(&self) -> Instant {
        interrupts::now()
    }

    fn fast<R>(&self, work: impl FnOnce(&mut FastTask<PowerLines>) -> R) -> R {
        interrupts::with_fast(work)
    }

    fn feed_watchdog(&mut self) {
        watchdog::feed(&self.watchdog);
        watchdog::count_good(&self.rtc);
    }

    fn may_heat(&self) -> bool {
        self.crystal && watchdog::is_sound(&self.watchdog) && !self.restart.locked()
    }

    fn receive(&mut self, port: Port) -> Option<u8> {
        match port {
            Port::Usb => self.usb.as_mut()?.receive(),
            Port::Uart => serial::received(),
        }
    }

    fn send(&mut self, port: Port, byte: u8) -> bool {
        match port {
            // Nobody there: bytes go nowhere.
            Port::Usb => self.usb.as_mut().is_none_or(|usb| usb.send(byte)),
            Port::Uart => serial::send(byte),
        }
    }

    fn flow_pulses(&self) -> u16 {
        flow::pulses(&self.flow_meter)
    }

    fn note(&mut self, entry: &Entry) {
        defmt::info!("{=u64} us: {}", entry.at.as_micros(), defmt::Debug2Format(&entry.event));
    }
}

/// Delays by the cycles of the timer that makes the fast tick: it runs through, whatever interrupts.
#[derive(Clone, Copy)]
pub struct BusDelay {
    per_us: u32,
}

impl BusDelay {
    /// With so many cycles in a microsecond.
    pub const fn new(per_us: u32) -> BusDelay {
        BusDelay { per_us }
    }
}

impl DelayNs for BusDelay {
    fn delay_ns(&mut self, ns: u32) {
        self.delay_us(ns.div_ceil(1_000));
    }

    fn delay_us(&mut self, us: u32) {
        let period = interrupts::reload(self.per_us) + 1;
        let mut left = us.saturating_mul(self.per_us);
        let mut last = SYST::get_current();
        while left > 0 {
            let now = SYST::get_current();
            // It counts down, and starts again at its top.
            let passed = if now <= last { last - now } else { last + period - now };
            left = left.saturating_sub(passed);
            last = now;
        }
    }
}

/// The analogue pins, PA0 to PA2.
pub struct Converter {
    adc: pac::ADC1,
}

/// Turns to wait for a conversion of some microseconds before it counts as failed.
const PATIENCE: u16 = 2_000;
/// The chip's own thermometer.
const OWN_TEMPERATURE: u8 = 16;
/// Cycles of the longest sample time, for a divider of 10 kilo-ohm: code 7 for each channel.
const LONGEST_SAMPLE: u32 = 0o777;

impl Converter {
    /// Brings the converter up; its pins are analogue already.
    pub fn new(adc: pac::ADC1, common: &pac::ADC_COMMON, rcc: &hal::rcc::Rcc) -> Converter {
        rcc.apb2enr().modify(|_, w| w.adc1en().set_bit());
        common.ccr().modify(|_, w| w.tsvrefe().set_bit());
        // SAFETY: three bits for each of the channels 0 to 2.
        adc.smpr2().write(|w| unsafe { w.bits(LONGEST_SAMPLE) });
        adc.cr2().write(|w| w.adon().set_bit());
        Converter { adc }
    }

    fn convert(&self, channel: u8) -> Option<u16> {
        // SAFETY: channels 0 to 18 exist, and the others are not asked for.
        self.adc.sqr3().write(|w| unsafe { w.bits(u32::from(channel)) });
        self.adc.cr2().modify(|_, w| w.swstart().set_bit());
        let done = (0..PATIENCE).any(|_| self.adc.sr().read().eoc().bit_is_set());
        done.then(|| self.adc.dr().read().data().bits() & 0xFFF)
    }

    /// The noise of the chip's own thermometer, folded into a number.
    pub fn noise(&self) -> u32 {
        folded(|| self.convert(OWN_TEMPERATURE).unwrap_or(0))
    }
}

impl Analogue for Converter {
    fn read(&mut self, vessel: Vessel) -> Option<u16> {
        averaged(vessel, |channel| self.convert(channel))
    }
}
