//! The page's colours, for light and for dark surroundings.
//!
//! Three hues tell the vessels apart (blue, ochre, plum). They differ in lightness too, so that they stay apart for every common kind
//! of colour vision, and each curve also carries its vessel's name. Everything that is text reaches a contrast of 4.5 to 1 on
//! [`Palette::paper`] and on [`Palette::band`].

use std::fmt::Write;

use copperhold_core::vessel::Vessel;

/// An sRGB colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Colour(pub u8, pub u8, pub u8);

impl Colour {
    /// As CSS writes it: `#1c2326`.
    pub fn hex(self) -> String {
        format!("#{:02x}{:02x}{:02x}", self.0, self.1, self.2)
    }
}

/// One set of colours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Palette {
    /// Background.
    pub paper: Colour,
    /// Background of every second step.
    pub band: Colour,
    /// Thin lines of tables and grids. Carries no text.
    pub rule: Colour,
    /// Text.
    pub ink: Colour,
    /// Text of less weight.
    pub quiet: Colour,
    /// The liquor tank.
    pub liquor_tank: Colour,
    /// The mash tun.
    pub mash_tun: Colour,
    /// The boil kettle.
    pub boil_kettle: Colour,
    /// Trips.
    pub trip: Colour,
}

/// For light surroundings and for print.
pub const LIGHT: Palette = Palette {
    paper: Colour(0xfc, 0xfd, 0xfd),
    band: Colour(0xf0, 0xf3, 0xf3),
    rule: Colour(0xd3, 0xda, 0xda),
    ink: Colour(0x1b, 0x23, 0x25),
    quiet: Colour(0x52, 0x5e, 0x61),
    liquor_tank: Colour(0x0a, 0x57, 0xc2),
    mash_tun: Colour(0x83, 0x62, 0x21),
    boil_kettle: Colour(0x9b, 0x08, 0x5e),
    trip: Colour(0xb3, 0x20, 0x1a),
};

/// For dark surroundings.
pub const DARK: Palette = Palette {
    paper: Colour(0x13, 0x18, 0x1a),
    band: Colour(0x1c, 0x23, 0x26),
    rule: Colour(0x36, 0x41, 0x45),
    ink: Colour(0xe3, 0xe9, 0xea),
    quiet: Colour(0xa3, 0xaf, 0xb3),
    liquor_tank: Colour(0x5a, 0x99, 0xf2),
    mash_tun: Colour(0xf7, 0xd5, 0xa1),
    boil_kettle: Colour(0xd7, 0x75, 0x9e),
    trip: Colour(0xff, 0x91, 0x87),
};

impl Palette {
    /// Every colour that text is set in.
    pub fn text_colours(&self) -> [Colour; 6] {
        [self.ink, self.quiet, self.liquor_tank, self.mash_tun, self.boil_kettle, self.trip]
    }

    /// The hue of a vessel.
    pub fn vessel(&self, vessel: Vessel) -> Colour {
        match vessel {
            Vessel::LiquorTank => self.liquor_tank,
            Vessel::MashTun => self.mash_tun,
            Vessel::BoilKettle => self.boil_kettle,
        }
    }

    /// The colours as CSS custom properties.
    pub(crate) fn properties(&self) -> String {
        let mut css = String::new();
        let named = [
            ("paper", self.paper),
            ("band", self.band),
            ("rule", self.rule),
            ("ink", self.ink),
            ("quiet", self.quiet),
            ("trip", self.trip),
        ];
        let vessels = Vessel::ALL.map(|vessel| (vessel.key(), self.vessel(vessel)));
        for (name, colour) in named.into_iter().chain(vessels) {
            let _ = write!(css, "--{name}:{};", colour.hex());
        }
        css
    }
}
