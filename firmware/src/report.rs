//! Messages to the host, put together.

use copperhold_core::event::Loss;
use copperhold_core::units::Instant;
use copperhold_core::wire::message::{Happening, Identity, ToHost};

/// Milliseconds since the start.
pub const fn ms(at: Instant) -> u64 {
    at.as_micros() / 1_000
}

/// Who speaks, why it restarted, and what it has heard in this session.
pub fn hello(restarted: &str, heard: u32) -> ToHost {
    let (firmware, why) = (heapless::String::new(), heapless::String::new());
    let mut message = ToHost::Hello { identity: Identity::Device, firmware, restarted: why, heard };
    if let ToHost::Hello { firmware, restarted: why, .. } = &mut message {
        // Longer texts are left out rather than cut.
        let _ = firmware.push_str(env!("CARGO_PKG_VERSION"));
        let _ = why.push_str(restarted);
    }
    message
}

/// Entries of the log were lost.
pub const fn lost(loss: Loss) -> Happening {
    Happening::Lost(loss.count)
}
