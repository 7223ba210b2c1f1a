//! From the start's stack to the main loop's, which is guarded: see `memory.x`.

use crate::ThisBoard;
use crate::last_resort;
use copperhold_firmware::app::App;
use core::cell::RefCell;
use critical_section::Mutex;

/// The application on its way from one stack to the other.
struct Handed(&'static mut App<ThisBoard>);

// SAFETY: it goes from the start to the main loop, which is the same thread of the same core; no interrupt looks at it.
unsafe impl Send for Handed {}

static APP: Mutex<RefCell<Option<Handed>>> = Mutex::new(RefCell::new(None));

/// Gives the start's stack up and runs the main loop on its own.
pub fn change(app: &'static mut App<ThisBoard>) -> ! {
    unsafe extern "C" {
        // From the memory map.
        static _guarded_stack: u32;
    }
    critical_section::with(|cs| APP.replace(cs, Some(Handed(app))));
    let run: extern "C" fn() -> ! = run;
    // SAFETY: the address is the top of RAM that nothing else uses, aligned to eight bytes; `run` never returns and needs nothing from
    // the stack that is given up. An interrupt in between finds a good stack on either side.
    unsafe { cortex_m::asm::bootstrap(&raw const _guarded_stack, run as *const u32) }
}

extern "C" fn run() -> ! {
    let Some(Handed(app)) = critical_section::with(|cs| APP.take(cs)) else { last_resort::stop() };
    loop {
        app.turn();
        // The timer interrupt wakes it 100 times a second.
        cortex_m::asm::wfi();
    }
}
