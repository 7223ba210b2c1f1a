//! From source to what is dragged onto the board: the build of the image, and the UF2 file around it.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Family of the RP2040 in the list of UF2 families.
const RP2040_FAMILY: u32 = 0xE48B_FF56;
/// Payload of a block.
const PAYLOAD: usize = 256;

/// The Pico's processor, and the other board's.
const M0_PLUS: &str = "thumbv6m-none-eabi";
const M4F: &str = "thumbv7em-none-eabihf";

/// Builds the image for the Pico as it is released, in `target` or the workspace's own target folder; gives the ELF file.
///
/// # Errors
/// The build's own words.
pub fn build_pico(target: Option<&Path>) -> Result<PathBuf, String> {
    let what = ["build", "--package", "copperhold-firmware", "--bin", "pico", "--features", "pico"];
    Ok(build(&what, M0_PLUS, &[], target)?.join("pico"))
}

/// Builds the image for the STM32F405 board as it is released; gives the ELF file.
///
/// # Errors
/// The build's own words.
pub fn build_stm32f4() -> Result<PathBuf, String> {
    let what = ["build", "--package", "copperhold-firmware", "--bin", "stm32f4", "--features", "stm32f4"];
    Ok(build(&what, M4F, &[], None)?.join("stm32f4"))
}

/// Builds the scripted day for the Pico's processor with the image's profile, to be loaded into its RAM; gives the ELF file.
///
/// # Errors
/// The build's own words.
pub fn build_same_bits() -> Result<PathBuf, String> {
    let what = ["rustc", "--package", "copperhold-same-bits", "--bin", "same-bits"];
    // Loaded where it runs, without gaps between its parts.
    let link = ["--", "-C", "link-arg=--image-base=0x20000000", "-C", "link-arg=--nmagic"];
    Ok(build(&what, M0_PLUS, &link, None)?.join("same-bits"))
}

/// Builds with the image's profile; gives the folder of what was built. Paths of this machine are taken out, so that two machines build the
/// same bytes.
fn build(what: &[&str], machine: &str, more: &[&str], target: Option<&Path>) -> Result<PathBuf, String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).ancestors().nth(2).ok_or("the workspace has a root")?;
    let target = target
        .map_or_else(|| std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root.join("target"), PathBuf::from), PathBuf::from);
    let home = std::env::var_os("CARGO_HOME").map(PathBuf::from).or_else(|| std::env::home_dir().map(|home| home.join(".cargo")));
    let mut flags = vec![format!("--remap-path-prefix={}=.", root.display())];
    flags.extend(home.map(|home| format!("--remap-path-prefix={}=cargo", home.display())));
    let output = Command::new("cargo")
        .args(what)
        .args(["--target", machine, "--profile", "firmware", "--target-dir"])
        .arg(&target)
        .args(more)
        .current_dir(root)
        .env_remove("RUSTFLAGS")
        .env("CARGO_ENCODED_RUSTFLAGS", flags.join("\u{1f}"))
        .output()
        .map_err(|error| error.to_string())?;
    if !output.status.success() {
        return Err(String::from_utf8_lossy(&output.stderr).into_owned());
    }
    Ok(target.join(machine).join("firmware"))
}

/// The loaded parts of an ELF file for a 32-bit little-endian machine: address in flash and bytes.
///
/// # Errors
/// It is no such file.
pub fn segments(elf: &[u8]) -> Result<Vec<(u32, &[u8])>, String> {
    let word = |at: usize| elf.get(at..at + 4).map(|b| u32::from_le_bytes([b[0], b[1], b[2], b[3]]) as usize).ok_or("too short");
    let half = |at: usize| elf.get(at..at + 2).map(|b| usize::from(u16::from_le_bytes([b[0], b[1]]))).ok_or("too short");
    if elf.get(..6) != Some(&[0x7F, b'E', b'L', b'F', 1, 1]) {
        return Err("not a 32-bit little-endian ELF file".to_owned());
    }
    let (headers, size, count) = (word(28)?, half(42)?, half(44)?);
    let mut loaded = Vec::new();
    for at in (0..count).map(|index| headers + index * size) {
        let (kind, offset, physical, length) = (word(at)?, word(at + 4)?, word(at + 12)?, word(at + 16)?);
        if kind == 1 && length > 0 {
            let bytes = elf.get(offset..offset + length).ok_or("a segment lies outside the file")?;
            loaded.push((u32::try_from(physical).map_err(|error| error.to_string())?, bytes));
        }
    }
    Ok(loaded)
}

