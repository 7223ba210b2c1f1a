//! Eight-line I2C expander PCF8574 (NXP datasheet) at address 20h, for what is not needed for safety: selector, buzzer, lamps.
//!
//! Its lines are quasi-bidirectional: written high they are inputs with a weak pull-up, and anything may pull them low. Everything here is
//! active low.

use embedded_hal::i2c::I2c;

const ADDRESS: u8 = 0x20;
/// Inputs: P0 selector to the tank, P1 selector to the kettle, P2 and P3 spare.
const INPUTS: u8 = 0b0000_1111;

/// What it shows and sounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Signals {
    /// P4: buzzer.
    pub buzzer: bool,
    /// P5: lamp, armed.
    pub armed: bool,
    /// P6: lamp, an element holds the grant.
    pub heat: bool,
    /// P7: lamp, a trip is latched.
    pub trip: bool,
}

/// The selector's contacts, true when closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct SelectorContacts {
    /// Turned to the liquor tank.
    pub tank: bool,
    /// Turned to the boil kettle.
    pub kettle: bool,
}

/// Whether the expander is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Presence {
    /// Never answered since the start: not fitted.
    NotFitted,
    /// Answers.
    Present(SelectorContacts),
    /// Answered before and does not now: what the selector says is unknown.
    Lost,
}

/// The expander.
#[derive(Debug)]
pub struct Expander<I> {
    i2c: I,
    seen: bool,
}

impl<I: I2c> Expander<I> {
    /// Nothing is sent yet.
    pub const fn new(i2c: I) -> Expander<I> {
        Expander { i2c, seen: false }
    }

    /// Sets the signals and reads the selector.
    pub fn exchange(&mut self, signals: Signals) -> Presence {
        let lit = (u8::from(signals.buzzer) << 4)
            | (u8::from(signals.armed) << 5)
            | (u8::from(signals.heat) << 6)
            | (u8::from(signals.trip) << 7);
        let mut lines = [0];
        match self.i2c.write_read(ADDRESS, &[!lit | INPUTS], &mut lines) {
            Ok(()) => {
                self.seen = true;
                let [lines] = lines;
                Presence::Present(SelectorContacts { tank: lines & 1 == 0, kettle: lines & 2 == 0 })
            }
            Err(_) if self.seen => Presence::Lost,
            Err(_) => Presence::NotFitted,
        }
    }
}
