//! The UART. Nothing holds its host back, so what arrives is fetched by an interrupt.

use crate::interrupts::There;
use crate::{clocks, hal};
use core::cell::RefCell;
use critical_section::Mutex;
use hal::fugit::RateExtU32;
use hal::gpio::bank0::{Gpio0, Gpio1};
use hal::gpio::{FunctionUart, Pin, PullDown};
use hal::pac::{self, interrupt};
use hal::uart::{DataBits, Reader, StopBits, UartConfig, UartPeripheral, Writer};
use heapless::Deque;

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
    _there: There,
}

static UART_IN: Mutex<RefCell<Option<UartIn>>> = Mutex::new(RefCell::new(None));

/// UART at 115,200 baud, 8N1.
pub fn uart(device: pac::UART0, pins: UartPins, resets: &mut pac::RESETS) -> Option<UartOut> {
    let config = UartConfig::new(115_200.Hz(), DataBits::Eight, None, StopBits::One);
    let (mut reader, writer) = UartPeripheral::new(device, pins, resets).enable(config, clocks::HZ.Hz()).ok()?.split();
    reader.enable_rx_interrupt();
    critical_section::with(|cs| *UART_IN.borrow_ref_mut(cs) = Some(UartIn { reader, waiting: Deque::new(), _there: There::Yes }));
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
        let Some(UartIn { reader, waiting, .. }) = shared.as_mut() else { return };
        let mut bytes = [0; FETCHED];
        // Damaged on their way, they are lost: their frame would not pass its check.
        let Ok(read) = reader.read_raw(&mut bytes) else { return };
        for &byte in bytes.iter().take(read) {
            // What finds no room is lost, and its frame with it.
            let _ = waiting.push_back(byte);
        }
    });
}
