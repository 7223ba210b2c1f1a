//! The interrupts, all of one priority: none interrupts another, so what one reads and writes hangs together.

use crate::{hal, last_resort};
use copperhold_core::units::Instant;
use copperhold_firmware::fast_task::{Contacts, FAST_PERIOD, FastTask};
use copperhold_firmware::lines::{LINES, LinePort};
use core::cell::RefCell;
use critical_section::Mutex;
use hal::gpio::{DynPinId, FunctionSioInput, FunctionSioOutput, Interrupt, Pin, PullDown, PullUp};
use hal::pac::{self, interrupt};
use hal::timer::{Alarm, Alarm0, Alarm1};

/// The lines to the power side, GP10 to GP15 in the order of `Line::ALL`: one register write each way, because they are driven in every
/// fast tick.
pub struct PowerLines {
    _pins: [Pin<DynPinId, FunctionSioOutput, PullDown>; LINES],
}

impl PowerLines {
    const FIRST: u8 = 10;

    /// Pins that are outputs already; `None` if they are not the ones in order.
    pub fn new(pins: [Pin<DynPinId, FunctionSioOutput, PullDown>; LINES]) -> Option<PowerLines> {
        let in_order = pins.iter().zip(PowerLines::FIRST..).all(|(pin, number)| pin.id().num == number);
        in_order.then_some(PowerLines { _pins: pins })
    }
}

impl LinePort for PowerLines {
    fn drive(&mut self, levels: u8) {
        let high = (u32::from(levels) << PowerLines::FIRST) & last_resort::LINES;
        // SAFETY: the clear and set registers change these pins' bits only, and this value owns the pins.
        unsafe {
            (*pac::SIO::PTR).gpio_out_clr().write(|w| w.bits(last_resort::LINES & !high));
            (*pac::SIO::PTR).gpio_out_set().write(|w| w.bits(high));
        }
    }

    fn astray(&self) -> bool {
        // SAFETY: reading changes nothing.
        let sio = unsafe { &*pac::SIO::PTR };
        (sio.gpio_in().read().bits() ^ sio.gpio_out().read().bits()) & last_resort::LINES != 0
    }
}

/// A contact to ground: closed reads low, and a broken wire reads open.
pub type ContactPin = Pin<DynPinId, FunctionSioInput, PullUp>;

/// The contacts' pins.
pub type ContactPins = Contacts<ContactPin>;

/// All of them at one instant.
fn read(pins: &ContactPins) -> Contacts {
    // SAFETY: reading the pads changes nothing.
    let pads = unsafe { (*pac::SIO::PTR).gpio_in().read().bits() };
    pins.map(|pin| pads >> (pin.id().num & 31) & 1 == 0)
}

/// What the interrupts own.
// In the order of their use: what lies far from the start takes longer to reach.
#[repr(C)]
pub struct Interrupts {
    /// When the next fast tick is due.
    pub due: hal::timer::Instant,
    /// The fast tick.
    pub fast: FastTask<PowerLines>,
    /// Contacts.
    pub contacts: ContactPins,
    /// Time.
    pub timer: hal::Timer,
    /// The fast tick's alarm.
    pub fast_alarm: Alarm0,
    /// The one-wire bus's alarm: wakes the main loop.
    pub delay_alarm: Alarm1,
    /// See [`There`].
    pub _there: There,
}

/// Marks what is there: an `Option` of what holds it says `None` by a zero here, and then all of it is zeros, which take no room in flash.
/// Of 64 bits, so that it is the mark that the compiler chooses.
#[repr(u64)]
pub enum There {
    Yes = 1,
}

static SHARED: Mutex<RefCell<Option<Interrupts>>> = Mutex::new(RefCell::new(None));

/// Cycles from one look at an edge to the next: 10 us at 48 MHz.
const EDGE_CYCLES: u32 = 480;

const PERIOD: hal::fugit::MicrosDurationU64 = hal::fugit::MicrosDurationU64::from_ticks(FAST_PERIOD.as_micros());

/// Installs what the interrupts own and lets them come.
#[inline(never)]
pub fn start(_nvic: pac::NVIC, mut parts: Interrupts) {
    for pin in [&parts.contacts.stop_loop, &parts.contacts.key] {
        pin.set_interrupt_enabled(Interrupt::EdgeHigh, true);
    }
    parts.fast_alarm.enable_interrupt();
    parts.delay_alarm.enable_interrupt();
    parts.due = parts.timer.get_counter() + PERIOD;
    // A time this close can always be set.
    let _ = parts.fast_alarm.schedule_at(parts.due);
    critical_section::with(|cs| *SHARED.borrow_ref_mut(cs) = Some(parts));
    for line in [interrupt::TIMER_IRQ_0, interrupt::TIMER_IRQ_1, interrupt::IO_IRQ_BANK0] {
        // SAFETY: what the handlers need is in place, and no critical section is open.
        unsafe { pac::NVIC::unmask(line) };
    }
}

/// Works on the fast task with interrupts off.
pub fn with_fast<R>(work: impl FnOnce(&mut FastTask<PowerLines>) -> R) -> R {
    critical_section::with(|cs| {
        let mut shared = SHARED.borrow_ref_mut(cs);
        match shared.as_mut() {
            Some(parts) => work(&mut parts.fast),
            // The main loop runs only after `start`.
            None => last_resort::stop(),
        }
    })
}

/// Sets the alarm that wakes a sleeping delay.
pub fn wake_in(us: u32) {
    critical_section::with(|cs| {
        if let Some(shared) = SHARED.borrow_ref_mut(cs).as_mut() {
            // Too close to be set: the sleeper looks at the clock by itself.
            let _ = shared.delay_alarm.schedule(hal::fugit::MicrosDurationU32::from_ticks(us));
        }
    });
}

#[interrupt]
fn TIMER_IRQ_0() {
    critical_section::with(|cs| {
        let mut shared = SHARED.borrow_ref_mut(cs);
        let Some(Interrupts { fast, contacts, timer, fast_alarm, due, .. }) = shared.as_mut() else { return };
        fast_alarm.clear_interrupt();
        let now = timer.get_counter();
        // By the nominal time, so that the period does not drift and a short wait for the interrupt is no shorter or longer tick; after a
        // long wait (flash was written), from now.
        let next = *due + PERIOD;
        let (at, next) = if *due <= now && now < next { (*due, next) } else { (now, now + PERIOD) };
        *due = next;
        let _ = fast_alarm.schedule_at(next);
        fast.tick(Instant::from_micros(at.ticks()), &read(contacts));
    });
}

#[interrupt]
fn TIMER_IRQ_1() {
    critical_section::with(|cs| {
        if let Some(shared) = SHARED.borrow_ref_mut(cs).as_mut() {
            shared.delay_alarm.clear_interrupt();
        }
    });
}

#[interrupt]
fn IO_IRQ_BANK0() {
    critical_section::with(|cs| {
        let mut shared = SHARED.borrow_ref_mut(cs);
        let Some(Interrupts { fast, contacts, .. }) = shared.as_mut() else { return };
        contacts.stop_loop.clear_interrupt(Interrupt::EdgeHigh);
        contacts.key.clear_interrupt(Interrupt::EdgeHigh);
        fast.edge(|| read(contacts), || cortex_m::asm::delay(EDGE_CYCLES));
    });
}
