//! STM32F405 board (Cortex-M4F): wiring only. What the pins are for is in `firmware/WIRING.md`.
#![no_std]
#![no_main]

#[macro_use]
#[path = "../place.rs"]
mod place;
mod clocks;
mod flash;
mod flow;
#[path = "../handlers.rs"]
mod handlers;
mod i2c;
mod interrupts;
mod last_resort;
mod parts;
mod pins;
mod serial;
#[path = "../stack.rs"]
mod stack;
#[path = "../usb.rs"]
mod usb;
mod watchdog;

use clocks::Clocks;
use copperhold_core::supervisor::Supervisor;
use copperhold_core::vessel::PerVessel;
use copperhold_core::wire::sheet::EncodedSheet;
use copperhold_firmware::app::{App, Loaded, Rooms};
use copperhold_firmware::board::Parts;
use copperhold_firmware::drivers::oled::Oled;
use copperhold_firmware::drivers::one_wire::OneWire;
use copperhold_firmware::fast_task::FastTask;
use copperhold_firmware::link::Port;
use copperhold_firmware::storage::Store;
use core::cell::RefCell;
use defmt_rtt as _;
use embedded_hal_bus::i2c::RefCellDevice as I2cShare;
use embedded_hal_bus::spi::RefCellDevice as SpiShare;
use hal::gpio::GpioExt;
use hal::otg_fs::{USB, UsbBus};
use hal::pac;
use hal::prelude::*;
use hal::syscfg::SysCfgExt;
use interrupts::{ContactPins, Interrupts, PowerLines};
use parts::{BusDelay, Converter, Stm32F4};
use pins::Pins;
use stm32f4xx_hal as hal;
use usb::Usb;
use usb_device::bus::UsbBusAllocator;

/// Words for what comes over USB: its control endpoint's 64 bytes, and as many of the data's.
const FROM_HOST: usize = 32;

/// What the stack's change hands over is an application on this.
type ThisBoard = Stm32F4;

#[cortex_m_rt::entry]
fn main() -> ! {
    stack::change(build())
}

/// Starts everything. Not inlined: what it needs of the stack is given back before the main loop.
#[inline(never)]
fn build() -> &'static mut App<Stm32F4> {
    // Taken once, right after a reset.
    let (Some(mut device), Some(core)) = (pac::Peripherals::take(), pac::CorePeripherals::take()) else { last_resort::stop() };
    let restart = watchdog::read_restart(&device.RCC, &device.PWR, &device.RTC);
    let Clocks { mut rcc, per_us, crystal } = clocks::start(device.RCC);
    let pins = Pins::new(device.GPIOA.split(&mut rcc), device.GPIOB.split(&mut rcc), device.GPIOC.split(&mut rcc));

    // The lines to the power side first: driven low before anything else runs.
    let lines = PowerLines::new([
        pins.contactor.into_push_pull_output().erase_number(),
        pins.tank_element.into_push_pull_output().erase_number(),
        pins.kettle_element.into_push_pull_output().erase_number(),
        pins.liquor_pump.into_push_pull_output().erase_number(),
        pins.mash_pump.into_push_pull_output().erase_number(),
        pins.wort_pump.into_push_pull_output().erase_number(),
    ]);
    let Some(lines) = lines else { last_resort::stop() };
    let contacts = ContactPins {
        stop_loop: pins.stop_loop.into_pull_up_input().erase_number(),
        key: pins.key.into_pull_up_input().erase_number(),
        button: pins.button.into_pull_up_input().erase_number(),
        knob_a: pins.knob_a.into_pull_up_input().erase_number(),
        knob_b: pins.knob_b.into_pull_up_input().erase_number(),
        knob_push: pins.knob_push.into_pull_up_input().erase_number(),
    };

    let mut store = Store::new(flash::Flash::new(device.FLASH), flash::SETTINGS_AT);
    let Some(loaded) = Loaded::from(&mut store) else { last_resort::stop() };
    let fast = FastTask::new(loaded.fast_path(), lines, loaded.coil());

    let spi_pins = (Some(pins.spi_clock), Some(pins.spi_in), Some(pins.spi_out));
    let spi = hal::spi::Spi::new(device.SPI1, spi_pins, embedded_hal::spi::MODE_1, 1.MHz(), &mut rcc);
    let spi: &'static _ = place!(RefCell<parts::SpiBus>, RefCell::new(spi));
    let high = hal::gpio::PinState::High;
    let share = |pin| SpiShare::new(spi, pin, BusDelay::new(per_us)).ok();
    let (Some(liquor_tank), Some(mash_tun), Some(boil_kettle)) = (
        share(pins.tank_select.into_push_pull_output_in_state(high).erase()),
        share(pins.mash_select.into_push_pull_output_in_state(high).erase()),
        share(pins.kettle_select.into_push_pull_output_in_state(high).erase()),
    ) else {
        last_resort::stop()
    };

    // Alternate function 4 of both pins is the first I2C.
    let _ = pins.i2c_clock.into_alternate_open_drain::<4>().internal_pull_up(true);
    let _ = pins.i2c_data.into_alternate_open_drain::<4>().internal_pull_up(true);
    let i2c: &'static _ = place!(RefCell<i2c::Bus>, RefCell::new(i2c::Bus::new(device.I2C1, &mut rcc)));
    serial::start(device.USART1, (pins.uart_tx, pins.uart_rx), &mut rcc);
    let bus = OneWire::new(pins.one_wire.into_open_drain_output(), BusDelay::new(per_us));
    let _ = (pins.tank_ntc.into_analog(), pins.mash_ntc.into_analog(), pins.kettle_ntc.into_analog());
    let analogue = Converter::new(device.ADC1, &device.ADC_COMMON, &rcc);
    if loaded.has_flow_meter() {
        flow::start(&device.TIM9, pins.flow_meter, &mut rcc);
    }
    let session = analogue.noise() ^ restart.count();

    let mut syscfg = device.SYSCFG.constrain(&mut rcc);
    interrupts::start(core.SYST, &mut device.EXTI, &mut syscfg, Interrupts { fast, contacts, per_us, ticks: 0 });

    defmt::info!("start: {=str}, crystal {=bool}", restart.why(), crystal);
    let rooms = Rooms {
        supervisor: place!(Supervisor, loaded.supervisor()),
        oled: place!(Oled<I2cShare<'static, i2c::Bus>>, loaded.oled(I2cShare::new(i2c))),
        ports: place!([Port; 2], Loaded::ports(session)),
        sheet: place!(EncodedSheet, store.load_sheet()),
    };
    watchdog::start(&device.IWDG);
    // After the watchdog, which ends its driver's waits; and not without the crystal, whose clock it needs.
    let usb = crystal.then(|| {
        let registers = (device.OTG_FS_GLOBAL, device.OTG_FS_DEVICE, device.OTG_FS_PWRCLK);
        let controller = USB::new(registers, (pins.usb_minus, pins.usb_plus), &rcc.clocks);
        Usb::new(place!(UsbBusAllocator<UsbBus<USB>>, UsbBus::new(controller, place!([u32; FROM_HOST], [0; FROM_HOST]))))
    });
    let board = Stm32F4 { usb: usb.flatten(), flow_meter: device.TIM9, watchdog: device.IWDG, rtc: device.RTC, restart, crystal };
    let parts = Parts {
        board,
        spi: PerVessel { liquor_tank, mash_tun, boil_kettle },
        bus,
        analogue,
        expander: I2cShare::new(i2c),
        sense: I2cShare::new(i2c),
    };
    place!(App<Stm32F4>, App::new(parts, rooms, store, loaded, restart.why()))
}
