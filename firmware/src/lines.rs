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

    /// Whether the line is on.
    pub fn level(self, outputs: &Outputs) -> bool {
        match self {
            Line::Contactor => outputs.contactor,
            Line::TankElement => outputs.contactor && outputs.element == Some(Element::LiquorTank),
            Line::KettleElement => outputs.contactor && outputs.element == Some(Element::BoilKettle),
            Line::LiquorPump => outputs.pumps.liquor,
            Line::MashPump => outputs.pumps.mash,
            Line::WortPump => outputs.pumps.wort,
        }
    }
}

/// The pins behind the lines.
#[derive(Debug)]
pub struct LinePins<P> {
    pins: [P; LINES],
}

impl<P: OutputPin> LinePins<P> {
    /// `pins` in the order of [`Line::ALL`]. All are driven low.
    pub fn new(pins: [P; LINES]) -> LinePins<P> {
        let mut lines = LinePins { pins };
        lines.all_low();
        lines
    }

    /// Drives every line: first those that go low, then those that go high, so that never two are on that should not be.
    pub fn set(&mut self, outputs: &Outputs) {
        // A bit per line, the first lowest; shifted along with the pins, because this runs in every fast tick.
        let levels = Line::ALL.iter().rev().fold(0_u8, |bits, line| bits << 1 | u8::from(line.level(outputs)));
        let mut bits = levels;
        for pin in &mut self.pins {
            if bits & 1 == 0 {
                // A port of the chip itself cannot fail; one behind an expander must not be used for these lines.
                let _ = pin.set_low();
            }
            bits >>= 1;
        }
        let mut bits = levels;
        for pin in &mut self.pins {
            if bits == 0 {
                break;
            }
            if bits & 1 == 1 {
                let _ = pin.set_high();
            }
            bits >>= 1;
        }
    }

    /// Everything off, at once.
    pub fn all_low(&mut self) {
        for pin in &mut self.pins {
            let _ = pin.set_low();
        }
    }
}
