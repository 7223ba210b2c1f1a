//! The two serial ports. Both are looked at whenever the main loop wakes, 100 times a second or more.

use crate::{clocks, hal};
use hal::clocks::ClocksManager;
use hal::fugit::RateExtU32;
use hal::pac;
use hal::uart::{DataBits, StopBits, UartConfig, UartDevice, UartPeripheral, ValidUartPinout};
use hal::usb::UsbBus;
use usb_device::bus::UsbBusAllocator;
use usb_device::device::{StringDescriptors, UsbDevice, UsbDeviceBuilder, UsbDeviceState, UsbVidPid};
use usbd_serial::SerialPort;

/// UART at 115,200 baud, 8N1.
pub fn uart<D: UartDevice, P: ValidUartPinout<D>>(
    device: D,
    pins: P,
    resets: &mut pac::RESETS,
) -> Option<UartPeripheral<hal::uart::Enabled, D, P>> {
    let config = UartConfig::new(115_200.Hz(), DataBits::Eight, None, StopBits::One);
    UartPeripheral::new(device, pins, resets).enable(config, clocks::HZ.Hz()).ok()
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
