//! The image for the STM32F405 board, in QEMU's machine `netduinoplus2`, which has that processor.
//!
//! That machine has core, timer of the core, UART, SPI and converter; clock control, pins, I2C, watchdog and backup registers are empty
//! places that read zero and log what is written. So the image finds no crystal and no watchdog and must not heat; its writes to the pins
//! are read from the log.

use copperhold_core::vessel::Vessel;
use copperhold_core::wire::message::{DemandMessage, Identity, ReadingMessage, Refused, ToDevice, ToHost};
use copperhold_core::wire::{Framer, encode};
use copperhold_firmware::storage::{Store, Stored, safe_defaults};
use copperhold_tests::flash::{build_stm32f4, segments, symbols};
use copperhold_tests::memory_flash::MemoryFlash;
use std::io::{Read, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::OnceLock;

/// The store in the upper half of the flash, and enough of a slot for settings.
const STORE_AT: u32 = 0x0808_0000;
const SLOT: usize = 4096;

fn elf() -> &'static PathBuf {
    static ELF: OnceLock<PathBuf> = OnceLock::new();
    ELF.get_or_init(|| build_stm32f4().expect("the image builds"))
}

/// What was written to a part that the machine lacks: offset and value, in order.
fn writes(log: &str, part: &str) -> Vec<(u32, u32)> {
    let hex = |text: &str| u32::from_str_radix(text, 16).expect("a figure");
    let start = format!("{part}: unimplemented device write (size 4, offset 0x");
    let rest = log.lines().filter_map(|line| line.strip_prefix(&start)?.strip_suffix(')')?.split_once(", value 0x"));
    rest.map(|(offset, value)| (hex(offset), hex(value))).collect()
}

/// The running image.
struct Machine {
    child: Child,
    to: ChildStdin,
    from: ChildStdout,
    /// Its log, and what its store was filled with.
    files: [PathBuf; 2],
    framer: Framer,
    session: u32,
    sequence: u32,
}

impl Machine {
    /// With what its store holds.
    fn start(name: &str, store: &[u8]) -> Machine {
        let file = |kind| std::env::temp_dir().join(format!("copperhold-{name}-{}.{kind}", std::process::id()));
        let (log, stored) = (file("log"), file("store"));
        std::fs::write(&stored, store).expect("a file for the store");
        let mut child = Command::new("qemu-system-arm")
            .arg("-device")
            .arg(format!("loader,file={},addr={STORE_AT:#x},force-raw=on", stored.display()))
            .args([
                "-machine",
                "netduinoplus2",
                "-nographic",
                "-monitor",
                "none",
                "-serial",
                "stdio",
                "-d",
                "unimp,guest_errors",
                "-D",
            ])
            .arg(&log)
            .arg("-kernel")
            .arg(elf())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("qemu-system-arm runs: tests/run installs it");
        let to = child.stdin.take().expect("piped");
        let from = child.stdout.take().expect("piped");
        Machine { child, to, from, files: [log, stored], framer: Framer::new(), session: 0, sequence: 0 }
    }

    /// Messages until one fits.
    fn until(&mut self, mut fits: impl FnMut(&ToHost) -> bool) -> Vec<ToHost> {
        let mut messages = Vec::new();
        let mut byte = [0];
        for _ in 0..200_000 {
            self.from.read_exact(&mut byte).expect("it goes on speaking");
            let Some(Ok(frame)) = self.framer.push(byte[0]) else { continue };
            self.session = frame.session;
            let message = postcard::from_bytes(&frame.message).expect("a message of this version");
            let done = fits(&message);
            messages.push(message);
            if done {
                return messages;
            }
        }
        panic!("nothing fits: {messages:?}");
    }

    fn ask(&mut self, message: &ToDevice) -> Result<(), Refused> {
        self.sequence += 1;
        let bytes = postcard::to_stdvec(message).expect("it encodes");
        let frame = encode(self.session, self.sequence, &bytes).expect("it fits");
        self.to.write_all(&frame).and_then(|()| self.to.flush()).expect("it listens");
        let sequence = self.sequence;
        let messages = self.until(|message| matches!(message, ToHost::Answer { sequence: of, .. } if *of == sequence));
        match messages.last() {
            Some(ToHost::Answer { outcome, .. }) => *outcome,
            other => panic!("{other:?}"),
        }
    }

    /// Ends it; gives what was logged.
    fn end(mut self) -> String {
        self.child.kill().and_then(|()| self.child.wait()).expect("it ends");
        let log = std::fs::read_to_string(&self.files[0]).expect("a log");
        for file in &self.files {
            std::fs::remove_file(file).expect("it can be removed");
        }
        log
    }
}

