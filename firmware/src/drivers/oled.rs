//! OLED of 128x64 pixels over I2C: SSD1306 and SH1106 (Solomon Systech and Sino Wealth datasheets), which users mix up all the time.
//!
//! Both are driven by pages, with commands that they share. They differ in the first visible column and in how the supply of the panel is
//! switched on. Pixels are drawn into memory; [`Oled::flush_some`] sends what has changed, a little at a time, so that no call blocks for
//! more than about a millisecond at 400 kHz.

use core::convert::Infallible;
use embedded_graphics::Pixel;
use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::geometry::{OriginDimensions, Size};
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_hal::i2c::I2c;

/// Columns.
pub const WIDTH: usize = 128;
/// Pages of eight rows.
pub const PAGES: usize = 8;
/// Most pixels' columns sent at once.
const SLICE: usize = 32;

/// Which controller sits behind the glass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Chip {
    /// SSD1306, as on most 0.96 inch modules.
    #[default]
    Ssd1306,
    /// SH1106, as on most 1.3 inch modules: its memory is 132 columns wide, two of them hidden on the left.
    Sh1106,
}

/// One bit per pixel; a byte is eight rows of one column, top row lowest.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Canvas {
    pages: [[u8; WIDTH]; PAGES],
}

impl Default for Canvas {
    fn default() -> Canvas {
        Canvas::new()
    }
}

impl Canvas {
    /// All dark.
    pub const fn new() -> Canvas {
        Canvas { pages: [[0; WIDTH]; PAGES] }
    }

    /// All dark again.
    pub fn clear_all(&mut self) {
        self.pages = [[0; WIDTH]; PAGES];
    }

    /// Whether a pixel is lit; outside, none is.
    pub fn is_lit(&self, x: usize, y: usize) -> bool {
        self.pages.get(y / 8).and_then(|page| page.get(x)).is_some_and(|byte| byte >> (y % 8) & 1 == 1)
    }

    /// The bytes, page by page.
    pub const fn pages(&self) -> &[[u8; WIDTH]; PAGES] {
        &self.pages
    }
}

impl OriginDimensions for Canvas {
    fn size(&self) -> Size {
        Size::new(128, 64)
    }
}

impl DrawTarget for Canvas {
    type Color = BinaryColor;
    type Error = Infallible;

    fn draw_iter<I: IntoIterator<Item = Pixel<BinaryColor>>>(&mut self, pixels: I) -> Result<(), Infallible> {
        for Pixel(point, color) in pixels {
            let (Ok(x), Ok(y)) = (usize::try_from(point.x), usize::try_from(point.y)) else { continue };
            if let Some(byte) = self.pages.get_mut(y / 8).and_then(|page| page.get_mut(x)) {
                let mask = 1 << (y % 8);
                if color.is_on() {
                    *byte |= mask;
                } else {
                    *byte &= !mask;
                }
            }
        }
        Ok(())
    }
}

/// A display on a bus.
#[derive(Debug)]
pub struct Oled<I> {
    i2c: I,
    chip: Chip,
    /// What to show.
    pub canvas: Canvas,
    sent: Canvas,
    ready: bool,
    /// Turns to wait before a display that did not answer is tried again.
    rest: u8,
    page: usize,
}

const ADDRESS: u8 = 0x3C;
/// Turns between two tries: 1 s at 100 Hz.
const REST: u8 = 100;

impl<I: I2c> Oled<I> {
    /// A display at address 3Ch. Nothing is sent yet.
    pub const fn new(i2c: I, chip: Chip) -> Oled<I> {
        Oled { i2c, chip, canvas: Canvas::new(), sent: Canvas::new(), ready: false, rest: 0, page: 0 }
    }

    /// Whether the display answered last time.
    pub const fn is_ready(&self) -> bool {
        self.ready
    }

    /// Sends one run of what has changed. Returns true if there was something to send. A display that does not answer is tried again
    /// after a while; nothing waits for it.
    pub fn flush_some(&mut self) -> bool {
        if self.rest > 0 {
            self.rest -= 1;
            return false;
        }
        let result = if self.ready { self.send_run() } else { self.set_up().map(|()| true) };
        if result.is_err() {
            self.ready = false;
            self.rest = REST;
        }
        result.unwrap_or(false)
    }

    fn set_up(&mut self) -> Result<(), I::Error> {
        // Off; clock; 64 rows; no offset; first line 0; columns and rows as the glass is mounted; contrast; from memory; not inverted.
        let shared = [0x00, 0xAE, 0xD5, 0x80, 0xA8, 0x3F, 0xD3, 0x00, 0x40, 0xA1, 0xC8, 0xDA, 0x12, 0x81, 0x8F, 0xA4, 0xA6];
        self.i2c.write(ADDRESS, &shared)?;
        match self.chip {
            // By pages; charge pump on.
            Chip::Ssd1306 => self.i2c.write(ADDRESS, &[0x00, 0x20, 0x02, 0x8D, 0x14])?,
            // Converter on.
            Chip::Sh1106 => self.i2c.write(ADDRESS, &[0x00, 0xAD, 0x8B])?,
        }
        self.i2c.write(ADDRESS, &[0x00, 0xAF])?;
        self.ready = true;
        // Its memory holds noise: everything counts as changed.
        for (page, wanted) in self.sent.pages.iter_mut().zip(&self.canvas.pages) {
            for (byte, wanted) in page.iter_mut().zip(wanted) {
                *byte = !wanted;
            }
        }
        Ok(())
    }

    fn send_run(&mut self) -> Result<bool, I::Error> {
        for turn in 0..PAGES {
            let at = (self.page + turn) % PAGES;
            let (Some(wanted), Some(sent)) = (self.canvas.pages.get(at), self.sent.pages.get_mut(at)) else { continue };
            let Some(first) = wanted.iter().zip(sent.iter()).position(|(wanted, sent)| wanted != sent) else { continue };
            let mut data = [0x40; 1 + SLICE];
            let mut length = 0;
            let run = wanted.iter().zip(sent.iter_mut()).skip(first).take(SLICE);
            for ((wanted, sent), slot) in run.zip(data.iter_mut().skip(1)) {
                *slot = *wanted;
                *sent = *wanted;
                length += 1;
            }
            self.page = at;
            let offset = match self.chip {
                Chip::Ssd1306 => 0,
                Chip::Sh1106 => 2,
            };
            let column = u8::try_from(first + offset).unwrap_or(0);
            let page = u8::try_from(at).unwrap_or(0);
            self.i2c.write(ADDRESS, &[0x00, 0xB0 | page, column & 0x0F, 0x10 | (column >> 4)])?;
            self.i2c.write(ADDRESS, data.get(..=length).unwrap_or(&data))?;
            return Ok(true);
        }
        Ok(false)
    }
}
