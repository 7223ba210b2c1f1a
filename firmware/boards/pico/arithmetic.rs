//! Products and quotients that a Cortex-M0+ has no instruction for, at a half of the cycles of the compiler's own routines. Control and the
//! timer interrupt are made of them. The scripted day in the emulator runs on these, bit for bit, and so does a test of the corners.
//!
//! The quotient comes from the chip's divider of 32-bit numbers (RP2040 datasheet 2.3.1.5). Interrupts divide too, so they wait while it
//! works: half a microsecond, two for a quotient of 64-bit numbers.

use core::arch::{asm, naked_asm};

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

/// `r0` divided by `r1` by the chip's divider: quotient to `r0`, remainder to `r1`. SIO_BASE is D0000000h; quotient at 70h, remainder at 74h,
/// eight cycles after the divisor.
macro_rules! divider {
    ($dividend:literal, $divisor:literal) => {
        naked_asm!(
            "movs r2, #0xd0",
            "lsls r2, r2, #24",
            "mrs r3, primask",
            "cpsid i",
            concat!("str r0, [r2, #", $dividend, "]"),
            concat!("str r1, [r2, #", $divisor, "]"),
            "b 1f",
            "1: b 2f",
            "2: b 3f",
            "3: b 4f",
            "4: ldr r1, [r2, #0x74]",
            "ldr r0, [r2, #0x70]",
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

/// `r1:r0 = r1:r0 / r3:r2`, `r3:r2` the remainder, unsigned.
// SAFETY: as above; eight-byte alignment of the stack is kept.
#[unsafe(no_mangle)]
#[unsafe(naked)]
pub unsafe extern "C" fn __aeabi_uldivmod() {
    naked_asm!(
        // Both below 2^32, as most are: one quotient of the divider.
        "mov r12, r1",
        "orrs r1, r3",
        "bne 5f",
        "movs r1, #0xd0",
        "lsls r1, r1, #24",
        "mrs r3, primask",
        "cpsid i",
        "str r0, [r1, #0x60]",
        "str r2, [r1, #0x64]",
        "b 1f",
        "1: b 1f",
        "1: b 1f",
        "1: b 1f",
        "1: ldr r2, [r1, #0x74]",
        "ldr r0, [r1, #0x70]",
        "msr primask, r3",
        "movs r1, #0",
        "movs r3, #0",
        "bx lr",
        "5: mov r1, r12",
        "push {{r4, lr}}",
        "sub sp, #16",
        "add r4, sp, #8",
        "str r4, [sp]",
        "bl {divide}",
        "ldr r2, [sp, #8]",
        "ldr r3, [sp, #12]",
        "add sp, #16",
        "pop {{r4, pc}}",
        divide = sym divide,
    )
}

/// As [`__aeabi_uldivmod`], signed; rounds toward zero, and the remainder has the dividend's sign.
// SAFETY: as above.
#[unsafe(no_mangle)]
#[unsafe(naked)]
pub unsafe extern "C" fn __aeabi_ldivmod() {
    naked_asm!(
        // Both below 2^32, as most are: one quotient of the divider.
        "mov r12, r1",
        "orrs r1, r3",
        "bne 5f",
        "movs r1, #0xd0",
        "lsls r1, r1, #24",
        "mrs r3, primask",
        "cpsid i",
        "str r0, [r1, #0x60]",
        "str r2, [r1, #0x64]",
        "b 1f",
        "1: b 1f",
        "1: b 1f",
        "1: b 1f",
        "1: ldr r2, [r1, #0x74]",
        "ldr r0, [r1, #0x70]",
        "msr primask, r3",
        "movs r1, #0",
        "movs r3, #0",
        "bx lr",
        "5: mov r1, r12",
        "push {{r4, r5, r6, lr}}",
        "sub sp, #16",
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
        "add r6, sp, #8",
        "str r6, [sp]",
        "bl {divide}",
        "ldr r2, [sp, #8]",
        "ldr r3, [sp, #12]",
        "eors r0, r5",
        "eors r1, r5",
        "subs r0, r0, r5",
        "sbcs r1, r5",
        "eors r2, r4",
        "eors r3, r4",
        "subs r2, r2, r4",
        "sbcs r3, r4",
        "add sp, #16",
        "pop {{r4, r5, r6, pc}}",
        divide = sym divide,
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

/// Quotient and remainder of 32-bit numbers, by the divider; no interrupt may come in between.
#[inline(always)]
fn short(dividend: u32, divisor: u32) -> (u32, u32) {
    let (quotient, left);
    // SAFETY: writes and reads the divider's own registers, which are free while interrupts are held off; eight cycles pass in between.
    unsafe {
        asm!(
            "str {a}, [{sio}, #0x60]",
            "str {b}, [{sio}, #0x64]",
            "b 1f",
            "1: b 1f",
            "1: b 1f",
            "1: b 1f",
            "1: ldr {b}, [{sio}, #0x74]",
            "ldr {a}, [{sio}, #0x70]",
            a = inout(reg) dividend => quotient,
            b = inout(reg) divisor => left,
            sio = in(reg) 0xD000_0000_u32,
            options(nostack, preserves_flags),
        );
    }
    (quotient, left)
}

/// Quotient; the remainder goes to `rest`. Interrupts wait for up to two microseconds.
extern "C" fn divide(dividend: u64, divisor: u64, rest: &mut u64) -> u64 {
    let held: u32;
    // SAFETY: the mask is put back as it was before this returns.
    unsafe { asm!("mrs {0}, primask", "cpsid i", out(reg) held, options(nostack, preserves_flags)) };
    let (high, low, by) = ((dividend >> 32) as u32, dividend as u32, divisor as u32);
    let (first, second, left) = if divisor >> 32 != 0 {
        divide_by_long(dividend, divisor)
    } else {
        let (first, high) = if high < by { (0, high) } else { short(high, by) };
        let (second, left) = if high == 0 { short(low, by) } else { narrow(high, low, by) };
        (first, second, u64::from(left))
    };
    *rest = left;
    // SAFETY: as above.
    unsafe { asm!("msr primask, {0}", in(reg) held, options(nostack, preserves_flags)) };
    u64::from(first) << 32 | u64::from(second)
}

/// One digit of 16 bits of `above:next / by`, and what is left; the divisor's highest bit is set.
#[inline(always)]
fn digit(above: u32, next: u32, by: u32) -> (u32, u32) {
    let (by_high, by_low) = (by >> 16, by & 0xFFFF);
    let (mut guess, mut left) = short(above, by_high);
    while guess >> 16 != 0 || guess * by_low > (left << 16 | next) {
        guess -= 1;
        left += by_high;
        if left >> 16 != 0 {
            break;
        }
    }
    (guess, (above << 16 | next).wrapping_sub(guess.wrapping_mul(by)))
}

/// `high:low / by` and the remainder, for `high < by`, in digits of 16 bits (Knuth, The Art of Computer Programming 2, 4.3.1, algorithm D).
fn narrow(high: u32, low: u32, by: u32) -> (u32, u32) {
    if by >> 16 == 0 {
        // Remainders stay below 2^16: each digit is one quotient.
        let (first, left) = short(high << 16 | low >> 16, by);
        let (second, left) = short(left << 16 | low & 0xFFFF, by);
        return (first << 16 | second, left);
    }
    let shift = by.leading_zeros();
    let by = by << shift;
    let high = if shift == 0 { high } else { high << shift | low >> (32 - shift) };
    let low = low << shift;
    let (first, left) = digit(high, low >> 16, by);
    let (second, left) = digit(left, low & 0xFFFF, by);
    (first << 16 | second, left >> shift)
}

/// For a divisor of more than 32 bits: its upper 32 give the quotient or one too many (Warren, Hacker's Delight, 9-5). The quotient has 32 bits.
#[inline(never)]
fn divide_by_long(dividend: u64, divisor: u64) -> (u32, u32, u64) {
    let shift = ((divisor >> 32) as u32).leading_zeros();
    let by = ((divisor << shift) >> 32) as u32;
    let half = dividend >> 1;
    let (guess, _) = narrow((half >> 32) as u32, half as u32, by);
    let mut quotient = (((u64::from(guess) << shift) >> 31) as u32).saturating_sub(1);
    let mut left = dividend - u64::from(quotient).wrapping_mul(divisor);
    if left >= divisor {
        left -= divisor;
        quotient += 1;
    }
    (0, quotient, left)
}
