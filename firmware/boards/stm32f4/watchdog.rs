//! The independent watchdog. It has an oscillator of its own, so it ends a hang even when the crystal has died.

use crate::hal::pac;
use copperhold_firmware::restart::{FORGET_AFTER, Restart};

const UNLOCK: u16 = 0x5555;
const FEED: u16 = 0xAAAA;
const START: u16 = 0xCCCC;
/// Divides by 8.
const PRESCALER: u8 = 1;
/// Its oscillator runs at 17 to 47 kHz (datasheet, table of LSI characteristics): 0.4 s at the fastest, so that it never bites between two
/// control ticks, 0.6 s as a rule, 1.1 s at the slowest.
const RELOAD: u16 = 2_350;

/// Reads and clears the notes of the last run, in backup registers that only a power cycle clears.
pub fn read_restart(rcc: &pac::RCC, pwr: &pac::PWR, rtc: &pac::RTC) -> Restart {
    rcc.apb1enr().modify(|_, w| w.pwren().set_bit());
    pwr.cr().modify(|_, w| w.dbp().set_bit());
    let flags = rcc.csr().read();
    let by_watchdog = flags.wdgrstf().bit_is_set() && flags.porrstf().bit_is_clear();
    let restart = Restart::new(by_watchdog, rtc.bkpr(0).read().bits(), rtc.bkpr(1).read().bits());
    // SAFETY: backup registers take any value.
    unsafe {
        rtc.bkpr(0).write(|w| w.bits(0));
        rtc.bkpr(1).write(|w| w.bits(restart.count()));
        rtc.bkpr(2).write(|w| w.bits(0));
    }
    rcc.csr().modify(|_, w| w.rmvf().set_bit());
    restart
}

/// Starts it. It cannot be stopped, and no debugger pauses it unless asked to.
pub fn start(watchdog: &pac::IWDG) {
    // SAFETY: the keys and both figures are the reference manual's.
    unsafe {
        watchdog.kr().write(|w| w.key().bits(START));
        watchdog.kr().write(|w| w.key().bits(UNLOCK));
        watchdog.pr().write(|w| w.pr().bits(PRESCALER));
        watchdog.rlr().write(|w| w.rl().bits(RELOAD));
    }
    feed(watchdog);
}

/// Whether it has taken its figures.
pub fn is_sound(watchdog: &pac::IWDG) -> bool {
    watchdog.pr().read().pr().bits() == PRESCALER && watchdog.rlr().read().rl().bits() == RELOAD
}

/// Feeds it.
pub fn feed(watchdog: &pac::IWDG) {
    // SAFETY: the key is the reference manual's.
    watchdog.kr().write(|w| unsafe { w.key().bits(FEED) });
}

/// Counts a good control tick; after a long good run the restarts before are forgotten.
pub fn count_good(rtc: &pac::RTC) {
    let good = rtc.bkpr(2).read().bits().saturating_add(1);
    // SAFETY: backup registers take any value.
    unsafe {
        rtc.bkpr(2).write(|w| w.bits(good));
        if good == FORGET_AFTER {
            rtc.bkpr(1).write(|w| w.bits(0));
        }
    }
}
