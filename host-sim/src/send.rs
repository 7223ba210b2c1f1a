//! A sheet on its way to a board: step by step, each acknowledged. It starts nothing: that is done at the panel.

use crate::voice::Voice;
use crate::watch::words;
use copperhold_core::sheet::Sheet;
use copperhold_core::wire::Framer;
use copperhold_core::wire::message::{Identity, Refused, ToDevice, ToHost};
use copperhold_core::wire::sheet::{EncodedSheet, StepMessage};
use std::fmt;
use std::io::ErrorKind;
use std::time::{Duration, Instant};

/// A read waits this long at most.
const READ: Duration = Duration::from_millis(50);
/// What is not answered by then is lost, and is said again.
const ANSWER: Duration = Duration::from_secs(2);
/// Times the sheet is begun anew.
const TRIES: u8 = 3;

/// Why a sheet is not at the board.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum SendError {
    /// More steps or additions than a board has room for.
    TooLong,
    /// The port cannot be used, in words.
    Port(String),
    /// Nothing came.
    Silent,
    /// Something came, and it was not this link.
    Strange,
    /// A simulator is at the other end.
    Simulator,
    /// The board refuses this step, counted from 1.
    Refused {
        /// Which.
        step: usize,
        /// Why.
        why: Refused,
    },
}

impl fmt::Display for SendError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            SendError::TooLong => f.write_str("the sheet is too long for the board: leave out steps or additions"),
            SendError::Port(why) => f.write_str(why),
            SendError::Silent => f.write_str("the board does not answer: check that it runs, and that this is its port"),
            SendError::Strange => f.write_str(
                "what is at this port does not speak this version of the link: check the port, and use the same version of board and program",
            ),
            SendError::Simulator => f.write_str("a simulator is at this port, not a board"),
            SendError::Refused { step, why } => write!(f, "the board refuses step {step}: {}", words::refused(*why)),
        }
    }
}

impl std::error::Error for SendError {}

/// What has arrived where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sent {
    /// Port of the board.
    pub port: String,
    /// Version of its firmware.
    pub firmware: String,
    /// Number of steps.
    pub steps: usize,
}

/// Sends a sheet to the board on this port, or on the one port with its USB id.
///
/// # Errors
/// See [`SendError`]. The board then has either the sheet it had or none: it never starts half a sheet.
pub fn send(sheet: &Sheet, port: Option<&str>) -> Result<Sent, SendError> {
    // Whatever does not fit shall be found before the old sheet is gone.
    EncodedSheet::encode(sheet).ok_or(SendError::TooLong)?;
    let (port, path) = crate::port::open(port, READ).map_err(SendError::Port)?;
    let mut talk = Talk::new(sheet);
    let mut buffer = [0; 512];
    loop {
        let now = Instant::now();
        match port.read(&mut buffer) {
            Ok(0) => return Err(SendError::Port(format!("{} was closed", path.display()))),
            Ok(n) => talk.hear(buffer.get(..n).unwrap_or_default())?,
            Err(error) if matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted) => {}
            Err(error) => return Err(SendError::Port(format!("{} failed: {error}", path.display()))),
        }
        if let Some(firmware) = talk.done() {
            return Ok(Sent { port: path.display().to_string(), firmware: firmware.to_owned(), steps: sheet.steps.len() });
        }
        let out = talk.turn(now)?;
        port.write_all(&out).map_err(|error| SendError::Port(format!("{} takes nothing: {error}", path.display())))?;
    }
}

/// The talk, with no port and no clock of its own.
#[derive(Debug)]
struct Talk {
    steps: Vec<StepMessage>,
    framer: Framer,
    voice: Voice,
    firmware: Option<String>,
    strange: bool,
    /// Steps that were acknowledged.
    arrived: usize,
    /// When something was last said, and its number.
    asked: Option<(Instant, u32)>,
    tries: u8,
}

impl Talk {
    fn new(sheet: &Sheet) -> Talk {
        Talk {
            steps: sheet.steps.iter().map(StepMessage::from).collect(),
            framer: Framer::new(),
            voice: Voice::default(),
            firmware: None,
            strange: false,
            arrived: 0,
            asked: None,
            tries: 0,
        }
    }

    /// The board's firmware, once everything is there.
    fn done(&self) -> Option<&str> {
        self.firmware.as_deref().filter(|_| self.arrived == self.steps.len())
    }

    fn hear(&mut self, bytes: &[u8]) -> Result<(), SendError> {
        for &byte in bytes {
            let Some(frame) = self.framer.push(byte) else { continue };
            let Ok(frame) = frame else {
                self.strange = true;
                continue;
            };
            let Ok((message, [])) = postcard::take_from_bytes::<ToHost>(&frame.message) else {
                self.strange = true;
                continue;
            };
            if self.voice.session() != Some(frame.session) {
                // It started, or has started again: from the beginning.
                self.voice.join(frame.session);
                (self.firmware, self.arrived, self.asked) = (None, 0, None);
            }
            match message {
                ToHost::Hello { identity: Identity::Simulator, .. } => return Err(SendError::Simulator),
                ToHost::Hello { identity: Identity::Device, firmware, heard, .. } => {
                    self.voice.go_above(heard);
                    if self.firmware.is_none() {
                        (self.firmware, self.asked) = (Some(firmware.as_str().to_owned()), None);
                    }
                }
                ToHost::Answer { sequence, outcome } if self.asked.is_some_and(|(_, asked)| asked == sequence) => {
                    outcome.map_err(|why| SendError::Refused { step: self.arrived + 1, why })?;
                    self.arrived += 1;
                    self.asked = None;
                }
                ToHost::Answer { .. } | ToHost::Telemetry(_) | ToHost::Happened { .. } => {}
            }
        }
        Ok(())
    }

