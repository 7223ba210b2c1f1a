//! Messages to the host, put together.

use copperhold_core::event::Loss;
use copperhold_core::units::Instant;
use copperhold_core::wire::message::{Happening, Identity, ToHost};

/// Milliseconds since the start.
pub const fn ms(at: Instant) -> u64 {
    at.as_micros() / 1_000
}

/// Who speaks.
pub fn hello(restarted: &str) -> ToHost {
    let mut message =
        ToHost::Hello { identity: Identity::Device, firmware: heapless::String::new(), restarted: heapless::String::new() };
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
