//! The product of 64-bit numbers for a processor that multiplies 32 bits into 32: half the cycles of the compiler's own routine. Control
//! and the timer interrupt are made of such products. The scripted day in the emulator runs on it, bit for bit.

use core::arch::naked_asm;

/// `r1:r0 = r1:r0 * r3:r2`, wrapping (Run-time ABI for the Arm architecture, 4.2).
// SAFETY: the name is the one the ABI gives this routine; it takes and gives what the ABI says and touches only r0 to r3 and what it saves.
#[unsafe(no_mangle)]
#[unsafe(naked)]
pub unsafe extern "C" fn __aeabi_lmul() {
    // With a = a1 2^32 + ah 2^16 + al, b likewise: low halves by four products of 16 bits, the crosswise ones into the upper word only.
    naked_asm!(
        "push {{r4, r5}}",
        "muls r1, r2, r1",
        "muls r3, r0, r3",
        "adds r1, r1, r3",
        "lsrs r3, r2, #16",
        "lsrs r4, r0, #16",
        "uxth r0, r0",
        "uxth r2, r2",
        "movs r5, r4",
        "muls r5, r3, r5",
        "adds r1, r1, r5",
        "muls r3, r0, r3",
        "muls r4, r2, r4",
        "muls r0, r2, r0",
        "lsls r5, r3, #16",
        "lsrs r3, r3, #16",
        "adds r0, r0, r5",
        "adcs r1, r3",
        "lsls r5, r4, #16",
        "lsrs r4, r4, #16",
        "adds r0, r0, r5",
        "adcs r1, r4",
        "pop {{r4, r5}}",
        "bx lr",
    )
}