#[test]
fn it_starts_keeps_every_line_low_and_its_control_core_is_alive() {
    let mut machine = Machine::start("start", &[0xFF; SLOT]);
    let mut count = 0;
    let messages = machine.until(|message| {
        count += u32::from(matches!(message, ToHost::Telemetry(_)));
        count == 40
    });
    let Some(ToHost::Hello { identity, restarted, .. }) = messages.first() else { panic!("{:?}", messages.first()) };
    assert_eq!((*identity, restarted.as_str()), (Identity::Device, "power on"));
    let mut last = 0;
    for message in &messages {
        let ToHost::Telemetry(telemetry) = message else { continue };
        let step = telemetry.at_ms - last;
        assert!(last == 0 || (240..=400).contains(&step), "a control tick of {step} ms");
        last = telemetry.at_ms;
        assert!(!telemetry.armed && !telemetry.contactor && telemetry.grant.is_none(), "{telemetry:?}");
    }
    let Some(ToHost::Telemetry(telemetry)) = messages.last() else { panic!("it ends with one") };
    for vessel in Vessel::ALL {
        let reading = telemetry.readings.get(vessel);
        assert!(matches!(reading, ReadingMessage::Fault(_)), "an SPI bus with nobody on it is no temperature: {reading:?}");
    }
    let refused =
        machine.ask(&ToDevice::Demand { vessel: Vessel::LiquorTank, demand: DemandMessage::Hold(60_000), lasts_ms: 5_000 });
    assert_eq!(refused, Err(Refused::NotArmed));

    // The set-and-reset register of port C: the lower half raises pins. Bits 0 to 5 are the lines.
    let log = machine.end();
    let writes: Vec<u32> = writes(&log, "GPIOC").iter().filter_map(|&(at, bits)| (at == 0x18).then_some(bits)).collect();
    assert!(writes.len() > 900, "the fast tick drives the lines: {}", writes.len());
    assert!(writes.iter().all(|bits| bits & 0x3F == 0), "a line was raised");
    assert!(writes.iter().filter(|&&bits| bits == 0x3F << 16).count() > 900, "all six are lowered with every tick");
    for wrong in ["Invalid", "Lockup", "fatal"] {
        assert!(!log.contains(wrong), "{wrong}: {}", log.lines().find(|line| line.contains(wrong)).unwrap_or_default());
    }
    // The watchdog was started, and is fed: key register, then about one feed per control tick.
    let keys = |key: &str| log.lines().filter(|line| line.contains("offset 0x000") && line.ends_with(key)).count();
    assert_eq!(keys("value 0xcccc)") + keys("value 0x0000cccc)"), 1, "started once");
    assert!(keys("value 0xaaaa)") + keys("value 0x0000aaaa)") >= 30, "fed");
}

/// Registers and bits: reference manual RM0090, 8.4 and 19.4; pin and timer: datasheet of the STM32F405, table 9.
#[test]
fn a_flow_meter_in_the_settings_starts_the_timer_that_counts_its_pin_and_none_starts_nothing() {
    let run = |name, flow_per_litre| {
        let mut flash = MemoryFlash::new(4 * SLOT);
        Store::new(&mut flash, 0).save_settings(&Stored { flow_per_litre, ..safe_defaults() }).expect("it fits");
        let mut machine = Machine::start(name, &flash.bytes()[..SLOT]);
        machine.until(|message| matches!(message, ToHost::Telemetry(_)));
        machine.end()
    };
    let none = run("no-meter", 0);
    assert_eq!(writes(&none, "timer[9]"), []);
    let log = run("meter", 450);
    // Input 2 of the timer at its pin, filtered; the trigger before the mode that uses it; counting to the top of 16 bits; running.
    assert_eq!(writes(&log, "timer[9]"), [(0x18, 0xF100), (0x08, 0x60), (0x08, 0x67), (0x2C, 0xFFFF), (0x00, 0x201)]);
    // PA3: alternate function 3, pulled up, and in that mode last of all.
    let port = writes(&log, "GPIOA");
    assert!(port.contains(&(0x20, 0x3000)), "{port:x?}");
    assert!(port.contains(&(0x0C, 0x40)) && port.contains(&(0x00, 0x80)), "{port:x?}");
    assert!(!writes(&none, "GPIOA").contains(&(0x20, 0x3000)));
}

#[test]
fn the_program_leaves_the_store_alone_and_its_stack_lies_below_the_variables() {
    let bytes = std::fs::read(elf()).expect("the image");
    let segments = segments(&bytes).expect("an ELF file");
    let end = segments.iter().map(|(at, bytes)| *at as usize + bytes.len()).max().expect("segments");
    println!("STM32F405: {} bytes of flash", end - 0x0800_0000);
    assert!(end <= 0x0808_0000, "the store begins half-way");
    let symbols = symbols(&bytes).expect("symbols");
    let address = |name: &str| symbols.iter().find(|symbol| symbol.name == name).unwrap_or_else(|| panic!("no symbol {name}")).at;
    assert_eq!(address("_guarded_stack"), 0x2000_2000);
    assert!(address("__sdata") >= address("_guarded_stack"));
    println!("STM32F405: {} bytes of variables", address("__sheap") - address("__sdata"));
    // No word of 64-bit float: the processor has none of it, so a routine would be linked.
    let soft: Vec<&str> = symbols
        .iter()
        .map(|symbol| symbol.name.as_str())
        .filter(|name| name.starts_with("__aeabi_d") && !name.starts_with("__aeabi_div"))
        .collect();
    assert!(soft.is_empty(), "{soft:?}");
}
