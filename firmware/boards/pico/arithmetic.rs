//! Products and quotients that a Cortex-M0+ has no instruction for, at a half of the cycles of the compiler's own routines. Control and the
//! timer interrupt are made of them. The scripted day in the emulator runs on these, bit for bit, and so does a test of the corners.
//!
//! The quotient comes from the chip's divider of 32-bit numbers (RP2040 datasheet 2.3.1.5). Interrupts divide too, so they wait while it
//! works: half a microsecond, two for a quotient of 64-bit numbers.

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

/// One quotient of the chip's divider: registers of dividend, divisor and SIO_BASE (D0000000h), then those that the remainder (74h) and the
/// quotient (70h) go to, eight cycles after the divisor.
macro_rules! quotient {
    ($dividend:literal, $divisor:literal, $base:literal => $left:literal, $quotient:literal) => {
        quotient!($dividend at "0x60", $divisor at "0x64", $base => $left, $quotient)
    };
    ($dividend:literal at $first:literal, $divisor:literal at $second:literal, $base:literal => $left:literal, $quotient:literal) => {
        concat!(
            "str ", $dividend, ", [", $base, ", #", $first, "]\n",
            "str ", $divisor, ", [", $base, ", #", $second, "]\n",
            "b 20f\n 20: b 20f\n 20: b 20f\n 20: b 20f\n",
            "20: ldr ", $left, ", [", $base, ", #0x74]\n",
            "ldr ", $quotient, ", [", $base, ", #0x70]\n",
        )
    };
}

/// `r0` divided by `r1`: quotient to `r0`, remainder to `r1`.
macro_rules! divider {
    ($dividend:literal, $divisor:literal) => {
        naked_asm!(
            "movs r2, #0xd0",
            "lsls r2, r2, #24",
            "mrs r3, primask",
            "cpsid i",
            quotient!("r0" at $dividend, "r1" at $divisor, "r2" => "r1", "r0"),
            "msr primask, r3",
            "bx lr",
        )
    };
}

/// `r0 = r0 / r1`, `r1 = r0 % r1`, unsigned; a divisor of zero gives what the divider gives (the compiler never divides by zero).
// SAFETY: as above; the divider's registers are free between two calls, because no interrupt comes in during one.
#[unsafe(no_mangle)]
#[unsafe(naked)]
pub unsafe extern "C" fn __aeabi_uidivmod() {
    divider!("0x60", "0x64")
}

/// `r0 = r0 / r1`, unsigned.
// SAFETY: as above.
#[unsafe(no_mangle)]
#[unsafe(naked)]
pub unsafe extern "C" fn __aeabi_uidiv() {
    naked_asm!("b {divmod}", divmod = sym __aeabi_uidivmod)
}

/// `r0 = r0 / r1`, `r1 = r0 % r1`, signed, rounded toward zero.
// SAFETY: as above.
#[unsafe(no_mangle)]
#[unsafe(naked)]
pub unsafe extern "C" fn __aeabi_idivmod() {
    divider!("0x68", "0x6c")
}

/// `r0 = r0 / r1`, signed.
// SAFETY: as above.
#[unsafe(no_mangle)]
#[unsafe(naked)]
pub unsafe extern "C" fn __aeabi_idiv() {
    naked_asm!("b {divmod}", divmod = sym __aeabi_idivmod)
}

/// What begins both divisions of 64-bit numbers: two that are below 2^32, as most are, take one quotient of the divider and are done.
macro_rules! both_short {
    () => {
        concat!(
            "mov r12, r1\n orrs r1, r3\n bne 5f\n",
            "movs r1, #0xd0\n lsls r1, r1, #24\n mrs r3, primask\n cpsid i\n",
            quotient!("r0", "r2", "r1" => "r2", "r0"),
            "msr primask, r3\n movs r1, #0\n movs r3, #0\n bx lr\n",
            "5: mov r1, r12\n",
        )
    };
}

/// `r1:r0 = r1:r0 / r3:r2`, `r3:r2` the remainder, unsigned.
// SAFETY: as above; eight-byte alignment of the stack is kept.
#[unsafe(no_mangle)]
#[unsafe(naked)]
pub unsafe extern "C" fn __aeabi_uldivmod() {
    naked_asm!(
        both_short!(),
        "push {{r4, r5, r6, r7, lr}}",
        "sub sp, #4",
        "bl {divide}",
        "add sp, #4",
        "pop {{r4, r5, r6, r7, pc}}",
        divide = sym divide,
    )
}

