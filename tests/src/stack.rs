//! The stack that an image's functions need, read from their instructions (ARMv6-M reference manual, chapter A6) and summed along the calls.
//!
//! Direct calls only: where a call goes through a register, the image's own depth in the emulator is the other witness.

use crate::flash::{Symbol, calls};
use std::collections::BTreeMap;

/// The deepest chain of calls from a function.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chain {
    /// Bytes of stack.
    pub bytes: u32,
    /// Names, the caller first, each with its own frame.
    pub frames: Vec<(String, u32)>,
}

/// Frames and calls of an image.
pub struct Stacks<'a> {
    symbols: &'a [Symbol],
    frames: Vec<u32>,
    called: BTreeMap<usize, Vec<usize>>,
    deepest: BTreeMap<usize, (u32, Option<usize>)>,
}

impl<'a> Stacks<'a> {
    /// Reads every function.
    pub fn new(segments: &[(u32, &[u8])], symbols: &'a [Symbol]) -> Stacks<'a> {
        let frames = symbols.iter().map(|symbol| if symbol.is_function { frame(segments, symbol) } else { 0 }).collect();
        let mut called: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for (from, to) in calls(segments, symbols) {
            called.entry(from).or_default().push(to);
        }
        Stacks { symbols, frames, called, deepest: BTreeMap::new() }
    }

    /// The deepest chain from the function whose name ends so.
    ///
    /// # Panics
    /// There is no such function, or a function calls itself on some way round: then there is no bound.
    pub fn deepest(&mut self, name: &str) -> Chain {
        let wanted = |symbol: &Symbol| symbol.is_function && symbol.name.contains(name);
        let start = self.symbols.iter().position(wanted).unwrap_or_else(|| panic!("no function {name}"));
        let bytes = self.below(start, &mut Vec::new());
        let mut frames = Vec::new();
        let mut at = Some(start);
        while let Some(index) = at {
            frames.push((self.symbols[index].name.clone(), self.frames[index]));
            at = self.deepest[&index].1;
        }
        Chain { bytes, frames }
    }

    fn below(&mut self, index: usize, above: &mut Vec<usize>) -> u32 {
        if let Some(&(bytes, _)) = self.deepest.get(&index) {
            return bytes;
        }
        assert!(!above.contains(&index), "{} calls itself", self.symbols[index].name);
        above.push(index);
        let called = self.called.get(&index).cloned().unwrap_or_default();
        let deepest = called.into_iter().map(|to| (self.below(to, above), to)).max();
        above.pop();
        let bytes = self.frames[index] + deepest.map_or(0, |(bytes, _)| bytes);
        self.deepest.insert(index, (bytes, deepest.map(|(_, to)| to)));
        bytes
    }
}

/// What a function takes before its first call or branch: registers pushed, and room made.
fn frame(segments: &[(u32, &[u8])], function: &Symbol) -> u32 {
    let bytes_at = |at: u32, count: usize| {
        segments.iter().find_map(|&(start, bytes)| {
            let offset = at.checked_sub(start)? as usize;
            bytes.get(offset..offset + count)
        })
    };
    let half = |at: u32| bytes_at(at, 2).map(|b| u32::from(u16::from_le_bytes([b[0], b[1]])));
    let word = |at: u32| bytes_at(at, 4).map(|b| u32::from_le_bytes([b[0], b[1], b[2], b[3]]));
    let mut taken = 0;
    let mut constants = [0_u32; 8];
    for at in (function.at..function.at + function.size).step_by(2) {
        let Some(code) = half(at) else { break };
        match code >> 8 {
            // PUSH: one word for each register, and one for LR.
            0xB4 | 0xB5 => taken += 4 * (code & 0x1FF).count_ones(),
            // SUB SP, #imm7 * 4.
            0xB0 if code & 0x80 != 0 => taken += 4 * (code & 0x7F),
            // LDR Rt, [PC, #imm8 * 4]: a large frame's size, negative.
            0x48..=0x4F => {
                let from = (at & !3) + 4 + 4 * (code & 0xFF);
                constants[(code >> 8 & 7) as usize] = word(from).unwrap_or(0);
            }
            // ADD SP, Rm.
            0x44 if code & 0x87 == 0x85 && code >> 3 & 0xF < 8 => taken += constants[(code >> 3 & 7) as usize].wrapping_neg(),
            // Branches and calls end the prologue.
            0xD0..=0xDF | 0xE0..=0xE7 | 0xF0..=0xF7 | 0x47 | 0xBD => break,
            _ => {}
        }
    }
    taken
}
