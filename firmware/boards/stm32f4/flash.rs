//! The upper half of the flash: settings and sheet, a sector of 128 KB for each slot. While a sector is erased the program cannot be read
//! from the flash, so the waiting runs in the RAM with interrupts off, and feeds the watchdog for as long as an erase may take.

use crate::hal::pac;
use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};

/// Where flash is mapped.
const BASE: usize = 0x0800_0000;
/// Start of what the store may use. The memory map keeps the program out of it.
pub const SETTINGS_AT: u32 = 512 * 1024;
const END: u32 = 1024 * 1024;
/// Sector number of the first, and size of each.
const FIRST: u32 = 8;
const SECTOR: u32 = 128 * 1024;
/// Looks at the busy flag: 4 s at 48 MHz and some cycles each. The datasheet's longest erase of such a sector is 2 s at 32 bits.
const PATIENCE: u32 = 10_000_000;

const BUSY: u32 = 1 << 16;
/// Any of the error flags; each is cleared by a one.
const ERRORS: u32 = 0b1111_0010;
const LOCK: u32 = 1 << 31;
const START: u32 = 1 << 16;
const BY_WORDS: u32 = 0b10 << 8;
const PROGRAM: u32 = 1;
const ERASE: u32 = 1 << 1;

/// The flash.
#[derive(Debug)]
pub struct Flash {
    registers: pac::FLASH,
}

/// Outside the store's sectors, or the chip reported an error.
#[derive(Debug)]
pub struct Refused;

impl NorFlashError for Refused {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::Other
    }
}

impl Flash {
    /// Over the controller's registers.
    pub const fn new(registers: pac::FLASH) -> Flash {
        Flash { registers }
    }

    /// Runs with the controller unlocked; true if it reports no error.
    fn unlocked(&mut self, work: impl FnOnce(&pac::FLASH)) -> Result<(), Refused> {
        // SAFETY: keys and bits are the reference manual's (RM0090, 3.6).
        unsafe {
            self.registers.keyr().write(|w| w.bits(0x4567_0123));
            self.registers.keyr().write(|w| w.bits(0xCDEF_89AB));
            self.registers.sr().write(|w| w.bits(ERRORS));
            critical_section::with(|_| work(&self.registers));
            let failed = self.registers.sr().read().bits() & (ERRORS | BUSY) != 0;
            self.registers.cr().write(|w| w.bits(LOCK));
            // What the caches hold may have changed underneath.
            self.registers.acr().modify(|r, w| w.bits(r.bits() & !(0b11 << 9)));
            self.registers.acr().modify(|r, w| w.bits(r.bits() | 0b11 << 11));
            self.registers.acr().modify(|r, w| w.bits(r.bits() & !(0b11 << 11) | 0b11 << 9));
            if failed { Err(Refused) } else { Ok(()) }
        }
    }
}

/// Starts what the control register asks for and waits for its end.
///
/// # Safety
/// Interrupts off, the controller unlocked, and the range checked.
// SAFETY: the section is copied to the RAM before `main`, as all initialised data is.
#[unsafe(link_section = ".data.erase_in_ram")]
#[inline(never)]
unsafe fn erase_in_ram(control: u32) {
    // SAFETY: plain register writes of a controller and a watchdog that the caller answers for.
    unsafe {
        let flash = &*pac::FLASH::PTR;
        flash.cr().write(|w| w.bits(control));
        flash.cr().write(|w| w.bits(control | START));
        let mut left = PATIENCE;
        while left > 0 && flash.sr().read().bits() & BUSY != 0 {
            (*pac::IWDG::PTR).kr().write(|w| w.bits(0xAAAA));
            left -= 1;
        }
    }
}

fn check(offset: u32, length: usize) -> Result<(), Refused> {
    let end = u32::try_from(length).ok().and_then(|length| offset.checked_add(length)).ok_or(Refused)?;
    if offset >= SETTINGS_AT && end <= END { Ok(()) } else { Err(Refused) }
}

impl ErrorType for Flash {
    type Error = Refused;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Refused> {
        check(offset, bytes.len())?;
        for (at, byte) in (BASE + offset as usize..).zip(bytes) {
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
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = SECTOR as usize;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Refused> {
        check(from, to.checked_sub(from).ok_or(Refused)? as usize)?;
        if !from.is_multiple_of(SECTOR) || !to.is_multiple_of(SECTOR) {
            return Err(Refused);
        }
        for at in (from..to).step_by(SECTOR as usize) {
            let sector = FIRST + (at - SETTINGS_AT) / SECTOR;
            // SAFETY: `unlocked` has turned interrupts off, and the sector is one of the store's.
            self.unlocked(|_| unsafe { erase_in_ram(BY_WORDS | ERASE | sector << 3) })?;
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Refused> {
        check(offset, bytes.len())?;
        let (words, rest) = bytes.as_chunks::<4>();
        if !rest.is_empty() || !offset.is_multiple_of(4) {
            return Err(Refused);
        }
        for (word, at) in words.iter().zip((BASE + offset as usize..).step_by(4)) {
            // SAFETY: an aligned word of the store's sectors. The bus waits while a word is programmed, 16 us.
            self.unlocked(|flash| unsafe {
                flash.cr().write(|w| w.bits(BY_WORDS | PROGRAM));
                (at as *mut u32).write_volatile(u32::from_le_bytes(*word));
                let _ = (0..PATIENCE).any(|_| flash.sr().read().bits() & BUSY == 0);
            })?;
        }
        Ok(())
    }
}
