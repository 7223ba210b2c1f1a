//! The source that is real: a controller on a serial port. Finds it, talks to it, finds it again.

use super::conversation::Conversation;
use super::diary::{Diary, Texts};
use super::hub::{Hub, Order};
use super::state::{Link, Now, Source};
use super::track::Known;
use crate::logbook::BookError;
use serial2::SerialPort;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use tokio::sync::mpsc::Receiver;

/// Speed of the board's serial port; USB ignores it.
const BAUD: u32 = 115_200;
/// A read waits this long at most, so that orders are heard.
const READ: Duration = Duration::from_millis(50);
/// A port that is not there is looked for this often.
const AGAIN: Duration = Duration::from_millis(500);
/// The board's USB id, and what it calls itself: the id is a shared one for tests.
const USB: (&str, &str, &str) = ("1209", "0001", "Heating controller");

/// A board to be watched.
pub struct Board {
    port: Option<String>,
    talk: Conversation,
}

impl Board {
    /// `port`: which one; without it, the one with the board's USB id.
    pub fn new(port: Option<String>, known: Known) -> Board {
        let talk = Conversation::new(port.clone().unwrap_or_default(), known);
        Board { port, talk }
    }

    /// Writes the day down in a logbook, from the first news on.
    ///
    /// # Errors
    /// It cannot be opened.
    pub fn record(&mut self, path: &Path, texts: Texts, known: Known) -> Result<(), BookError> {
        self.talk.write_in(Diary::open(path, texts, known)?);
        Ok(())
    }

    /// The moment before anything was heard.
    pub fn first(&self) -> Now {
        let source =
            Source::Board { port: self.port.clone().unwrap_or_default(), firmware: String::new(), restarted: String::new() };
        Now::waiting(source, "looking for the board")
    }

    /// Talks to the board until `stop` is set.
    pub fn run(mut self, hub: &Arc<Hub>, mut orders: Receiver<Order>, stop: &AtomicBool) {
        let mut heard = false;
        while !stop.load(Ordering::Relaxed) {
            let why = match self.open() {
                Ok(port) => {
                    let why = self.serve(&port, hub, &mut orders, stop);
                    heard |= self.talk.has_heard();
                    why
                }
                Err(why) => why,
            };
            hub.set_link(if heard { Link::Lost { why } } else { Link::Waiting { why } });
            self.talk.hung_up();
            while let Ok(order) = orders.try_recv() {
                // Whoever asked may be gone.
                let _ = order.outcome.send(Err("the board is not there: look at its cable and at the panel".to_owned()));
            }
            std::thread::sleep(AGAIN);
        }
    }

    fn open(&mut self) -> Result<SerialPort, String> {
        let path = match &self.port {
            Some(port) => PathBuf::from(port),
            None => find(Path::new("/sys/class/tty"))?,
        };
        let hint = "check the cable, that no other program uses it, and that you may (on Linux: the group dialout)";
        let mut port =
            SerialPort::open(&path, BAUD).map_err(|error| format!("{} cannot be opened: {error}; {hint}", path.display()))?;
        port.set_read_timeout(READ).map_err(|error| error.to_string())?;
        port.set_write_timeout(Duration::from_secs(1)).map_err(|error| error.to_string())?;
        self.talk.called(&path.to_string_lossy());
        Ok(port)
    }

    /// Until the port fails; says why it did.
    fn serve(&mut self, port: &SerialPort, hub: &Arc<Hub>, orders: &mut Receiver<Order>, stop: &AtomicBool) -> String {
        let mut buffer = [0; 512];
        while !stop.load(Ordering::Relaxed) {
            let now = Instant::now();
            match port.read(&mut buffer) {
                Ok(0) => return "the port was closed".to_owned(),
                Ok(n) => self.talk.hear(now, buffer.get(..n).unwrap_or_default(), hub),
                Err(error) if matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted) => {}
                Err(error) => return format!("the port failed: {error}"),
            }
            while let Ok(order) = orders.try_recv() {
                self.talk.ask(now, order);
            }
            let out = self.talk.turn(now, hub);
            if !out.is_empty()
                && let Err(error) = port.write_all(&out)
            {
                return format!("the port takes nothing: {error}");
            }
        }
        "the watch ends".to_owned()
    }
}

/// The one serial port with the board's USB id, from Linux's list of terminals.
///
/// # Errors
/// There is none, or more than one, in words.
pub fn find(list: &Path) -> Result<PathBuf, String> {
    let read = |path: PathBuf| std::fs::read_to_string(path).map(|text| text.trim().to_owned()).unwrap_or_default();
    let is_ours = |entry: &Path| {
        // A terminal's device is an interface of the USB device above it.
        let Ok(interface) = entry.join("device").canonicalize() else { return false };
        interface.ancestors().take(4).any(|above| {
            (read(above.join("idVendor")), read(above.join("idProduct"))) == (USB.0.to_owned(), USB.1.to_owned())
                && read(above.join("product")) == USB.2
        })
    };
    let entries = std::fs::read_dir(list).map(|entries| entries.flatten().map(|entry| entry.path()).collect()).unwrap_or(vec![]);
    let mut found: Vec<PathBuf> = entries.into_iter().filter(|entry| is_ours(entry)).collect();
    found.sort();
    match found.as_slice() {
        [one] => Ok(Path::new("/dev").join(one.file_name().unwrap_or_default())),
        [] => Err("no board is plugged in that says it is one: plug it in, or name its port with --port".to_owned()),
        [_, ..] => Err(format!("there are {} boards: name one's port with --port", found.len())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[cfg(unix)]
    #[test]
    fn the_board_is_found_by_its_id_and_its_name_and_only_if_it_is_alone() {
        let root = std::env::temp_dir().join(format!("copperhold-usb-{}", std::process::id()));
        let plug = |tty: &str, id: &str, product: &str| {
            let device = root.join("devices").join(tty);
            let interface = device.join("1-1:1.0");
            std::fs::create_dir_all(&interface).expect("a folder");
            for (name, text) in [("idVendor", "1209"), ("idProduct", id), ("product", product)] {
                std::fs::write(device.join(name), format!("{text}\n")).expect("a file");
            }
            let entry = root.join("tty").join(tty);
            std::fs::create_dir_all(&entry).expect("a folder");
            std::os::unix::fs::symlink(&interface, entry.join("device")).expect("a link");
        };
        let list = root.join("tty");
        assert!(find(&list).expect_err("none").contains("--port"));
        plug("ttyACM0", "0001", "Something else");
        plug("ttyACM1", "0002", "Heating controller");
        assert!(find(&list).is_err(), "neither is ours");
        plug("ttyACM2", "0001", "Heating controller");
        assert_eq!(find(&list), Ok(PathBuf::from("/dev/ttyACM2")));
        plug("ttyACM3", "0001", "Heating controller");
        assert!(find(&list).expect_err("two").contains("2 boards"));
        std::fs::remove_dir_all(root).expect("it is ours");
    }
}
