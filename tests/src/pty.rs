//! A pseudo-terminal: a serial port without hardware.

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use std::fs::File;
use std::io::Read;
use std::sync::mpsc::{Receiver, channel};

/// The board's end.
pub struct Line {
    /// What a program opens at the other end.
    pub name: String,
    /// What comes from there.
    pub told: Receiver<Vec<u8>>,
    /// The way there.
    pub output: File,
}

/// A new one, raw from the start, so that nothing is echoed before a program has opened it.
///
/// # Panics
/// The system has none.
pub fn line() -> Line {
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a pseudo-terminal");
    grantpt(&master).expect("granted");
    unlockpt(&master).expect("unlocked");
    let name = ptsname(&master, Vec::new()).expect("a name").into_string().expect("text");
    let (mut input, output) = (File::from(master.try_clone().expect("a second end")), File::from(master));
    let slave = std::fs::OpenOptions::new().read(true).write(true).open(&name).expect("it opens");
    let mut modes = rustix::termios::tcgetattr(&slave).expect("modes");
    modes.make_raw();
    rustix::termios::tcsetattr(&slave, rustix::termios::OptionalActions::Now, &modes).expect("raw");
    let (tell, told) = channel();
    std::thread::spawn(move || {
        let mut bytes = [0; 256];
        while let Ok(n) = input.read(&mut bytes) {
            if tell.send(bytes[..n].to_vec()).is_err() {
                break;
            }
        }
        // Held open until then: without anybody at the other end a read fails.
        drop(slave);
    });
    Line { name, told, output }
}
