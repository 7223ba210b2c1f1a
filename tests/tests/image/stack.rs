//! The stack by the image's own instructions: frames summed along the calls, beside the depth that the emulator saw.

use copperhold_tests::emulator::image;
use copperhold_tests::flash::{segments, symbols};
use copperhold_tests::stack::Stacks;

/// From the guard at the bottom of the RAM to the top of the main loop's stack.
const ROOM: u32 = 8 * 1024;
/// What the processor stacks by itself when an interrupt comes, and a word to align it.
const ENTRY: u32 = 36;

#[test]
fn the_main_loops_deepest_chain_of_calls_and_the_deepest_interrupt_fit_the_guarded_stack() {
    let elf = std::fs::read(&image().elf).expect("the image was built");
    let (segments, symbols) = (segments(&elf).expect("segments"), symbols(&elf).expect("symbols"));
    let mut stacks = Stacks::new(&segments, &symbols);
    let main = stacks.deepest("5stack3run");
    println!("main loop: {} bytes, by {:#?}", main.bytes, main.frames);
    assert!(main.frames.len() > 4 && main.bytes > 1_000, "the chain is found");
    let interrupts = ["TIMER_IRQ_0", "TIMER_IRQ_1", "IO_IRQ_BANK0"].map(|name| stacks.deepest(name).bytes);
    println!("interrupts: {interrupts:?} bytes");
    // All of one priority: one at a time. A fault handler may come on top of it.
    let worst = main.bytes + ENTRY + interrupts.iter().max().expect("three") + ENTRY + stacks.deepest("HardFault").bytes;
    println!("in all {worst} of {ROOM} bytes, {} %", worst * 100 / ROOM);
    // Calls through registers (text is formatted so) come on top: a good part is kept for them.
    assert!(worst * 10 <= ROOM * 6, "{worst}");
}
