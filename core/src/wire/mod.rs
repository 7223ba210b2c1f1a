//! The serial link: what is said, and how it is wrapped.
//!
//! A *message* ([`message`]) is encoded with postcard (order of fields and variants is the format: they are only ever added at the end,
//! and [`VERSION`] goes up with any other change). A *frame* ([`frame`]) wraps it: session, sequence, length, CRC-32, then COBS with a
//! zero byte as the delimiter.
//!
//! Authority is physical. No message arms, acknowledges a trip, raises a limit or starts a sheet: those words do not exist here. A demand
//! is refused unless a person has armed, and ends by itself unless it is repeated. [`message::ToDevice::Stop`] takes heat away in any
//! state and any session.

pub mod frame;
pub mod happening;
pub mod message;
pub mod session;
pub mod sheet;

/// Version of messages and frames.
pub const VERSION: u8 = 2;
/// The longest message.
pub const MAX_MESSAGE: usize = 224;
/// The longest frame as sent, its delimiter included.
pub const MAX_FRAME: usize = frame::HEADER + MAX_MESSAGE + frame::CRC + 2 + 1;

pub use frame::{FrameError, Framer, decode, encode};
pub use message::{ToDevice, ToHost};
pub use session::{Drop, Session};
