//! The flash's top: settings and sheet. While it is written the program cannot be read from it, so the writing itself runs in the RAM with
//! interrupts off, by the boot ROM's own routines.

use crate::hal::rom_data;
use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};

/// Where flash is mapped.
const XIP: usize = 0x1000_0000;
/// Start of what the store may use: the top 32 KiB of the first 2 MB. The memory map keeps the program out of it.
pub const SETTINGS_AT: u32 = 2 * 1024 * 1024 - 32 * 1024;
const END: u32 = 2 * 1024 * 1024;

/// The flash.
#[derive(Debug)]
pub struct Flash {
    boot2: &'static [u8; 256],
}

/// Outside the store's sectors.
#[derive(Debug)]
pub struct OutOfBounds;

impl NorFlashError for OutOfBounds {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::OutOfBounds
    }
}

/// The ROM's routines, looked up while flash can still be read.
#[derive(Clone, Copy)]
struct Routines {
    connect: unsafe extern "C" fn(),
    exit_xip: unsafe extern "C" fn(),
    erase: unsafe extern "C" fn(u32, usize, u32, u8),
    program: unsafe extern "C" fn(u32, *const u8, usize),
    flush: unsafe extern "C" fn(),
}

impl Flash {
    /// `boot2` sets the flash up for reading again afterwards.
    pub const fn new(boot2: &'static [u8; 256]) -> Flash {
        Flash { boot2 }
    }

    fn change(&mut self, at: u32, erase: usize, data: Option<&[u8; 256]>) {
        let routines = Routines {
            connect: rom_data::connect_internal_flash::ptr(),
            exit_xip: rom_data::flash_exit_xip::ptr(),
            erase: rom_data::flash_range_erase::ptr(),
            program: rom_data::flash_range_program::ptr(),
            flush: rom_data::flash_flush_cache::ptr(),
        };
        // Copies in the RAM: flash cannot be read in between.
        let mut boot2 = [0_u32; 64];
        for (word, bytes) in boot2.iter_mut().zip(self.boot2.chunks_exact(4)) {
            *word = u32::from_le_bytes([bytes[0], bytes[1], bytes[2], bytes[3]]);
        }
        let page = data.copied();
        critical_section::with(|_| {
            // SAFETY: interrupts are off, only one core runs, every routine and every byte needed is in ROM or RAM, and the range has been
            // checked to lie in the store's sectors.
            unsafe { change_in_ram(&routines, &boot2, at, erase, page.as_ref()) };
        });
    }
}

/// # Safety
/// Interrupts off, one core, `at` and `erase` within the store's sectors.
// SAFETY: the section is copied to the RAM before `main`, as all initialised data is.
#[unsafe(link_section = ".data.change_in_ram")]
#[inline(never)]
unsafe fn change_in_ram(routines: &Routines, boot2: &[u32; 64], at: u32, erase: usize, page: Option<&[u8; 256]>) {
    // SAFETY: see above; the order is the boot ROM's (RP2040 datasheet 2.8.3.1.3). The second stage in RAM, called with a return address,
    // comes back after it has set the flash up.
    unsafe {
        (routines.connect)();
        (routines.exit_xip)();
        if erase > 0 {
            (routines.erase)(at, erase, 1 << 16, 0xD8);
        }
        if let Some(page) = page {
            (routines.program)(at, page.as_ptr(), 256);
        }
        (routines.flush)();
        let set_up: unsafe extern "C" fn() = core::mem::transmute(boot2.as_ptr() as usize + 1);
        set_up();
    }
}

fn check(offset: u32, length: usize) -> Result<(), OutOfBounds> {
    let end = u32::try_from(length).ok().and_then(|length| offset.checked_add(length)).ok_or(OutOfBounds)?;
    if offset >= SETTINGS_AT && end <= END { Ok(()) } else { Err(OutOfBounds) }
}

impl ErrorType for Flash {
    type Error = OutOfBounds;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), OutOfBounds> {
        check(offset, bytes.len())?;
        for (at, byte) in (XIP + offset as usize..).zip(bytes) {
            // SAFETY: the range lies in mapped flash. Volatile: it changes behind the compiler's back.
            *byte = unsafe { (at as *const u8).read_volatile() };
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        END as usize
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = 256;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), OutOfBounds> {
        let length = to.checked_sub(from).ok_or(OutOfBounds)? as usize;
        check(from, length)?;
        if !(from as usize).is_multiple_of(Self::ERASE_SIZE) || !length.is_multiple_of(Self::ERASE_SIZE) {
            return Err(OutOfBounds);
        }
        self.change(from, length, None);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), OutOfBounds> {
        check(offset, bytes.len())?;
        if !(offset as usize).is_multiple_of(Self::WRITE_SIZE) {
            return Err(OutOfBounds);
        }
        let (pages, rest) = bytes.as_chunks::<256>();
        if !rest.is_empty() {
            return Err(OutOfBounds);
        }
        for (page, at) in pages.iter().zip((offset..).step_by(256)) {
            self.change(at, 0, Some(page));
        }
        Ok(())
    }
}
