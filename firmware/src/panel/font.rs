//! The panel's fonts: pictures of ASCII, glyph beside glyph.

use embedded_graphics::image::{GetPixel, ImageRaw};
use embedded_graphics::mono_font::ascii;
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::Point;

/// A font.
pub struct Font {
    picture: ImageRaw<'static, BinaryColor>,
    /// The first glyph's character.
    first: u8,
    /// Glyphs in a row of the picture, and in all of it.
    columns: u8,
    count: u8,
    /// Shown for a character that has no glyph.
    unknown: u8,
    /// Columns of a glyph.
    pub width: u8,
    /// Rows of a glyph.
    pub height: u8,
}

impl Font {
    /// Where a character's glyph begins in the picture.
    #[inline(never)]
    pub fn glyph(&self, character: u8) -> Point {
        let at = character.wrapping_sub(self.first);
        let at = if at < self.count { at } else { self.unknown.wrapping_sub(self.first) };
        let (row, column) = (at / self.columns.max(1), at % self.columns.max(1));
        Point::new(i32::from(column) * i32::from(self.width), i32::from(row) * i32::from(self.height))
    }

    /// Whether there is ink at a point of the picture.
    pub fn ink(&self, at: Point) -> bool {
        self.picture.pixel(at) == Some(BinaryColor::On)
    }
}

/// For texts: the library's 6x10.
pub static SMALL: Font =
    Font { picture: ascii::FONT_6X10.image, first: b' ', columns: 16, count: 95, unknown: b'?', width: 6, height: 10 };

/// For temperatures, to be read from afar: of the library's 9x15 bold what a figure is made of. All of it would take six times as much.
pub static LARGE: Font = Font {
    picture: ImageRaw::new(&packed(FIGURES), 117),
    first: b'-',
    columns: 13,
    count: 13,
    unknown: b'-',
    width: 9,
    height: 15,
};

/// From `-` to `9`.
const FIGURES: [&str; 15] = [
    "                                                                                                                     ",
    "                                                                                                                     ",
    "                        ##    ##       ##      ####    #####        ##  #######    ####   ########   ####     ####   ",
    "                       ##    ####     ###     ##  ##  ##   ##      ###  ##        ##  ##        ##  ##  ##   ##  ##  ",
    "                       ##   ##  ##   ####    ##    ##       ##    ####  ##       ##    #        ## ##    ## ##    ## ",
    "                      ##   ##    ##    ##          ##      ##    ## ##  ## ###   ##            ##   ##  ##  ##    ## ",
    "                     ##    ##    ##    ##         ##     ###    ##  ##  ###  ##  ## ###       ##     ####    ##  ### ",
    "########             ##    ##    ##    ##        ##        ##  ##   ##        ## ###  ##      ##    ##  ##    ### ## ",
    "                    ##     ##    ##    ##       ##          ## ########       ## ##    ##    ##    ##    ##       ## ",
    "                   ##       ##  ##     ##      ##           ##      ##  ##    ## ##    ##    ##    ##    ##  #    ## ",
    "            ##     ##        ####      ##     ##      ##   ##       ##   ##  ##   ##  ##     ##     ##  ##   ##  ##  ",
    "           ####   ##          ##     ######  ########  #####        ##    ####     ####      ##      ####     ####   ",
    "            ##                                                                                                       ",
    "                                                                                                                     ",
    "                                                                                                                     ",
];

/// Eight columns to a byte, as a picture has them.
const fn packed(rows: [&str; 15]) -> [u8; 15 * 15] {
    let mut bytes = [0; 15 * 15];
    let mut y = 0;
    while y < rows.len() {
        let dots = rows[y].as_bytes();
        let mut x = 0;
        while x < dots.len() {
            if dots[x] == b'#' {
                bytes[y * 15 + x / 8] |= 0x80 >> (x % 8);
            }
            x += 1;
        }
        y += 1;
    }
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_graphics::mono_font::MonoFont;
    use embedded_graphics::prelude::*;
    use embedded_graphics::primitives::Rectangle;

    /// Every glyph of `ours`, dot by dot, beside the library's.
    fn compare(ours: &Font, library: &MonoFont<'_>) {
        let size = library.character_size;
        assert_eq!((u32::from(ours.width), u32::from(ours.height)), (size.width, size.height));
        let columns = library.image.size().width / size.width;
        for character in ours.first..ours.first + ours.count {
            let at = u32::from(character - b' ');
            let theirs = Point::new((at % columns * size.width) as i32, (at / columns * size.height) as i32);
            for at in Rectangle::new(Point::zero(), size).points() {
                let lit = library.image.pixel(theirs + at) == Some(BinaryColor::On);
                assert_eq!(ours.ink(ours.glyph(character) + at), lit, "{:?} at {at}", char::from(character));
            }
        }
    }

    #[test]
    fn glyphs_are_the_librarys() {
        compare(&SMALL, &ascii::FONT_6X10);
        compare(&LARGE, &ascii::FONT_9X15_BOLD);
    }

    #[test]
    fn a_character_without_a_glyph_is_seen() {
        assert_eq!(SMALL.glyph(0xC3), SMALL.glyph(b'?'));
        assert_eq!(LARGE.glyph(b'x'), LARGE.glyph(b'-'));
    }
}
