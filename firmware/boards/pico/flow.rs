//! Pulses of the flow meter at GP27, counted by a PWM slice: its channel B may be an input whose rising edges drive the counter (RP2040
//! datasheet 4.5.2.5). No interrupt, no cycle of the processor. The pin is the mash's thermistor's otherwise.

use crate::hal::pac;

/// GP27 is input B of this slice (datasheet table 515).
const SLICE: usize = 5;
const PIN: usize = 27;
/// Function "PWM" of the pin (datasheet table 2).
const FUNCTION: u8 = 4;

/// Starts counting: the pin with its pull-up, for a meter that only pulls down.
pub fn start(resets: &mut pac::RESETS) {
    resets.reset().modify(|_, w| w.pwm().clear_bit());
    while resets.reset_done().read().pwm().bit_is_clear() {}
    // SAFETY: nothing else uses the PWM, and the converter's owner leaves this pin alone while a meter is fitted. Any divider of one and
    // any top is allowed; those after a reset are one and 65535.
    unsafe {
        (*pac::PADS_BANK0::PTR).gpio(PIN).write(|w| w.ie().set_bit().pue().set_bit().schmitt().set_bit());
        (*pac::IO_BANK0::PTR).gpio(PIN).gpio_ctrl().write(|w| w.funcsel().bits(FUNCTION));
        (*pac::PWM::PTR).ch(SLICE).csr().write(|w| w.divmode().rise().en().set_bit());
    }
}

/// Pulses so far, modulo 2^16.
pub fn pulses() -> u16 {
    // SAFETY: reading changes nothing. While the PWM is held in reset it reads zero.
    unsafe { (*pac::PWM::PTR).ch(SLICE).ctr().read().ctr().bits() }
}