/// Wraps segments in UF2 blocks of 256 bytes. The format: <https://github.com/microsoft/uf2>.
pub fn uf2(segments: &[(u32, &[u8])]) -> Vec<u8> {
    let mut pages: std::collections::BTreeMap<u32, [u8; PAYLOAD]> = std::collections::BTreeMap::new();
    for &(start, bytes) in segments {
        for (at, &byte) in (start..).zip(bytes) {
            let page = pages.entry(at & !0xFF).or_insert([0; PAYLOAD]);
            page[(at & 0xFF) as usize] = byte;
        }
    }
    let count = pages.len() as u32;
    let mut file = Vec::with_capacity(pages.len() * 512);
    for (index, (at, page)) in (0_u32..).zip(&pages) {
        let head = [0x0A32_4655, 0x9E5D_5157, 0x2000, *at, PAYLOAD as u32, index, count, RP2040_FAMILY];
        head.iter().for_each(|word| file.extend_from_slice(&word.to_le_bytes()));
        file.extend_from_slice(page);
        file.resize(file.len() + 476 - PAYLOAD, 0);
        file.extend_from_slice(&0x0AB1_6F30_u32.to_le_bytes());
    }
    file
}

/// A symbol of an ELF file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Symbol {
    /// Its name, mangled.
    pub name: String,
    /// Address, without the bit that marks Thumb code.
    pub at: u32,
    /// Size in bytes.
    pub size: u32,
    /// It is a function.
    pub is_function: bool,
}

/// The symbols of an ELF file for a 32-bit little-endian machine.
///
/// # Errors
/// It is no such file.
pub fn symbols(elf: &[u8]) -> Result<Vec<Symbol>, String> {
    let word = |at: usize| elf.get(at..at + 4).map(|b| u32::from_le_bytes([b[0], b[1], b[2], b[3]])).ok_or("too short");
    let half = |at: usize| elf.get(at..at + 2).map(|b| usize::from(u16::from_le_bytes([b[0], b[1]]))).ok_or("too short");
    let (headers, size, count) = (word(32)? as usize, half(46)?, half(48)?);
    let mut symbols = Vec::new();
    for section in (0..count).map(|index| headers + index * size) {
        if word(section + 4)? != 2 {
            continue;
        }
        let (start, length, link) = (word(section + 16)? as usize, word(section + 20)? as usize, word(section + 24)? as usize);
        let names = word(headers + link * size + 16)? as usize;
        for at in (start..start + length).step_by(16) {
            let name = elf.get(names + word(at)? as usize..).ok_or("a name lies outside the file")?;
            let name = name.split(|&byte| byte == 0).next().unwrap_or_default();
            symbols.push(Symbol {
                name: String::from_utf8_lossy(name).into_owned(),
                at: word(at + 4)? & !1,
                size: word(at + 8)?,
                is_function: elf.get(at + 12).is_some_and(|info| info & 0xF == 2),
            });
        }
    }
    Ok(symbols)
}

/// Who calls whom directly, by index into `symbols`: the `BL` instructions of each function (ARMv6-M reference manual, encoding T1).
pub fn calls(segments: &[(u32, &[u8])], symbols: &[Symbol]) -> Vec<(usize, usize)> {
    let half = |at: u32| {
        segments.iter().find_map(|&(start, bytes)| {
            let offset = at.checked_sub(start)? as usize;
            bytes.get(offset..offset + 2).map(|b| u32::from(u16::from_le_bytes([b[0], b[1]])))
        })
    };
    let mut calls = Vec::new();
    for (from, function) in symbols.iter().enumerate().filter(|(_, symbol)| symbol.is_function) {
        for at in (function.at..function.at + function.size).step_by(2) {
            let (Some(first), Some(second)) = (half(at), half(at + 2)) else { continue };
            if first >> 11 != 0b11110 || second & 0xD000 != 0xD000 {
                continue;
            }
            let sign = first >> 10 & 1;
            let (i1, i2) = (!(second >> 13 ^ sign) & 1, !(second >> 11 ^ sign) & 1);
            let offset = (sign * 0xFF00_0000) | i1 << 23 | i2 << 22 | (first & 0x3FF) << 12 | (second & 0x7FF) << 1;
            let target = at.wrapping_add(4).wrapping_add(offset);
            calls.extend(symbols.iter().position(|symbol| symbol.is_function && symbol.at == target).map(|to| (from, to)));
        }
    }
    calls
}
