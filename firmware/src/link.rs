//! One port of the serial link: bytes in, messages out, and back. What a message may do is decided in [`crate::app`].

use copperhold_core::units::Instant;
use copperhold_core::wire::message::{ToDevice, ToHost};
use copperhold_core::wire::{Framer, MAX_MESSAGE, Session, encode};
use heapless::Deque;

/// Bytes waiting to be sent.
const OUT: usize = 384;
/// Bytes taken from a port in one turn, so that a flood costs a bounded time.
pub const BYTES_PER_TURN: usize = 64;

/// One port.
#[derive(Debug)]
pub struct Port {
    framer: Framer,
    session: Session,
    sequence: u32,
    out: Deque<u8, OUT>,
    greeted: bool,
}

impl Port {
    /// `session`: drawn anew at each start.
    pub const fn new(session: u32) -> Port {
        Port { framer: Framer::new(), session: Session::new(session), sequence: 0, out: Deque::new(), greeted: false }
    }

    /// Takes one byte; gives the message it completes, with its sequence number.
    #[inline(never)]
    pub fn receive(&mut self, now: Instant, byte: u8) -> Option<(u32, ToDevice)> {
        let frame = self.framer.push(byte)?;
        self.session.accept(now, frame).ok()
    }

    /// Queues a message. If nobody reads and the queue is full, all that waits gives way to it: old news is worth less than new.
    pub fn send(&mut self, message: &ToHost) {
        let mut buffer = [0; MAX_MESSAGE];
        // Only a message longer than any of ours would fail.
        let Ok(bytes) = postcard::to_slice(message, &mut buffer) else { return };
        let Some(frame) = encode(self.session.number(), self.sequence, bytes) else { return };
        self.sequence = self.sequence.wrapping_add(1);
        if frame.len() > OUT - self.out.len() {
            self.out.clear();
            // Ends whatever was cut off.
            let _ = self.out.push_back(0);
        }
        for &byte in &frame {
            // There is room.
            let _ = self.out.push_back(byte);
        }
    }

    /// The next byte to send.
    pub fn peek(&self) -> Option<u8> {
        self.out.front().copied()
    }

    /// It was sent.
    pub fn sent(&mut self) {
        self.out.pop_front();
    }

    /// The highest sequence number that was taken, 0 if none.
    pub fn heard(&self) -> u32 {
        self.session.heard()
    }

    /// Frames dropped since the start.
    pub const fn dropped(&self) -> u32 {
        self.session.dropped()
    }

    /// True once: the first time anybody asks.
    pub fn first_turn(&mut self) -> bool {
        !core::mem::replace(&mut self.greeted, true)
    }
}