/// As [`__aeabi_uldivmod`], signed; rounds toward zero, and the remainder has the dividend's sign.
// SAFETY: as above; eight-byte alignment of the stack is kept.
#[unsafe(no_mangle)]
#[unsafe(naked)]
pub unsafe extern "C" fn __aeabi_ldivmod() {
    naked_asm!(
        both_short!(),
        "push {{r4, r5, r6, r7, lr}}",
        // r4: sign of the dividend, r5: sign of the quotient, each as 0 or -1.
        "asrs r4, r1, #31",
        "asrs r6, r3, #31",
        "movs r5, r4",
        "eors r5, r6",
        "eors r0, r4",
        "eors r1, r4",
        "subs r0, r0, r4",
        "sbcs r1, r4",
        "eors r2, r6",
        "eors r3, r6",
        "subs r2, r2, r6",
        "sbcs r3, r6",
        "push {{r4, r5, r6}}",
        "bl {divide}",
        "pop {{r4, r5, r6}}",
        "eors r0, r5",
        "eors r1, r5",
        "subs r0, r0, r5",
        "sbcs r1, r5",
        "eors r2, r4",
        "eors r3, r4",
        "subs r2, r2, r4",
        "sbcs r3, r4",
        "pop {{r4, r5, r6, r7, pc}}",
        divide = sym divide,
    )
}

/// One digit of 16 bits of `r1:r2 / lr` (48 bits; the divisor's highest bit set, `r4` its lower half) from the divider's guess `r6` and
/// what that leaves, `r5`: the guess is made right, and `r1` what is left (Knuth, The Art of Computer Programming 2, 4.3.1, algorithm D).
macro_rules! digit {
    () => {
        concat!(
            "1: lsrs r7, r6, #16\n bne 2f\n",
            "mov r7, r6\n muls r7, r4, r7\n lsls r3, r5, #16\n orrs r3, r2\n cmp r7, r3\n bls 3f\n",
            "2: subs r6, #1\n mov r3, lr\n lsrs r3, r3, #16\n adds r5, r5, r3\n lsrs r7, r5, #16\n beq 1b\n",
            "3: lsls r1, r1, #16\n orrs r1, r2\n mov r3, lr\n mov r7, r6\n muls r7, r3, r7\n subs r1, r1, r7\n",
        )
    };
}

/// `r1:r0 = r1:r0 / r3:r2`, `r3:r2` the remainder, unsigned; `r4` to `r7` are not kept.
// SAFETY: touches what it says and the stack, which it leaves as it was.
#[unsafe(naked)]
unsafe extern "C" fn divide() {
    naked_asm!(
        "cmp r3, #0",
        "bne 1f",
        "b {short}",
        "1: push {{r2, lr}}",
        "sub sp, #16",
        "add r4, sp, #8",
        "str r4, [sp]",
        "bl {long}",
        "ldr r2, [sp, #8]",
        "ldr r3, [sp, #12]",
        "add sp, #20",
        "pop {{pc}}",
        short = sym divide_by_short,
        long = sym divide_by_long,
    )
}

/// As [`divide`] for a divisor of 32 bits, `r2`, as a function: the quotient alone.
// SAFETY: as above, and `r4` to `r7` are kept.
#[unsafe(naked)]
unsafe extern "C" fn quotient_by_short(dividend: u64, divisor: u32) -> u64 {
    naked_asm!("push {{r4, r5, r6, r7, lr}}", "bl {short}", "pop {{r4, r5, r6, r7, pc}}", short = sym divide_by_short)
}

