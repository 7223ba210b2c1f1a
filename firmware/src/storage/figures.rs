//! Figures of 32 bits one after another, little end first: how the settings lie in their record.

/// Writes figures into a buffer.
pub(super) struct Writer<'a> {
    buffer: &'a mut [u8],
    written: usize,
    full: bool,
}

impl<'a> Writer<'a> {
    pub(super) const fn new(buffer: &'a mut [u8]) -> Writer<'a> {
        Writer { buffer, written: 0, full: false }
    }

    #[inline(never)]
    pub(super) fn put(&mut self, figure: u32) {
        let end = self.written.saturating_add(4);
        match self.buffer.get_mut(self.written..end) {
            Some(room) => {
                room.copy_from_slice(&figure.to_le_bytes());
                self.written = end;
            }
            None => self.full = true,
        }
    }

    /// What was written; `None` if the buffer was too short for it.
    pub(super) fn finish(self) -> Option<&'a [u8]> {
        if self.full { None } else { self.buffer.get(..self.written) }
    }
}

/// Reads figures out of a record.
pub(super) struct Reader<'a> {
    left: &'a [u8],
    short: bool,
}

impl<'a> Reader<'a> {
    pub(super) const fn new(left: &'a [u8]) -> Reader<'a> {
        Reader { left, short: false }
    }

    /// The next figure; zero past the end, and then the record is not [`Reader::whole`].
    #[inline(never)]
    pub(super) fn take(&mut self) -> u32 {
        match self.left.split_first_chunk() {
            Some((&figure, left)) => {
                self.left = left;
                u32::from_le_bytes(figure)
            }
            None => {
                self.short = true;
                0
            }
        }
    }

    /// A figure that is zero or one.
    pub(super) fn flag(&mut self) -> Option<bool> {
        match self.take() {
            0 => Some(false),
            1 => Some(true),
            _ => None,
        }
    }

    /// Whether the record held exactly what was taken.
    pub(super) const fn whole(&self) -> bool {
        !self.short && self.left.is_empty()
    }
}
