//! The device's end: which frames are listened to.
//!
//! A frame counts only if it carries this start's session number and a sequence number above every one before: neither an old capture nor
//! a repeat does anything. More than [`BURST`] messages at once, or [`PER_SECOND`] in the long run, are dropped and counted. Hello and Stop
//! are heard in any session; Stop is never limited.

use super::frame::{Frame, FrameError};
use super::message::ToDevice;
use crate::units::{Instant, Span};

/// Messages in the long run, per second.
pub const PER_SECOND: u32 = 10;
/// Messages at once.
pub const BURST: u32 = 30;

/// Why a frame was not listened to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Drop {
    /// No frame.
    Frame(FrameError),
    /// No message that is known, or bytes left over.
    Message,
    /// Another session.
    Session,
    /// A sequence number that is not above the last.
    Replayed,
    /// Too many messages.
    Flood,
}

/// The device's end of a session.
#[derive(Debug, Clone)]
pub struct Session {
    number: u32,
    last: Option<u32>,
    tokens: u32,
    refilled: Instant,
    dropped: u32,
}

impl Session {
    /// `number`: drawn anew at each start.
    pub const fn new(number: u32) -> Session {
        Session { number, last: None, tokens: BURST, refilled: Instant::START, dropped: 0 }
    }

    /// The session number.
    pub const fn number(&self) -> u32 {
        self.number
    }

    /// The highest sequence number that was taken, 0 if none.
    pub fn heard(&self) -> u32 {
        self.last.unwrap_or(0)
    }

    /// Frames dropped since the start.
    pub const fn dropped(&self) -> u32 {
        self.dropped
    }

    /// The message in a frame, with its sequence number.
    ///
    /// # Errors
    /// Says why it is dropped; every drop is counted.
    #[inline(never)]
    pub fn accept(&mut self, now: Instant, frame: Result<Frame, FrameError>) -> Result<(u32, ToDevice), Drop> {
        let result = self.judge(now, frame);
        if result.is_err() {
            self.dropped = self.dropped.saturating_add(1);
        }
        result
    }

    fn judge(&mut self, now: Instant, frame: Result<Frame, FrameError>) -> Result<(u32, ToDevice), Drop> {
        let frame = frame.map_err(Drop::Frame)?;
        let (message, rest) = postcard::take_from_bytes::<ToDevice>(&frame.message).map_err(|_| Drop::Message)?;
        if !rest.is_empty() {
            return Err(Drop::Message);
        }
        match message {
            ToDevice::Stop => return Ok((frame.sequence, message)),
            ToDevice::Hello => {}
            ToDevice::Demand { .. } | ToDevice::Pumps(_) | ToDevice::Step { .. } | ToDevice::Sheet { .. } => {
                if frame.session != self.number {
                    return Err(Drop::Session);
                }
                if self.last.is_some_and(|last| frame.sequence <= last) {
                    return Err(Drop::Replayed);
                }
            }
        }
        self.spend(now)?;
        if message != ToDevice::Hello {
            self.last = Some(frame.sequence);
        }
        Ok((frame.sequence, message))
    }

    fn spend(&mut self, now: Instant) -> Result<(), Drop> {
        let each = Span::from_millis(1_000 / u64::from(PER_SECOND));
        while self.tokens < BURST && now.since(self.refilled).is_some_and(|gone| gone >= each) {
            self.tokens = self.tokens.saturating_add(1);
            self.refilled = self.refilled.plus(each);
        }
        if self.tokens == BURST {
            self.refilled = now;
        }
        self.tokens = self.tokens.checked_sub(1).ok_or(Drop::Flood)?;
        Ok(())
    }
}
