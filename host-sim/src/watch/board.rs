//! The source that is real: a controller on a serial port. Talks to it, and looks for it again when it is gone.

use super::conversation::Conversation;
use super::diary::{Diary, Texts};
use super::hub::{Hub, Order};
use super::state::{Link, Now, Source};
use super::track::Known;
use crate::logbook::BookError;
use serial2::SerialPort;
use std::io::ErrorKind;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use tokio::sync::mpsc::Receiver;

/// A read waits this long at most, so that orders are heard.
const READ: Duration = Duration::from_millis(50);
/// A port that is not there is looked for this often.
const AGAIN: Duration = Duration::from_millis(500);

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
        let (port, path) = crate::port::open(self.port.as_deref(), READ)?;
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
