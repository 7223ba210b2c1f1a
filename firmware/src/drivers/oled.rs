//! OLED of 128x64 pixels over I2C: SSD1306 and SH1106 (Solomon Systech and Sino Wealth datasheets), which users mix up all the time.
//!
//! Both are driven by pages, with commands that they share. They differ in the first visible column and in how the supply of the panel is
//! switched on. Pixels are drawn into memory; [`Oled::flush_some`] sends what has changed, a little at a time, so that no call blocks for
//! more than about a millisecond at 400 kHz.

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
///
/// A screen is drawn in two passes: the first only sums up what would be drawn on each page, the second draws the pages whose sum has
/// changed. A clock that moves on costs one line of text, not a screen.
#[derive(Debug, Clone, PartialEq, Eq)]
// Small fields first: what lies far from the start takes more instructions to reach.
#[repr(C)]
pub struct Canvas {
    pass: Pass,
    /// What is being drawn, page by page, and what was drawn before.
    sums: [u32; PAGES],
    drawn: [u32; PAGES],
    pages: [[u8; WIDTH]; PAGES],
}

/// What drawing does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Pass {
    /// Sums up.
    Sum,
    /// Draws on these pages, one bit each.
    Draw(u8),
}

impl Default for Canvas {
    fn default() -> Canvas {
        Canvas::new()
    }
}

impl Canvas {
    /// All dark.
    pub const fn new() -> Canvas {
        Canvas { pages: [[0; WIDTH]; PAGES], sums: [0; PAGES], drawn: [0; PAGES], pass: Pass::Draw(0xFF) }
    }

    /// Begins the first pass.
    pub const fn begin(&mut self) {
        self.sums = [1; PAGES];
        self.pass = Pass::Sum;
    }

    /// Begins the second pass: changed pages are dark, the others stay. False if nothing has changed.
    pub fn begin_drawing(&mut self) -> bool {
        let mut changed = 0_u8;
        for (at, page) in self.pages.iter_mut().enumerate() {
            if self.sums.get(at) != self.drawn.get(at) {
                changed |= 1 << at;
                *page = [0; WIDTH];
            }
        }
        self.drawn = self.sums;
        self.pass = Pass::Draw(changed);
        changed != 0
    }

    /// Something is about to be drawn from column `x` and row `y` on, `height` rows, lit or dark, described by `what`. True if it has to be
    /// drawn.
    pub fn wants(&mut self, x: i32, y: i32, height: u32, lit: bool, what: &[u8]) -> bool {
        let touched = rows(y, height);
        match self.pass {
            Pass::Draw(pages) => (0..PAGES).zip(touched).any(|(at, rows)| pages >> at & 1 == 1 && rows != 0),
            Pass::Sum => {
                // FNV-1a, over the place and the description.
                let mut sum = 0x811C_9DC5;
                let mut add = |part: u32| sum = (sum ^ part).wrapping_mul(0x0100_0193);
                add(x.cast_unsigned());
                add(y.cast_unsigned());
                add(u32::from(lit));
                what.iter().for_each(|&byte| add(u32::from(byte)));
                for (total, rows) in self.sums.iter_mut().zip(touched) {
                    if rows != 0 {
                        *total = total.rotate_left(5) ^ sum;
                    }
                }
                false
            }
        }
    }

    fn draws_on(&self, page: usize) -> bool {
        match self.pass {
            Pass::Draw(pages) => pages >> (page & 7) & 1 == 1,
            Pass::Sum => false,
        }
    }

    /// Lights a pixel, or not, if its page is to be drawn; outside, nothing is.
    pub fn put(&mut self, x: i32, y: i32, lit: bool) {
        let (Ok(x), Ok(y)) = (usize::try_from(x), usize::try_from(y)) else { return };
        if !self.draws_on(y / 8) {
            return;
        }
        if let Some(byte) = self.pages.get_mut(y / 8).and_then(|page| page.get_mut(x)) {
            let mask = 1 << (y % 8);
            *byte = if lit { *byte | mask } else { *byte & !mask };
        }
    }

    /// Lights a rectangle, or not, on the pages that are to be drawn; outside, nothing is.
    pub fn fill(&mut self, x: i32, y: i32, width: u32, height: u32, lit: bool) {
        let Pass::Draw(drawn) = self.pass else { return };
        for (at, (page, mask)) in self.pages.iter_mut().zip(rows(y, height)).enumerate() {
            if drawn >> at & 1 == 1 && mask != 0 {
                for byte in page.iter_mut().skip(x.cast_unsigned() as usize).take(width as usize) {
                    *byte = if lit { *byte | mask } else { *byte & !mask };
                }
            }
        }
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

/// Rows of the canvas from `y` on as bits, page by page.
fn rows(y: i32, height: u32) -> [u8; PAGES] {
    let rows = u64::MAX.checked_shr(64_u32.saturating_sub(height)).unwrap_or(0);
    rows.checked_shl(y.cast_unsigned()).unwrap_or(0).to_le_bytes()
}

/// A display on a bus.
#[derive(Debug)]
// Small fields first: what lies far from the start takes more instructions to reach.
#[repr(C)]
pub struct Oled<I> {
    i2c: I,
    page: usize,
    chip: Chip,
    ready: bool,
    /// Turns to wait before a display that did not answer is tried again.
    rest: u8,
    /// The canvas may differ from what was sent.
    changed: bool,
    /// What to show.
    pub canvas: Canvas,
    sent: [[u8; WIDTH]; PAGES],
}

const ADDRESS: u8 = 0x3C;
/// Turns between two tries: 1 s at 100 Hz.
const REST: u8 = 100;

impl<I: I2c> Oled<I> {
    /// A display at address 3Ch. Nothing is sent yet.
    pub const fn new(i2c: I, chip: Chip) -> Oled<I> {
        Oled { i2c, chip, canvas: Canvas::new(), sent: [[0; WIDTH]; PAGES], ready: false, rest: 0, page: 0, changed: true }
    }

    /// The canvas has been drawn on.
    pub const fn touch(&mut self) {
        self.changed = true;
    }

    /// Whether the display answered last time.
    pub const fn is_ready(&self) -> bool {
        self.ready
    }

    /// Sends one run of what has changed. Returns true if there was something to send. A display that does not answer is tried again
    /// after a while; nothing waits for it.
    #[inline(never)]
    pub fn flush_some(&mut self) -> bool {
        if self.rest > 0 {
            self.rest -= 1;
            return false;
        }
        if !self.changed {
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
        for (page, wanted) in self.sent.iter_mut().zip(&self.canvas.pages) {
            for (byte, wanted) in page.iter_mut().zip(wanted) {
                *byte = !wanted;
            }
        }
        Ok(())
    }

    fn send_run(&mut self) -> Result<bool, I::Error> {
        for turn in 0..PAGES {
            let at = (self.page + turn) % PAGES;
            let (Some(wanted), Some(sent)) = (self.canvas.pages.get(at), self.sent.get_mut(at)) else { continue };
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
        self.changed = false;
        Ok(false)
    }
}
