//! Figures of 32 bits one after another, little end first: how the settings lie in their record.

/// A record that is being read, or written.
pub(super) enum Bytes<'a> {
    Read(&'a [u8]),
    Write(&'a mut [u8]),
}

/// A pass over the figures of a record. The same list of figures does for both ways, so that they cannot differ.
pub(super) struct Pass<'a> {
    bytes: Bytes<'a>,
    at: usize,
    short: bool,
}

impl<'a> Pass<'a> {
    pub(super) const fn new(bytes: Bytes<'a>) -> Pass<'a> {
        Pass { bytes, at: 0, short: false }
    }

    /// Writes a figure, and gives it back; or gives the one that is read in its place. Past the end it is zero, and the pass was not
    /// [`Pass::whole`].
    #[inline(never)]
    pub(super) fn figure(&mut self, figure: u32) -> u32 {
        let end = self.at.saturating_add(4);
        let place = self.at..end;
        let found = match &mut self.bytes {
            Bytes::Read(bytes) => bytes.get(place).and_then(|bytes| Some(u32::from_le_bytes(bytes.try_into().ok()?))),
            Bytes::Write(bytes) => bytes.get_mut(place).map(|bytes| {
                bytes.copy_from_slice(&figure.to_le_bytes());
                figure
            }),
        };
        self.at = end;
        self.short |= found.is_none();
        found.unwrap_or(0)
    }

    /// A figure that is zero or one.
    #[inline(never)]
    pub(super) fn flag(&mut self, flag: bool) -> Option<bool> {
        match self.figure(u32::from(flag)) {
            0 => Some(false),
            1 => Some(true),
            _ => None,
        }
    }

    /// Bytes so far; `None` if there were not enough, or more than that to be read.
    pub(super) const fn whole(&self) -> Option<usize> {
        let ends = match &self.bytes {
            Bytes::Read(bytes) => bytes.len() == self.at,
            Bytes::Write(_) => true,
        };
        if ends && !self.short { Some(self.at) } else { None }
    }
}
