//! The serial port. The chip holds one byte each way, so an interrupt fetches what arrives and sends what waits.

use crate::hal::pac::{self, interrupt};
use crate::hal::prelude::*;
use crate::hal::rcc::Rcc;
use crate::hal::serial::{Rx, RxListen, Serial, Tx, TxListen, config::Config};
use crate::pins::{UartRx, UartTx};
use core::cell::RefCell;
use critical_section::Mutex;
use heapless::Deque;

/// Bytes that wait for the main loop: 22 ms at full speed, more than its longest turn.
const WAITING: usize = 256;
/// Bytes that wait to be sent: those of two turns of the main loop.
const LEAVING: usize = 256;

struct Uart {
    tx: Tx<pac::USART1>,
    rx: Rx<pac::USART1>,
    waiting: Deque<u8, WAITING>,
    leaving: Deque<u8, LEAVING>,
}

static UART: Mutex<RefCell<Option<Uart>>> = Mutex::new(RefCell::new(None));

/// UART at 115,200 baud, 8N1. If it does not come up, bytes go nowhere.
pub fn start(device: pac::USART1, pins: (UartTx, UartRx), rcc: &mut Rcc) {
    let Ok(serial) = Serial::new(device, pins, Config::default().baudrate(115_200.bps()), rcc) else { return };
    let (tx, mut rx) = serial.split();
    rx.listen();
    critical_section::with(|cs| UART.replace(cs, Some(Uart { tx, rx, waiting: Deque::new(), leaving: Deque::new() })));
    // SAFETY: what the handler needs is in place, and no critical section is open.
    unsafe { pac::NVIC::unmask(interrupt::USART1) };
}

/// A byte that has arrived.
pub fn received() -> Option<u8> {
    critical_section::with(|cs| UART.borrow_ref_mut(cs).as_mut()?.waiting.pop_front())
}

/// Sends a byte if there is room.
pub fn send(byte: u8) -> bool {
    critical_section::with(|cs| {
        let mut shared = UART.borrow_ref_mut(cs);
        let Some(Uart { tx, leaving, .. }) = shared.as_mut() else { return true };
        if leaving.is_empty() && tx.write(byte).is_ok() {
            return true;
        }
        tx.listen();
        leaving.push_back(byte).is_ok()
    })
}

#[interrupt]
fn USART1() {
    critical_section::with(|cs| {
        let mut shared = UART.borrow_ref_mut(cs);
        let Some(Uart { tx, rx, waiting, leaving }) = shared.as_mut() else { return };
        // A byte that was damaged on its way, or finds no room, is lost, and its frame with it.
        if let Ok(byte) = rx.read() {
            let _ = waiting.push_back(byte);
        }
        match leaving.front() {
            None => tx.unlisten(),
            Some(&byte) => {
                if tx.write(byte).is_ok() {
                    leaving.pop_front();
                }
            }
        }
    });
}
