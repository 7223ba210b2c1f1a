//! Raspberry Pi Pico (RP2040): wiring only. What the pins are for is in `firmware/WIRING.md`.
#![no_std]
#![no_main]

#[macro_use]
#[path = "../place.rs"]
mod place;
mod arithmetic;
mod clocks;
mod flash;
mod flow;
#[path = "../handlers.rs"]
mod handlers;
mod interrupts;
mod last_resort;
mod memory;
mod parts;
mod pins;
mod serial;
#[path = "../stack.rs"]
mod stack;
#[path = "../usb.rs"]
mod usb;
mod watchdog;

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
use hal::fugit::RateExtU32;
use hal::gpio::{FunctionI2C, FunctionSpi, FunctionUart, PullUp};
use hal::pac;
use hal::usb::UsbBus;
use interrupts::{ContactPins, Interrupts, PowerLines, There};
use parts::{AdcPins, BusDelay, BusPin, Pico};
use pins::Pins;
use rp2040_hal as hal;
use usb::Usb;
use usb_device::bus::UsbBusAllocator;

/// Second-stage boot for the flash of the Pico and its copies.
// SAFETY: the section is what the boot ROM reads; nothing else is linked there.
#[unsafe(link_section = ".boot2")]
#[used]
static BOOT2: [u8; 256] = rp2040_boot2::BOOT_LOADER_W25Q080;

/// What the stack's change hands over is an application on this.
type ThisBoard = Pico;

#[hal::entry]
fn main() -> ! {
    stack::change(build())
}

