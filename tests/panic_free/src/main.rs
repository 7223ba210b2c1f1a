//! The control core alone, for a microcontroller, with a panic handler that cannot be linked: this program links only if the optimiser
//! has shown that no panic can be reached from what is called here, whatever the inputs.
//!
//! It is never run. What it shows holds for this profile and this compiler: another profile keeps checks that this one proves away.
#![no_std]
#![no_main]

use copperhold_core::arming::Block;
use copperhold_core::controller::{Controller, Inputs};
use copperhold_core::guard::Trip;
use copperhold_core::heat::Demand;
use copperhold_core::probe::{self, ProbeSetup, RawReading, Reading};
use copperhold_core::settings::{Draft, Settings};
use copperhold_core::sheet::Sheet;
use copperhold_core::supervisor::{Knowledge, Refusal};
use copperhold_core::units::Instant;
use copperhold_core::vessel::{Pumps, Vessel};
use copperhold_core::wire::message::{Line, Refused, SheetAct, line};
use copperhold_core::wire::{Drop, Framer, Session, ToDevice};
use core::hint::black_box;

unsafe extern "C" {
    /// Defined nowhere.
    fn a_panic_can_be_reached() -> !;
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    // SAFETY: never runs, because a program that contains this call does not link.
    unsafe { a_panic_can_be_reached() }
}

/// Each function of this list is kept by its name, so everything that it can reach is linked; its arguments may hold any value.
macro_rules! reached {
    ($($(#[$doc:meta])* fn $name:ident($($argument:ident: $kind:ty),* $(,)?) $(-> $result:ty)? $body:block)*) => {
        $($(#[$doc])* #[unsafe(no_mangle)] #[inline(never)] #[allow(improper_ctypes_definitions)]
        pub extern "C" fn $name($($argument: $kind),*) $(-> $result)? $body)*

        /// Entry: the addresses of all of them.
        #[unsafe(no_mangle)]
        pub extern "C" fn _start() -> ! {
            $(black_box($name as *const ());)*
            loop {}
        }
    };
}

reached! {
    /// A controller of any draft that is accepted.
    fn start(draft: &Draft, knowledge: &Knowledge) -> Option<Controller> {
        Settings::new(*draft).ok().map(|settings| Controller::new(settings, *knowledge))
    }

    /// One tick in any state, at any time, with any inputs.
    fn tick(controller: &mut Controller, now: Instant, inputs: &Inputs) {
        black_box(controller.tick(now, inputs));
    }

    /// What a host asks between ticks.
    fn ask(controller: &mut Controller, now: Instant, inputs: &Inputs) -> Option<Block> {
        black_box(controller.next_due(now));
        black_box(controller.supervisor().knowledge());
        black_box(controller.supervisor().status());
        controller.block(&inputs.switches)
    }

    /// A demand of any kind for any vessel.
    fn demand(controller: &mut Controller, vessel: Vessel, demand: Demand) -> Result<(), Refusal> {
        controller.supervisor_mut().demand(vessel, demand)
    }

    /// The pumps by hand.
    fn pump(controller: &mut Controller, pumps: Pumps) {
        controller.supervisor_mut().pump(pumps);
    }

    /// Any sheet.
    fn sheet(controller: &mut Controller, sheet: &Sheet) {
        controller.supervisor_mut().start(sheet.clone());
    }

    /// Its end.
    fn stop_sheet(controller: &mut Controller) {
        controller.supervisor_mut().stop_sheet();
    }

    /// The brewer's answers.
    fn answer(controller: &mut Controller, paused: bool) {
        if let Some(sequencer) = controller.supervisor_mut().sequencer_mut() {
            sequencer.pause(paused);
            if let Some(prompt) = sequencer.asked() {
                sequencer.answer(prompt);
            }
            sequencer.skip();
        }
    }

    /// What a host asks of the sheet that runs.
    fn sheet_act(controller: &mut Controller, step: u8, act: SheetAct) -> Result<(), Refused> {
        act.apply(step, controller.supervisor_mut())
    }

    /// The log, to its end.
    fn read_log(controller: &mut Controller) {
        let log = controller.supervisor_mut().log();
        black_box(log.take_loss());
        while let Some(entry) = log.take() {
            black_box(entry);
        }
    }

    /// What a trip says.
    fn remedy(trip: Trip) -> &'static str {
        trip.remedy()
    }

    /// Its cause as a line of text.
    fn cause(trip: Trip) -> Line {
        line(&trip.words())
    }

    /// Any counts of any probe.
    fn convert(setup: &ProbeSetup, raw: RawReading) -> Reading {
        probe::convert(setup, raw)
    }

    /// Any bytes from the link.
    fn hear(framer: &mut Framer, session: &mut Session, now: Instant, byte: u8) -> Option<Result<(u32, ToDevice), Drop>> {
        framer.push(byte).map(|frame| session.accept(now, frame))
    }

    /// The negative control: an index that may be out of bounds.
    fn index(bytes: &[u8], at: usize) -> u8 {
        #[cfg(feature = "panic")]
        return bytes[at];
        #[cfg(not(feature = "panic"))]
        bytes.get(at).copied().unwrap_or(0)
    }
}
