//! Flash in memory, page by page as the chip has it, with a supply that can be cut.

use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};

/// A flash of some sectors, erased.
#[derive(Debug, Clone)]
pub struct MemoryFlash {
    bytes: Vec<u8>,
    /// Bytes that can still be changed before the supply goes; `None`: it stays.
    left: Option<usize>,
    /// Bytes changed so far.
    changed: usize,
}

/// The supply has gone, or the range is not there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gone;

impl NorFlashError for Gone {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::Other
    }
}

impl MemoryFlash {
    /// Erased.
    pub fn new(size: usize) -> MemoryFlash {
        MemoryFlash { bytes: vec![0xFF; size], left: None, changed: 0 }
    }

    /// What it holds.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// What it holds, to spoil.
    pub fn bytes_mut(&mut self) -> &mut [u8] {
        &mut self.bytes
    }

    /// The supply goes after this many more bytes have been changed.
    pub fn cut_after(&mut self, bytes: usize) {
        self.left = Some(bytes);
    }

    /// The supply is back.
    pub fn power(&mut self) {
        self.left = None;
    }

    /// Bytes changed so far.
    pub fn changed(&self) -> usize {
        self.changed
    }

    fn change(&mut self, at: usize, value: u8) -> Result<(), Gone> {
        if let Some(left) = &mut self.left {
            *left = left.checked_sub(1).ok_or(Gone)?;
        }
        self.changed += 1;
        self.bytes[at] = value;
        Ok(())
    }
}

impl ErrorType for MemoryFlash {
    type Error = Gone;
}

impl ReadNorFlash for MemoryFlash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Gone> {
        let at = offset as usize;
        bytes.copy_from_slice(self.bytes.get(at..at + bytes.len()).ok_or(Gone)?);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl NorFlash for MemoryFlash {
    const WRITE_SIZE: usize = 256;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Gone> {
        assert!(from.is_multiple_of(4096) && to.is_multiple_of(4096), "whole sectors");
        (from as usize..to as usize).try_for_each(|at| self.change(at, 0xFF))
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Gone> {
        assert!(offset.is_multiple_of(256) && bytes.len().is_multiple_of(256), "whole pages");
        // Programming only clears bits.
        (offset as usize..).zip(bytes).try_for_each(|(at, &byte)| self.change(at, self.bytes[at] & byte))
    }
}
