//! The one-wire bus at bit level (Maxim application note 126): one open-drain pin and a delay.
//!
//! Only the first microseconds of a slot decide it, and only those are kept free of interrupts, 12 us at most: the stop loop never waits
//! longer. The rest of a slot may stretch.

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};

/// A bus: the pin's low drives the line, its high lets it go.
#[derive(Debug)]
pub struct OneWire<P, D> {
    pin: P,
    delay: D,
}

/// What answered a reset.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Presence {
    /// At least one device.
    Present,
    /// The line stayed high.
    Absent,
    /// The line is low and nobody here drives it: bridged.
    HeldLow,
}

impl<P: OutputPin + InputPin, D: DelayNs> OneWire<P, D> {
    /// Lets the line go.
    pub fn new(mut pin: P, delay: D) -> OneWire<P, D> {
        release(&mut pin);
        OneWire { pin, delay }
    }

    /// Resets every device and listens for an answer.
    pub fn reset(&mut self) -> Presence {
        if is_low(&mut self.pin) {
            return Presence::HeldLow;
        }
        drive(&mut self.pin);
        self.delay.delay_us(480);
        // Devices answer between 15 and 60 us after the rise, for 60 us at least: a late look at 70 still sees them.
        let present = critical_section::with(|_| {
            release(&mut self.pin);
            self.delay.delay_us(8);
            !is_low(&mut self.pin)
        });
        if !present {
            self.delay.delay_us(480);
            return if is_low(&mut self.pin) { Presence::HeldLow } else { Presence::Absent };
        }
        self.delay.delay_us(62);
        let answered = is_low(&mut self.pin);
        self.delay.delay_us(410);
        if is_low(&mut self.pin) {
            return Presence::HeldLow;
        }
        if answered { Presence::Present } else { Presence::Absent }
    }

    /// Sends bytes, lowest bit first.
    pub fn write(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            for bit in 0..8 {
                self.write_bit(byte >> bit & 1 == 1);
            }
        }
    }

    /// Reads a byte, lowest bit first.
    pub fn read(&mut self) -> u8 {
        let mut byte = 0;
        for bit in 0..8 {
            byte |= u8::from(self.read_bit()) << bit;
        }
        byte
    }

    /// Sends a bit.
    pub fn write_bit(&mut self, one: bool) {
        if one {
            critical_section::with(|_| {
                drive(&mut self.pin);
                self.delay.delay_us(5);
                release(&mut self.pin);
            });
            self.delay.delay_us(60);
        } else {
            // 60 to 120 us low; an interrupt in between lengthens it by less than the rest.
            drive(&mut self.pin);
            self.delay.delay_us(65);
            release(&mut self.pin);
            self.delay.delay_us(5);
        }
    }

    /// Reads a bit.
    pub fn read_bit(&mut self) -> bool {
        let one = critical_section::with(|_| {
            drive(&mut self.pin);
            self.delay.delay_us(3);
            release(&mut self.pin);
            self.delay.delay_us(8);
            !is_low(&mut self.pin)
        });
        self.delay.delay_us(54);
        one
    }
}

fn drive(pin: &mut impl OutputPin) {
    // A port of the chip itself cannot fail; if it did, the check byte would tell.
    let _ = pin.set_low();
}

fn release(pin: &mut impl OutputPin) {
    let _ = pin.set_high();
}

/// A pin that cannot be read counts as low, which no healthy bus is for long.
fn is_low(pin: &mut impl InputPin) -> bool {
    pin.is_low().unwrap_or(true)
}
