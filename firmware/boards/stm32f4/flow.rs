//! Pulses of the flow meter at PA3, counted by timer 9: its second input may be the counter's clock ("external clock mode 1", RM0090 19.3.3).
//! No interrupt, no cycle of the processor.

use crate::hal::pac;
use crate::hal::rcc::Rcc;
use crate::pins::Flow;

/// Alternate function of the pin (datasheet, table 9): input 2 of timer 9.
const FUNCTION: u8 = 3;
/// What clocks the counter.
const FILTERED_INPUT_2: u8 = 0b110;
/// Levels shorter than eight samples at a 32nd of a quarter of 48 MHz, 21 us, are noise.
const FILTER: u8 = 0b1111;

/// Starts counting: the pin with its pull-up, for a meter that only pulls down.
pub fn start(timer: &pac::TIM9, pin: Flow, rcc: &mut Rcc) {
    let _ = pin.into_alternate::<FUNCTION>().internal_pull_up(true);
    rcc.apb2enr().modify(|_, w| w.tim9en().set_bit());
    timer.ccmr1_input().write(|w| w.cc2s().ti2().ic2f().set(FILTER));
    // SAFETY: three bits, one of the sources there are. It may be changed only while nothing uses it, so the mode comes after.
    timer.smcr().write(|w| unsafe { w.ts().bits(FILTERED_INPUT_2) });
    // SAFETY: the same.
    timer.smcr().write(|w| unsafe { w.ts().bits(FILTERED_INPUT_2).sms().ext_clock_mode() });
    timer.arr().write(|w| w.arr().set(u16::MAX));
    timer.cr1().write(|w| w.ckd().div4().cen().enabled());
}

/// Pulses so far, modulo 2^16. A timer that was never started reads zero.
pub fn pulses(timer: &pac::TIM9) -> u16 {
    timer.cnt().read().cnt().bits()
}
