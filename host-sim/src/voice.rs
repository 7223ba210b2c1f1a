//! What this end of the serial link says, numbered so that a board takes each message once.

use copperhold_core::wire::encode;
use copperhold_core::wire::message::ToDevice;

/// The host's voice in a board's session.
#[derive(Debug, Clone, Copy, Default)]
pub struct Voice {
    session: Option<u32>,
    sequence: u32,
}

impl Voice {
    /// The session it speaks in, once one has been heard.
    pub const fn session(&self) -> Option<u32> {
        self.session
    }

    /// A start of the board begins a session.
    pub const fn join(&mut self, session: u32) {
        self.session = Some(session);
    }

    /// The board has taken this number, perhaps from another program: what is not above it would pass for a replay.
    pub fn go_above(&mut self, heard: u32) {
        self.sequence = self.sequence.max(heard);
    }

    /// A message as it is sent, with its number.
    pub fn say(&mut self, message: &ToDevice) -> (u32, Vec<u8>) {
        self.sequence = self.sequence.wrapping_add(1);
        // Every message of ours fits a frame: a test of the link holds it.
        let bytes = postcard::to_stdvec(message).unwrap_or_default();
        let frame = encode(self.session.unwrap_or(0), self.sequence, &bytes);
        (self.sequence, frame.map(|frame| frame.to_vec()).unwrap_or_default())
    }
}
