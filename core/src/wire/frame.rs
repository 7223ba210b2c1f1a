//! Frames: where a message begins and ends, whose it is, and whether it arrived whole.
//!
//! | bytes | holds |
//! | --- | --- |
//! | 1 | [`super::VERSION`] |
//! | 4 | session: the number the device drew at its start, low byte first |
//! | 4 | sequence, counted by the sender, low byte first |
//! | 1 | length of the message |
//! | n | message |
//! | 4 | CRC-32 (IEEE 802.3) of all that came before, low byte first |
//!
//! All of it is stuffed (consistent overhead byte stuffing) so that it holds no zero, and ends with a zero.

use super::{MAX_FRAME, MAX_MESSAGE, VERSION};
use heapless::Vec;

/// Bytes before the message.
pub const HEADER: usize = 10;
/// Bytes of the check.
pub const CRC: usize = 4;

/// A frame's content.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    /// The device's session number.
    pub session: u32,
    /// The sender's count.
    pub sequence: u32,
    /// The message, encoded.
    pub message: Vec<u8, MAX_MESSAGE>,
}

/// Why bytes are no frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FrameError {
    /// The stuffing does not fit the length.
    Stuffing,
    /// Too short for header and check, or the length byte disagrees.
    Length,
    /// The check does not match.
    Checksum,
    /// Another version of the link.
    Version(u8),
}

/// CRC-32 as in IEEE 802.3: reflected, 0xEDB88320, starting and ending inverted. Bit by bit: frames are short and tables are not.
pub fn crc32(bytes: &[u8]) -> u32 {
    crc32_more(0, bytes)
}

/// Goes on with the CRC-32 of what came before.
pub fn crc32_more(before: u32, bytes: &[u8]) -> u32 {
    let mut crc = !before;
    for &byte in bytes {
        crc ^= u32::from(byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ 0xEDB8_8320 } else { crc >> 1 };
        }
    }
    !crc
}

/// Wraps a message, delimiter included. `None` if it is too long.
pub fn encode(session: u32, sequence: u32, message: &[u8]) -> Option<Vec<u8, MAX_FRAME>> {
    let mut plain: Vec<u8, { HEADER + MAX_MESSAGE + CRC }> = Vec::new();
    plain.push(VERSION).ok()?;
    plain.extend_from_slice(&session.to_le_bytes()).ok()?;
    plain.extend_from_slice(&sequence.to_le_bytes()).ok()?;
    plain.push(u8::try_from(message.len()).ok()?).ok()?;
    plain.extend_from_slice(message).ok()?;
    let check = crc32(&plain);
    plain.extend_from_slice(&check.to_le_bytes()).ok()?;
    stuff(&plain)
}

/// Unwraps what stood between two delimiters.
///
/// # Errors
/// See [`FrameError`]. Version is looked at last: noise is called noise.
pub fn decode(stuffed: &[u8]) -> Result<Frame, FrameError> {
    let plain = unstuff(stuffed).ok_or(FrameError::Stuffing)?;
    let (body, check) = plain.split_last_chunk::<CRC>().ok_or(FrameError::Length)?;
    if crc32(body) != u32::from_le_bytes(*check) {
        return Err(FrameError::Checksum);
    }
    let (header, message) = body.split_first_chunk::<HEADER>().ok_or(FrameError::Length)?;
    let [version, s0, s1, s2, s3, n0, n1, n2, n3, length] = *header;
    if version != VERSION {
        return Err(FrameError::Version(version));
    }
    if usize::from(length) != message.len() {
        return Err(FrameError::Length);
    }
    Ok(Frame {
        session: u32::from_le_bytes([s0, s1, s2, s3]),
        sequence: u32::from_le_bytes([n0, n1, n2, n3]),
        message: Vec::from_slice(message).map_err(|_| FrameError::Length)?,
    })
}

/// Each run of up to 254 bytes without a zero is led by its length plus one; the zero after it is left out.
fn stuff(plain: &[u8]) -> Option<Vec<u8, MAX_FRAME>> {
    let mut out = Vec::new();
    for run in plain.split(|&byte| byte == 0) {
        let mut rest = run;
        while rest.len() >= 254 {
            let (full, tail) = rest.split_at_checked(254)?;
            out.push(0xFF).ok()?;
            out.extend_from_slice(full).ok()?;
            rest = tail;
        }
        out.push(u8::try_from(rest.len()).ok()?.checked_add(1)?).ok()?;
        out.extend_from_slice(rest).ok()?;
    }
    out.push(0).ok()?;
    Some(out)
}

fn unstuff(stuffed: &[u8]) -> Option<Vec<u8, MAX_FRAME>> {
    let mut out = Vec::new();
    let mut rest = stuffed;
    while let Some((&lead, tail)) = rest.split_first() {
        let (run, tail) = tail.split_at_checked(usize::from(lead.checked_sub(1)?))?;
        for &byte in run {
            if byte == 0 {
                return None;
            }
            out.push(byte).ok()?;
        }
        if lead != 0xFF && !tail.is_empty() {
            out.push(0).ok()?;
        }
        rest = tail;
    }
    Some(out)
}

/// Cuts a stream of bytes at its delimiters.
#[derive(Debug, Clone, Default)]
pub struct Framer {
    bytes: Vec<u8, MAX_FRAME>,
    /// The present run is too long; it is skipped up to its delimiter.
    overlong: bool,
}

impl Framer {
    /// Nothing received.
    pub const fn new() -> Framer {
        Framer { bytes: Vec::new(), overlong: false }
    }

    /// Takes one byte. At a delimiter that ends something: the frame, or why it is none. Empty runs are silent: they wake the line.
    pub fn push(&mut self, byte: u8) -> Option<Result<Frame, FrameError>> {
        if byte != 0 {
            self.overlong |= self.bytes.push(byte).is_err();
            return None;
        }
        let result = if self.overlong {
            Some(Err(FrameError::Length))
        } else if self.bytes.is_empty() {
            None
        } else {
            Some(decode(&self.bytes))
        };
        self.bytes.clear();
        self.overlong = false;
        result
    }
}
