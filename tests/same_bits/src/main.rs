//! The scripted day as a program: on a host it prints its words, on a microcontroller it leaves them in its memory.
#![cfg_attr(target_os = "none", no_std, no_main)]

use copperhold_same_bits::words;

#[cfg(not(target_os = "none"))]
fn main() {
    for word in words() {
        println!("{word:016x}");
    }
}

/// As in the image.
#[cfg(target_os = "none")]
#[path = "../../../firmware/boards/pico/arithmetic.rs"]
mod arithmetic;

/// As in the image.
#[cfg(target_os = "none")]
#[path = "../../../firmware/boards/pico/memory.rs"]
mod memory;

#[cfg(target_os = "none")]
mod bare {
    use super::words;
    use copperhold_same_bits::WORDS as COUNT;
    use core::sync::atomic::{AtomicU32, Ordering};

    /// Both halves of every word, low half first. Whoever runs the program reads them here.
    #[unsafe(no_mangle)]
    static WORDS: [AtomicU32; 2 * COUNT] = [const { AtomicU32::new(0) }; 2 * COUNT];

    /// Where the program starts, with a stack and its memory as it was linked.
    #[unsafe(no_mangle)]
    extern "C" fn _start() -> ! {
        for (halves, word) in WORDS.chunks_exact(2).zip(words()) {
            let [low, high] = halves else { continue };
            low.store(word as u32, Ordering::Relaxed);
            high.store((word >> 32) as u32, Ordering::Relaxed);
        }
        done()
    }

    /// It is done when it comes here.
    #[unsafe(no_mangle)]
    #[inline(never)]
    extern "C" fn done() -> ! {
        loop {
            core::hint::spin_loop();
        }
    }

    /// Nothing may panic; whoever runs the program knows this place.
    #[panic_handler]
    fn panicked(_: &core::panic::PanicInfo<'_>) -> ! {
        loop {
            core::hint::spin_loop();
        }
    }
}
