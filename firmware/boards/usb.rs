//! USB serial over whatever controller the board has. It is looked at whenever the main loop wakes, 100 times a second or more, and holds its
//! host back meanwhile.

use usb_device::bus::{UsbBus, UsbBusAllocator};
use usb_device::device::{StringDescriptors, UsbDevice, UsbDeviceBuilder, UsbDeviceState, UsbVidPid};
use usbd_serial::SerialPort;

/// Test identifiers of the pid.codes list: for private use only, not to be sold with.
const ID: UsbVidPid = UsbVidPid(0x1209, 0x0001);

/// USB serial.
pub struct Usb<B: UsbBus + 'static> {
    device: UsbDevice<'static, B>,
    serial: SerialPort<'static, B>,
}

impl<B: UsbBus> Usb<B> {
    /// Brings it up; `None` if what it says of itself finds no room.
    #[inline(never)]
    pub fn new(bus: &'static UsbBusAllocator<B>) -> Option<Usb<B>> {
        let serial = SerialPort::new(bus);
        let strings = [StringDescriptors::default().manufacturer("Copperhold").product("Heating controller")];
        let device = UsbDeviceBuilder::new(bus, ID)
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
