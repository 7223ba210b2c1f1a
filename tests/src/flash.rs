//! From source to what is dragged onto the board: the build of the image, and the UF2 file around it.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Family of the RP2040 in the list of UF2 families.
const RP2040_FAMILY: u32 = 0xE48B_FF56;
/// Payload of a block.
const PAYLOAD: usize = 256;

/// Builds the image for the Pico as it is released, in `target` or the workspace's own target folder; gives the ELF file.
///
/// Paths of this machine are taken out of it, so that two machines build the same bytes.
///
/// # Errors
/// The build's own words.
pub fn build_pico(target: Option<&Path>) -> Result<PathBuf, String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().ok_or("the workspace has a root")?;
    let target = target
        .map_or_else(|| std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root.join("target"), PathBuf::from), PathBuf::from);
    let home = std::env::var_os("CARGO_HOME").map(PathBuf::from).or_else(|| std::env::home_dir().map(|home| home.join(".cargo")));
    let mut flags = vec![format!("--remap-path-prefix={}=.", root.display())];
    flags.extend(home.map(|home| format!("--remap-path-prefix={}=cargo", home.display())));
    let output = Command::new("cargo")
        .args(["build", "--package", "copperhold-firmware", "--bin", "pico", "--features", "pico"])
        .args(["--target", "thumbv6m-none-eabi", "--profile", "firmware", "--target-dir"])
        .arg(&target)
        .current_dir(root)
        .env_remove("RUSTFLAGS")
        .env("CARGO_ENCODED_RUSTFLAGS", flags.join("\u{1f}"))
        .output()
        .map_err(|error| error.to_string())?;
    if !output.status.success() {
        return Err(String::from_utf8_lossy(&output.stderr).into_owned());
    }
    Ok(target.join("thumbv6m-none-eabi/firmware/pico"))
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