    /// What is to be said now: nothing while an answer is awaited.
    fn turn(&mut self, now: Instant) -> Result<Vec<u8>, SendError> {
        match self.asked {
            Some((at, _)) if now.duration_since(at) < ANSWER => return Ok(Vec::new()),
            Some(_) => {
                self.tries += 1;
                if self.tries >= TRIES {
                    return Err(if self.strange && self.firmware.is_none() { SendError::Strange } else { SendError::Silent });
                }
                // A step that may or may not have arrived: the first one clears what there was.
                self.arrived = 0;
            }
            None => {}
        }
        let message = match (&self.firmware, self.steps.get(self.arrived)) {
            (None, _) => ToDevice::Hello,
            (Some(_), Some(step)) => {
                let number = |n: usize| u8::try_from(n).unwrap_or(u8::MAX);
                ToDevice::Step { index: number(self.arrived), of: number(self.steps.len()), step: step.clone() }
            }
            (Some(_), None) => return Ok(Vec::new()),
        };
        let (sequence, frame) = self.voice.say(&message);
        self.asked = Some((now, sequence));
        Ok(frame)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use copperhold_core::wire::encode;

    fn demo() -> Sheet {
        let (rig, sheet) = (crate::files::demo_rig().expect("shipped"), crate::files::demo_sheet().expect("shipped"));
        sheet.compile(&rig).expect("shipped")
    }

    fn says(session: u32, message: &ToHost) -> Vec<u8> {
        encode(session, 0, &postcard::to_stdvec(message).expect("plain")).expect("short").to_vec()
    }

    fn hello(identity: Identity, heard: u32) -> ToHost {
        ToHost::Hello { identity, firmware: "1".try_into().expect("short"), restarted: Default::default(), heard }
    }

    /// What a turn says: its number and its message.
    fn said(bytes: &[u8]) -> (u32, ToDevice) {
        let mut framer = Framer::new();
        let frame = bytes.iter().find_map(|&byte| framer.push(byte)).expect("a frame").expect("sound");
        (frame.sequence, postcard::from_bytes(&frame.message).expect("a message"))
    }

    fn index(bytes: &[u8]) -> (u32, u8) {
        match said(bytes) {
            (sequence, ToDevice::Step { index, .. }) => (sequence, index),
            (_, other) => panic!("no step: {other:?}"),
        }
    }

    #[test]
    fn it_goes_on_above_what_the_board_has_heard_and_begins_again_when_the_board_restarts() {
        let (mut talk, now) = (Talk::new(&demo()), Instant::now());
        assert_eq!(said(&talk.turn(now).expect("asks")).1, ToDevice::Hello);
        talk.hear(&says(5, &hello(Identity::Device, 700))).expect("a board");
        let (sequence, first) = index(&talk.turn(now).expect("a step"));
        assert!(sequence > 700 && first == 0);
        talk.hear(&says(5, &ToHost::Answer { sequence, outcome: Ok(()) })).expect("taken");
        let (sequence, second) = index(&talk.turn(now).expect("a step"));
        assert_eq!(second, 1);
        // Another start, which knows nothing of the first step.
        talk.hear(&says(6, &hello(Identity::Device, 0))).expect("a board");
        talk.hear(&says(6, &ToHost::Answer { sequence, outcome: Ok(()) })).expect("an answer to nobody");
        assert_eq!(index(&talk.turn(now).expect("a step")).1, 0);
        assert_eq!(talk.done(), None);
    }

    #[test]
    fn a_simulator_a_refusal_and_another_language_are_told_apart() {
        let now = Instant::now();
        let mut talk = Talk::new(&demo());
        assert_eq!(talk.hear(&says(5, &hello(Identity::Simulator, 0))), Err(SendError::Simulator));

        let mut talk = Talk::new(&demo());
        talk.hear(&says(5, &hello(Identity::Device, 0))).expect("a board");
        let (sequence, _) = index(&talk.turn(now).expect("a step"));
        let refusal = talk.hear(&says(5, &ToHost::Answer { sequence, outcome: Err(Refused::Step) }));
        assert_eq!(refusal, Err(SendError::Refused { step: 1, why: Refused::Step }));

        for (noise, ends) in [(&b"T=20.1 T=20.2\0T=20.3\0"[..], SendError::Strange), (b"", SendError::Silent)] {
            let mut talk = Talk::new(&demo());
            let end = (0..10).find_map(|turn| {
                talk.hear(noise).expect("not understood");
                talk.turn(now + turn * ANSWER).err()
            });
            assert_eq!(end, Some(ends));
        }
    }
}
