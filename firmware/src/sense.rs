//! Sense lines: what the rig tells about its own power side, each line where the settings say that it is fitted.
//!
//! They hang on a second expander (PCF8574, NXP datasheet) at address 21h and are read once per control tick, just before the decision. Each
//! is a contact to ground that is closed while all is as its name says, so a broken wire and a silent expander read as "open", "no
//! current", "not covered": the guard then trips or holds, and never believes that all is well.

use copperhold_core::guard::sense::Sense;
use copperhold_core::vessel::{Element, PerElement};
use embedded_hal::i2c::I2c;

const ADDRESS: u8 = 0x21;

/// A line that a rig may have.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Line {
    /// P0: the contactor's auxiliary contact, closed while the contactor is.
    Contactor,
    /// P1, P2: a current switch on the element's wire, closed while current flows.
    Current(Element),
    /// P3, P4: a level switch, closed while the liquid covers the element.
    Level(Element),
}

impl Line {
    /// Every line, in the order of the expander's pins.
    pub const ALL: [Line; 5] = [
        Line::Contactor,
        Line::Current(Element::LiquorTank),
        Line::Current(Element::BoilKettle),
        Line::Level(Element::LiquorTank),
        Line::Level(Element::BoilKettle),
    ];

    /// Its bit on the expander, and in the settings.
    pub const fn bit(self) -> u8 {
        match self {
            Line::Contactor => 1,
            Line::Current(Element::LiquorTank) => 2,
            Line::Current(Element::BoilKettle) => 4,
            Line::Level(Element::LiquorTank) => 8,
            Line::Level(Element::BoilKettle) => 16,
        }
    }
}

/// Which lines the rig has; none by default.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Fitted(u8);

impl Fitted {
    /// From stored bits; `None` if one names no line.
    pub fn from_bits(bits: u8) -> Option<Fitted> {
        let known = Line::ALL.iter().fold(0, |all, line| all | line.bit());
        (bits & !known == 0).then_some(Fitted(bits))
    }

    /// To be stored.
    pub const fn bits(self) -> u8 {
        self.0
    }

    /// Whether the rig has this line.
    pub const fn has(self, line: Line) -> bool {
        self.0 & line.bit() != 0
    }

    /// Says that the rig has this line, or has it not.
    pub const fn set(&mut self, line: Line, fitted: bool) {
        self.0 = if fitted { self.0 | line.bit() } else { self.0 & !line.bit() };
    }
}

/// What a line says; `None` without that line.
pub const fn state(sense: &Sense, line: Line) -> Option<bool> {
    match line {
        Line::Contactor => sense.contactor,
        Line::Current(Element::LiquorTank) => sense.current.liquor_tank,
        Line::Current(Element::BoilKettle) => sense.current.boil_kettle,
        Line::Level(Element::LiquorTank) => sense.covered.liquor_tank,
        Line::Level(Element::BoilKettle) => sense.covered.boil_kettle,
    }
}

/// The lines on their expander.
#[derive(Debug)]
pub struct SenseLines<I> {
    i2c: I,
    fitted: Fitted,
    lost: bool,
}

impl<I: I2c> SenseLines<I> {
    /// With the lines that are fitted. Without any, the expander is never asked.
    pub const fn new(i2c: I, fitted: Fitted) -> SenseLines<I> {
        SenseLines { i2c, fitted, lost: false }
    }

    /// What the lines say now.
    pub fn read(&mut self) -> Sense {
        if self.fitted == Fitted::default() {
            return Sense::NONE;
        }
        let mut pins = [u8::MAX];
        // Written high, its pins are inputs; said each time, because a dip of its supply forgets it.
        self.lost = self.i2c.write_read(ADDRESS, &[u8::MAX], &mut pins).is_err();
        let closed = if self.lost { 0 } else { !pins[0] };
        let line = |line: Line| self.fitted.has(line).then_some(closed & line.bit() != 0);
        Sense {
            contactor: line(Line::Contactor),
            current: PerElement::build(|element| line(Line::Current(element))),
            covered: PerElement::build(|element| line(Line::Level(element))),
            flow: None,
        }
    }

    /// The expander did not answer the last time: what the lines say is unknown, and no element may be granted.
    pub const fn lost(&self) -> bool {
        self.lost
    }
}