/// As [`divide`] for a divisor of 32 bits, `r2`. Interrupts wait for up to two microseconds.
// SAFETY: touches what it says, the divider's registers while interrupts are held off, and the stack, which it leaves as it was.
#[unsafe(naked)]
unsafe extern "C" fn divide_by_short() {
    naked_asm!(
        "mrs r6, primask",
        "cpsid i",
        "push {{r6, lr}}",
        "movs r7, #0xd0",
        "lsls r7, r7, #24",
        // The upper word's quotient and what it leaves.
        "movs r6, #0",
        "cmp r1, r2",
        "blo 1f",
        quotient!("r1", "r2", "r7" => "r1", "r6"),
        "1: push {{r6}}",
        "cmp r1, #0",
        "beq 7f",
        "lsrs r3, r2, #16",
        "beq 6f",
        // The divisor's highest bit set, by a shift of r5.
        "movs r5, #0",
        "lsrs r4, r3, #8",
        "bne 1f",
        "adds r5, #8",
        "lsls r3, r3, #8",
        "1: lsrs r4, r3, #12",
        "bne 1f",
        "adds r5, #4",
        "lsls r3, r3, #4",
        "1: lsrs r4, r3, #14",
        "bne 1f",
        "adds r5, #2",
        "lsls r3, r3, #2",
        "1: lsrs r4, r3, #15",
        "bne 1f",
        "adds r5, #1",
        "1: mov r12, r5",
        "lsls r2, r5",
        "lsls r1, r5",
        "movs r4, #32",
        "subs r4, r4, r5",
        "mov r3, r0",
        "lsrs r3, r4",
        "orrs r1, r3",
        "lsls r0, r5",
        "lsrs r3, r2, #16",
        "str r1, [r7, #0x60]",
        "str r3, [r7, #0x64]",
        "mov lr, r2",
        "uxth r4, r2",
        "lsrs r2, r0, #16",
        "b 1f",
        "1: b 1f",
        "1: nop",
        "ldr r5, [r7, #0x74]",
        "ldr r6, [r7, #0x70]",
        digit!(),
        "mov r3, lr",
        "lsrs r3, r3, #16",
        "movs r7, #0xd0",
        "lsls r7, r7, #24",
        "str r1, [r7, #0x60]",
        "str r3, [r7, #0x64]",
        "uxth r2, r0",
        "lsls r0, r6, #16",
        "b 1f",
        "1: b 1f",
        "1: nop",
        "nop",
        "ldr r5, [r7, #0x74]",
        "ldr r6, [r7, #0x70]",
        digit!(),
        "adds r0, r0, r6",
        "mov r2, r1",
        "mov r3, r12",
        "lsrs r2, r3",
        "b 8f",
        // A divisor below 2^16: what is left stays below it, and each digit is one quotient.
        "6: lsls r1, r1, #16",
        "lsrs r3, r0, #16",
        "orrs r1, r3",
        quotient!("r1", "r2", "r7" => "r1", "r6"),
        "lsls r1, r1, #16",
        "uxth r3, r0",
        "orrs r1, r3",
        "lsls r0, r6, #16",
        quotient!("r1", "r2", "r7" => "r2", "r6"),
        "adds r0, r0, r6",
        "b 8f",
        // Nothing left of the upper word.
        "7:",
        quotient!("r0", "r2", "r7" => "r2", "r0"),
        "8: movs r3, #0",
        "pop {{r1, r6}}",
        "msr primask, r6",
        "pop {{pc}}",
    )
}

/// Leading zeros of `r0` (a routine of the compiler's library, which counts them bit by bit).
// SAFETY: the name is the one the compiler calls; it takes and gives one word and touches only r0 to r2.
#[unsafe(no_mangle)]
#[unsafe(naked)]
pub unsafe extern "C" fn __clzsi2() {
    naked_asm!(
        "movs r1, #28",
        "lsrs r2, r0, #16",
        "beq 1f",
        "movs r1, #12",
        "movs r0, r2",
        "1: lsrs r2, r0, #8",
        "beq 1f",
        "subs r1, #8",
        "movs r0, r2",
        "1: lsrs r2, r0, #4",
        "beq 1f",
        "subs r1, #4",
        "movs r0, r2",
        "1: adr r2, 2f",
        "ldrb r0, [r2, r0]",
        "adds r0, r0, r1",
        "bx lr",
        ".balign 4",
        "2: .byte 4, 3, 2, 2, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0",
    )
}

/// For a divisor of more than 32 bits: its upper 32 give the quotient or one too many (Warren, Hacker's Delight, 9-5). The remainder goes to
/// `rest`.
extern "C" fn divide_by_long(dividend: u64, divisor: u64, rest: &mut u64) -> u64 {
    let shift = ((divisor >> 32) as u32).leading_zeros();
    let by = ((divisor << shift) >> 32) as u32;
    // Halved, so that the quotient fits 32 bits.
    // SAFETY: the divisor has its highest bit set.
    let guess = unsafe { quotient_by_short(dividend >> 1, by) };
    let mut quotient = ((guess << shift) >> 31).saturating_sub(1);
    let mut left = dividend - quotient.wrapping_mul(divisor);
    if left >= divisor {
        left -= divisor;
        quotient += 1;
    }
    *rest = left;
    quotient
}
