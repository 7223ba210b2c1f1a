//! Messages to the host, put together.

use copperhold_core::arming::Block;
use copperhold_core::event::Loss;
use copperhold_core::fast::{Outputs, Switches};
use copperhold_core::supervisor::Supervisor;
use copperhold_core::units::{Celsius, Instant, Span};
use copperhold_core::vessel::{PerElement, PerVessel};
use copperhold_core::wire::message::{Happening, Identity, Telemetry, ToHost, line};

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

/// How it stands.
pub fn telemetry(
    now: Instant,
    supervisor: &Supervisor,
    outputs: &Outputs,
    switches: &Switches,
    block: Option<Block>,
    dropped: u32,
) -> Telemetry {
    let status = supervisor.status();
    let directive = status.directive.as_ref();
    Telemetry {
        at_ms: ms(now),
        readings: PerVessel::build(|vessel| (*status.readings.get(vessel)).into()),
        setpoints: PerVessel::build(|vessel| status.setpoints.get(vessel).map(Celsius::milli)),
        wanted: PerElement::build(|element| u16::try_from(status.wanted.get(element).basis_points()).unwrap_or(10_000)),
        grant: outputs.grant,
        contactor: outputs.contactor,
        armed: outputs.armed,
        stop_loop: switches.stop_loop,
        key: switches.key,
        pumps: outputs.pumps,
        block,
        trip: supervisor.guard().latch().map(|latch| line(latch.trip)),
        step: supervisor.sequencer().map(copperhold_core::sequencer::Sequencer::step),
        prompt: directive.and_then(|directive| directive.prompt).map(Into::into),
        timer_left_ms: directive.and_then(|directive| directive.timer_left).map(left_ms),
        dropped,
    }
}

fn left_ms(span: Span) -> u32 {
    u32::try_from(span.as_millis()).unwrap_or(u32::MAX)
}
