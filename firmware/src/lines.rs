//! The lines to the power side: which pin is high.
//!
//! [`Outputs`] names at most one element; this is the one place where it becomes pins. Every line is high for on, so a pin that is not
//! driven, and held low by its resistor, is off.

use copperhold_core::fast::Outputs;
use copperhold_core::vessel::Element;
use embedded_hal::digital::OutputPin;

/// Number of lines.
pub const LINES: usize = 6;

/// A line to the power side.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Line {
    /// Coil of the contactor, through its relay.
    Contactor,
    /// Solid-state relay of the liquor tank's element.
    TankElement,
    /// Solid-state relay of the boil kettle's element.
    KettleElement,
    /// Liquor pump.
    LiquorPump,
    /// Mash pump.
    MashPump,
    /// Wort pump.
    WortPump,
}

impl Line {
    /// Every line, in the order of the board's pins.
    pub const ALL: [Line; LINES] =
        [Line::Contactor, Line::TankElement, Line::KettleElement, Line::LiquorPump, Line::MashPump, Line::WortPump];

    /// Its bit in a word of levels.
    pub const fn bit(self) -> u8 {
        1 << self as u8
    }
}

/// How the contactor's line asks for its coil. The settings say which; it must suit what is wired between the two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Coil {
    /// High for on.
    #[default]
    Level,
    /// A square wave for on, one change per fast tick: 50 Hz. A retriggerable monostable or a charge pump makes a level of it, and lets go
    /// of the coil when the wave stops, high or low: a processor whose clock has died holds nothing.
    Pulses,
}

/// Which lines are on, one bit each. An element's line needs the contactor's.
pub fn levels(outputs: &Outputs) -> u8 {
    let on = |level: bool, line: Line| if level { line.bit() } else { 0 };
    let element = match outputs.element {
        Some(Element::LiquorTank) if outputs.contactor => Line::TankElement.bit(),
        Some(Element::BoilKettle) if outputs.contactor => Line::KettleElement.bit(),
        Some(Element::LiquorTank | Element::BoilKettle) | None => 0,
    };
    element
        | on(outputs.contactor, Line::Contactor)
        | on(outputs.pumps.liquor, Line::LiquorPump)
        | on(outputs.pumps.mash, Line::MashPump)
        | on(outputs.pumps.wort, Line::WortPump)
}

/// The levels themselves, or none if they name both elements. No value of [`Outputs`] does; a bit that flips in memory can make one that is
/// no value at all. The compiler knows the former only, and is kept from leaving the check out.
pub fn never_two(levels: u8) -> u8 {
    const BOTH: u8 = Line::TankElement.bit() | Line::KettleElement.bit();
    let levels = core::hint::black_box(levels);
    if levels & BOTH == BOTH { 0 } else { levels }
}

/// Where the lines are driven from. A chip that can drive them all with one write per direction does so; six pins will do.
pub trait LinePort {
    /// Drives every line: first those that go low, then those that go high, so that never two are on that should not be. One bit per line,
    /// as [`levels`] gives them.
    fn drive(&mut self, levels: u8);

    /// Whether a pad does not stand where it was driven to. A board that cannot read its own pads back says no.
    fn astray(&self) -> bool {
        false
    }
}

/// Six pins, in the order of [`Line::ALL`].
impl<P: OutputPin> LinePort for [P; LINES] {
    fn drive(&mut self, levels: u8) {
        for (pin, line) in self.iter_mut().zip(Line::ALL) {
            if levels & line.bit() == 0 {
                // A port of the chip itself cannot fail; one behind an expander must not be used for these lines.
                let _ = pin.set_low();
            }
        }
        for (pin, line) in self.iter_mut().zip(Line::ALL) {
            if levels & line.bit() != 0 {
                let _ = pin.set_high();
            }
        }
    }
}
