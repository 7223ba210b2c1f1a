//! The two serial ports. USB is looked at whenever the main loop wakes, 100 times a second or more, and holds its host back meanwhile.
//! Nothing holds back the UART's, so what arrives there is fetched by an interrupt.

use crate::{clocks, hal};
use core::cell::RefCell;
use critical_section::Mutex;
use hal::clocks::ClocksManager;
use hal::fugit::RateExtU32;
use hal::gpio::bank0::{Gpio0, Gpio1};
use hal::gpio::{FunctionUart, Pin, PullDown};
use hal::pac::{self, interrupt};
use hal::uart::{DataBits, Reader, StopBits, UartConfig, UartPeripheral, Writer};
use hal::usb::UsbBus;
use heapless::Deque;
use usb_device::bus::UsbBusAllocator;
use usb_device::device::{StringDescriptors, UsbDevice, UsbDeviceBuilder, UsbDeviceState, UsbVidPid};
use usbd_serial::SerialPort;

/// Bytes that wait for the main loop: 22 ms at full speed, more than its longest turn.
const WAITING: usize = 256;
/// Most bytes fetched by one interrupt: what the chip's own queue holds.
const FETCHED: usize = 32;

/// Pins of the UART.
pub type UartPins = (Pin<Gpio0, FunctionUart, PullDown>, Pin<Gpio1, FunctionUart, PullDown>);
/// The way to the host.
pub type UartOut = Writer<pac::UART0, UartPins>;

/// The way from the host, and what has come.
struct UartIn {
    reader: Reader<pac::UART0, UartPins>,
    waiting: Deque<u8, WAITING>,
}

static UART_IN: Mutex<RefCell<Option<UartIn>>> = Mutex::new(RefCell::new(None));

/// UART at 115,200 baud, 8N1.
pub fn uart(device: pac::UART0, pins: UartPins, resets: &mut pac::RESETS) -> Option<UartOut> {
    let config = UartConfig::new(115_200.Hz(), DataBits::Eight, None, StopBits::One);
    let (mut reader, writer) = UartPeripheral::new(device, pins, resets).enable(config, clocks::HZ.Hz()).ok()?.split();
    reader.enable_rx_interrupt();
    critical_section::with(|cs| UART_IN.replace(cs, Some(UartIn { reader, waiting: Deque::new() })));
    // SAFETY: what the handler needs is in place, and no critical section is open.
    unsafe { pac::NVIC::unmask(interrupt::UART0_IRQ) };
    Some(writer)
}

/// A byte that has arrived over the UART.
pub fn received() -> Option<u8> {
    critical_section::with(|cs| UART_IN.borrow_ref_mut(cs).as_mut()?.waiting.pop_front())
}

#[interrupt]
fn UART0_IRQ() {
    critical_section::with(|cs| {
        let mut shared = UART_IN.borrow_ref_mut(cs);
        let Some(UartIn { reader, waiting }) = shared.as_mut() else { return };
        let mut bytes = [0; FETCHED];
        // Damaged on their way, they are lost: their frame would not pass its check.
        let Ok(read) = reader.read_raw(&mut bytes) else { return };
        for &byte in bytes.iter().take(read) {
            // What finds no room is lost, and its frame with it.
            let _ = waiting.push_back(byte);
        }
    });
}

/// USB serial.
pub struct Usb {
    device: UsbDevice<'static, UsbBus>,
    serial: SerialPort<'static, UsbBus>,
}

impl Usb {
    /// Test identifiers of the pid.codes list: for private use only, not to be sold with.
    const ID: UsbVidPid = UsbVidPid(0x1209, 0x0001);

    /// Brings it up; `None` if it is brought up twice.
    #[inline(never)]
    pub fn new(
        registers: pac::USBCTRL_REGS,
        memory: pac::USBCTRL_DPRAM,
        clocks: ClocksManager,
        resets: &mut pac::RESETS,
    ) -> Option<Usb> {
        let bus = UsbBus::new(registers, memory, clocks.usb_clock, true, resets);
        let bus = cortex_m::singleton!(: UsbBusAllocator<UsbBus> = UsbBusAllocator::new(bus))?;
        let serial = SerialPort::new(bus);
        let strings = [StringDescriptors::default().manufacturer("Copperhold").product("Heating controller")];
        let device = UsbDeviceBuilder::new(bus, Usb::ID)
            .strings(&strings)
            .ok()?
            .max_packet_size_0(64)
            .ok()?
            .device_class(usbd_serial::USB_CLASS_CDC)
            .build();
        Some(Usb { device, serial })
    }

    /// A byte that has arrived.
    #[inline(never)]
    pub fn receive(&mut self) -> Option<u8> {
        self.device.poll(&mut [&mut self.serial]);
        let mut byte = [0];
        match self.serial.read(&mut byte) {
            Ok(1) => Some(byte[0]),
            Ok(_) | Err(_) => None,
        }
    }

    /// Sends a byte if there is room. With no host at the other end, bytes go nowhere.
    pub fn send(&mut self, byte: u8) -> bool {
        self.device.state() != UsbDeviceState::Configured || matches!(self.serial.write(&[byte]), Ok(1))
    }
}
