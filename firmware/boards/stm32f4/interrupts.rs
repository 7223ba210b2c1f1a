//! The interrupts, all of one priority: none interrupts another, so what one reads and writes hangs together. And the clock, which counts
//! in the timer interrupt.

use crate::{hal, last_resort};
use copperhold_core::units::Instant;
use copperhold_firmware::fast_task::{Contacts, FAST_PERIOD, FastTask};
use copperhold_firmware::lines::{LINES, LinePort};
use core::cell::RefCell;
use cortex_m::peripheral::{NVIC, SCB, SYST, syst::SystClkSource};
use critical_section::Mutex;
use hal::gpio::{ExtiPin, Input, Output, PartiallyErasedPin, PinExt};
use hal::pac::{self, interrupt};

/// The lines to the power side, PC0 to PC5 in the order of `Line::ALL`: one register write lowers and raises them all.
pub struct PowerLines {
    _pins: [PartiallyErasedPin<'C', Output>; LINES],
}

impl PowerLines {
    /// Pins that are outputs already; `None` if they are not the ones in order.
    pub fn new(pins: [PartiallyErasedPin<'C', Output>; LINES]) -> Option<PowerLines> {
        let in_order = pins.iter().zip(0..).all(|(pin, number)| pin.pin_id() == number);
        in_order.then_some(PowerLines { _pins: pins })
    }
}

impl LinePort for PowerLines {
    fn drive(&mut self, levels: u8) {
        let high = u32::from(levels) & last_resort::LINES;
        let low = last_resort::LINES & !high;
        // SAFETY: the register changes these pins' bits only, and this value owns the pins.
        unsafe { (*pac::GPIOC::PTR).bsrr().write(|w| w.bits(low << 16 | high)) };
    }

    fn astray(&self) -> bool {
        // SAFETY: reading changes nothing.
        let port = unsafe { &*pac::GPIOC::PTR };
        (port.idr().read().bits() ^ port.odr().read().bits()) & last_resort::LINES != 0
    }
}

/// A contact to ground at port C: closed reads low, and a broken wire reads open.
pub type ContactPin = PartiallyErasedPin<'C', Input>;

/// The contacts' pins.
pub type ContactPins = Contacts<ContactPin>;

/// All of them at one instant.
fn read(pins: &ContactPins) -> Contacts {
    // SAFETY: reading the pads changes nothing.
    let pads = unsafe { (*pac::GPIOC::PTR).idr().read().bits() };
    pins.map(|pin| pads >> (pin.pin_id() & 31) & 1 == 0)
}

/// What the interrupts own.
pub struct Interrupts {
    /// The fast tick.
    pub fast: FastTask<PowerLines>,
    /// Contacts.
    pub contacts: ContactPins,
    /// Cycles in a microsecond.
    pub per_us: u32,
    /// Timer interrupts so far.
    pub ticks: u64,
}

static SHARED: Mutex<RefCell<Option<Interrupts>>> = Mutex::new(RefCell::new(None));

/// Cycles from one look at an edge to the next: 10 us at 48 MHz.
const EDGE_CYCLES: u32 = 480;

/// The timer's cycles from one fast tick to the next.
pub const fn reload(per_us: u32) -> u32 {
    FAST_PERIOD.as_micros() as u32 * per_us - 1
}

/// Installs what the interrupts own and lets them come.
pub fn start(mut timer: SYST, exti: &mut pac::EXTI, syscfg: &mut hal::syscfg::SysCfg, mut parts: Interrupts) {
    for pin in [&mut parts.contacts.stop_loop, &mut parts.contacts.key] {
        pin.make_interrupt_source(syscfg);
        pin.trigger_on_edge(exti, hal::gpio::Edge::Rising);
        pin.enable_interrupt(exti);
    }
    timer.set_clock_source(SystClkSource::Core);
    timer.set_reload(reload(parts.per_us));
    timer.clear_current();
    critical_section::with(|cs| SHARED.replace(cs, Some(parts)));
    timer.enable_counter();
    timer.enable_interrupt();
    // SAFETY: what the handler needs is in place, and no critical section is open.
    unsafe { NVIC::unmask(interrupt::EXTI9_5) };
}

/// Works on what the interrupts own, with interrupts off.
fn with_shared<R>(work: impl FnOnce(&mut Interrupts) -> R) -> R {
    critical_section::with(|cs| match SHARED.borrow_ref_mut(cs).as_mut() {
        Some(shared) => work(shared),
        // The main loop runs only after `start`.
        None => last_resort::stop(),
    })
}

/// Works on the fast task with interrupts off.
pub fn with_fast<R>(work: impl FnOnce(&mut FastTask<PowerLines>) -> R) -> R {
    with_shared(|shared| work(&mut shared.fast))
}

/// Time since the start. It stands while a flash sector is erased, which is only done with every line low.
pub fn now() -> Instant {
    with_shared(|shared| {
        let mut ticks = shared.ticks;
        let mut left = SYST::get_current();
        if SCB::is_pendst_pending() {
            // It has wrapped since interrupts went off.
            ticks += 1;
            left = SYST::get_current();
        }
        let since = (reload(shared.per_us) - left) / shared.per_us;
        Instant::from_micros(ticks * FAST_PERIOD.as_micros() + u64::from(since))
    })
}

#[cortex_m_rt::exception]
fn SysTick() {
    critical_section::with(|cs| {
        let mut shared = SHARED.borrow_ref_mut(cs);
        let Some(Interrupts { fast, contacts, ticks, .. }) = shared.as_mut() else { return };
        *ticks += 1;
        fast.tick(Instant::from_micros(*ticks * FAST_PERIOD.as_micros()), &read(contacts));
    });
}

#[interrupt]
fn EXTI9_5() {
    critical_section::with(|cs| {
        let mut shared = SHARED.borrow_ref_mut(cs);
        let Some(Interrupts { fast, contacts, .. }) = shared.as_mut() else { return };
        contacts.stop_loop.clear_interrupt_pending_bit();
        contacts.key.clear_interrupt_pending_bit();
        fast.edge(|| read(contacts), || cortex_m::asm::delay(EDGE_CYCLES));
    });
}