/// Starts everything. Not inlined: what it needs of the stack is given back before the main loop.
#[inline(never)]
fn build() -> &'static mut App<Pico> {
    // Taken once, right after a reset.
    let (Some(mut device), Some(core)) = (pac::Peripherals::take(), pac::CorePeripherals::take()) else { last_resort::stop() };
    let restart = watchdog::read_restart(&device.WATCHDOG);
    let Some(clocks) = clocks::start(device.XOSC, device.CLOCKS, device.PLL_USB, &mut device.RESETS, &device.WATCHDOG) else {
        last_resort::stop()
    };
    let sio = hal::Sio::new(device.SIO);
    let pins = Pins::new(device.IO_BANK0, device.PADS_BANK0, sio.gpio_bank0, &mut device.RESETS);

    // The lines to the power side first: driven low before anything else runs.
    let lines = PowerLines::new([
        pins.contactor.into_push_pull_output().into_dyn_pin(),
        pins.tank_element.into_push_pull_output().into_dyn_pin(),
        pins.kettle_element.into_push_pull_output().into_dyn_pin(),
        pins.liquor_pump.into_push_pull_output().into_dyn_pin(),
        pins.mash_pump.into_push_pull_output().into_dyn_pin(),
        pins.wort_pump.into_push_pull_output().into_dyn_pin(),
    ]);
    let Some(lines) = lines else { last_resort::stop() };
    let contacts = ContactPins {
        stop_loop: pins.stop_loop.reconfigure().into_dyn_pin(),
        key: pins.key.reconfigure().into_dyn_pin(),
        button: pins.button.reconfigure().into_dyn_pin(),
        knob_a: pins.knob_a.reconfigure().into_dyn_pin(),
        knob_b: pins.knob_b.reconfigure().into_dyn_pin(),
        knob_push: pins.knob_push.reconfigure().into_dyn_pin(),
    };

    let mut timer = hal::Timer::new(device.TIMER, &mut device.RESETS, &clocks);
    let mut store = Store::new(flash::Flash::new(&BOOT2), flash::SETTINGS_AT);
    let Some(loaded) = Loaded::from(&mut store) else { last_resort::stop() };
    let fast = FastTask::new(loaded.fast_path(), lines, loaded.coil());

    let spi_pins = (
        pins.spi_out.into_function::<FunctionSpi>(),
        pins.spi_in.into_function::<FunctionSpi>(),
        pins.spi_clock.into_function::<FunctionSpi>(),
    );
    // The front ends take up to 5 MHz; every reading is checked against what was written to them.
    let spi = hal::spi::Spi::<_, _, _, 8>::new(device.SPI0, spi_pins).init(
        &mut device.RESETS,
        clocks::HZ.Hz(),
        4.MHz(),
        embedded_hal::spi::MODE_1,
    );
    let spi: &'static _ = place!(RefCell<parts::SpiBus>, RefCell::new(spi));
    let select = PerVessel {
        liquor_tank: pins.tank_select.into_push_pull_output_in_state(hal::gpio::PinState::High).into_dyn_pin(),
        mash_tun: pins.mash_select.into_push_pull_output_in_state(hal::gpio::PinState::High).into_dyn_pin(),
        boil_kettle: pins.kettle_select.into_push_pull_output_in_state(hal::gpio::PinState::High).into_dyn_pin(),
    };
    let share = |pin| SpiShare::new(spi, pin, BusDelay::new(timer)).ok();
    let (Some(liquor_tank), Some(mash_tun), Some(boil_kettle)) =
        (share(select.liquor_tank), share(select.mash_tun), share(select.boil_kettle))
    else {
        last_resort::stop()
    };

    let i2c = hal::I2C::new_controller(
        device.I2C0,
        pins.i2c_data.reconfigure::<FunctionI2C, PullUp>(),
        pins.i2c_clock.reconfigure::<FunctionI2C, PullUp>(),
        400.kHz(),
        &mut device.RESETS,
        clocks::HZ.Hz(),
    );
    let i2c: &'static _ = place!(RefCell<parts::I2cBus>, RefCell::new(i2c));
    let uart = serial::uart(
        device.UART0,
        (pins.uart_tx.into_function::<FunctionUart>(), pins.uart_rx.into_function::<FunctionUart>()),
        &mut device.RESETS,
    );
    let usb = UsbBus::new(device.USBCTRL_REGS, device.USBCTRL_DPRAM, clocks.usb_clock, true, &mut device.RESETS);
    let Some(usb) = Usb::new(place!(UsbBusAllocator<UsbBus>, UsbBusAllocator::new(usb))) else { last_resort::stop() };
    let bus = OneWire::new(BusPin::new(pins.one_wire.reconfigure()), BusDelay::new(timer));
    let adc = AdcPins::new(
        device.ADC,
        &mut device.RESETS,
        [
            parts::analogue(pins.tank_ntc.reconfigure()),
            parts::analogue(pins.mash_ntc.reconfigure()),
            parts::analogue(pins.kettle_ntc.reconfigure()),
        ],
    );
    if loaded.has_flow_meter() {
        flow::start(&mut device.RESETS);
    }
    let session = adc.noise() ^ restart.count();

    let (Some(fast_alarm), Some(delay_alarm)) = (timer.alarm_0(), timer.alarm_1()) else { last_resort::stop() };
    interrupts::start(
        core.NVIC,
        Interrupts { fast, contacts, timer, fast_alarm, due: timer.get_counter(), delay_alarm, _there: There::Yes },
    );

    defmt::info!("start: {=str}, session {=u32:x}", restart.why(), session);
    let rooms = Rooms {
        supervisor: place!(Supervisor, loaded.supervisor()),
        oled: place!(Oled<I2cShare<'static, parts::I2cBus>>, loaded.oled(I2cShare::new(i2c))),
        ports: place!([Port; 2], Loaded::ports(session)),
        sheet: place!(EncodedSheet, store.load_sheet()),
    };
    watchdog::start(&device.WATCHDOG, &device.PSM);
    let board = Pico { timer, uart, usb, watchdog: device.WATCHDOG, restart };
    let parts = Parts {
        board,
        spi: PerVessel { liquor_tank, mash_tun, boil_kettle },
        bus,
        analogue: adc,
        expander: I2cShare::new(i2c),
        sense: I2cShare::new(i2c),
    };
    place!(App<Pico>, App::new(parts, rooms, store, loaded, restart.why()))
}
