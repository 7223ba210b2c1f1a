//! The UART. Nothing holds its host back, so what arrives is fetched by an interrupt.

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

/// The way from the host, and what has come. No `Option`, as in `interrupts::Shared`.
#[expect(clippy::large_enum_variant, reason = "there is no allocator, and only one of it")]
#[repr(u8)]
enum UartIn {
    Nothing = 0,
    Open { reader: Reader<pac::UART0, UartPins>, waiting: Deque<u8, WAITING> } = 1,
}

static UART_IN: Mutex<RefCell<UartIn>> = Mutex::new(RefCell::new(UartIn::Nothing));

/// UART at 115,200 baud, 8N1.
pub fn uart(device: pac::UART0, pins: UartPins, resets: &mut pac::RESETS) -> Option<UartOut> {
    let config = UartConfig::new(115_200.Hz(), DataBits::Eight, None, StopBits::One);
    let (mut reader, writer) = UartPeripheral::new(device, pins, resets).enable(config, clocks::HZ.Hz()).ok()?.split();
    reader.enable_rx_interrupt();
    critical_section::with(|cs| *UART_IN.borrow_ref_mut(cs) = UartIn::Open { reader, waiting: Deque::new() });
    // SAFETY: what the handler needs is in place, and no critical section is open.
    unsafe { pac::NVIC::unmask(interrupt::UART0_IRQ) };
    Some(writer)
}

/// A byte that has arrived over the UART.
pub fn received() -> Option<u8> {
    critical_section::with(|cs| match &mut *UART_IN.borrow_ref_mut(cs) {
        UartIn::Open { waiting, .. } => waiting.pop_front(),
        UartIn::Nothing => None,
    })
}

#[interrupt]
fn UART0_IRQ() {
    critical_section::with(|cs| {
        let mut shared = UART_IN.borrow_ref_mut(cs);
        let UartIn::Open { reader, waiting } = &mut *shared else { return };
        let mut bytes = [0; FETCHED];
        // Damaged on their way, they are lost: their frame would not pass its check.
        let Ok(read) = reader.read_raw(&mut bytes) else { return };
        for &byte in bytes.iter().take(read) {
            // What finds no room is lost, and its frame with it.
            let _ = waiting.push_back(byte);
        }
    });
}
