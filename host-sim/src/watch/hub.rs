//! The hub: one source puts in what it sees, any number of readers take it out. A slow reader misses moments, and holds up nobody.

use super::history::History;
use super::state::{About, Link, Now, STALE_S};
use axum::body::Bytes;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;
use tokio::sync::{mpsc, oneshot, watch};

/// How often readers get a moment, ms. They get one whether or not the source has said anything: its age is news too.
pub const BEAT_MS: u64 = 250;
/// Orders that may wait for the source.
const WAITING_ORDERS: usize = 16;

/// A moment, and the same for pages: written once for all of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Snapshot {
    /// As data.
    pub now: Now,
    /// As JSON in a server-sent event.
    pub event: Bytes,
}

impl Snapshot {
    fn of(now: Now) -> Arc<Snapshot> {
        // Plain data without maps: nothing in it can fail to be written.
        let json = serde_json::to_string(&now).unwrap_or_default();
        let event = Bytes::from(format!("event: now\ndata: {json}\n\n"));
        Arc::new(Snapshot { now, event })
    }
}

/// What a reader asks of the source.
#[derive(Debug)]
pub struct Order {
    /// What.
    pub act: super::order::Act,
    /// Where the outcome goes: done, or why not in words.
    pub outcome: oneshot::Sender<Result<(), String>>,
}

/// What the source last said, and when.
#[derive(Debug)]
struct Last {
    now: Now,
    heard: Instant,
    /// How late it was when it was heard, s.
    late_s: f64,
    count: u64,
}

/// The hub. Shared by reference counting: `Arc<Hub>`.
#[derive(Debug)]
pub struct Hub {
    last: Mutex<Last>,
    moments: watch::Sender<Arc<Snapshot>>,
    about: watch::Sender<Arc<About>>,
    orders: mpsc::Sender<Order>,
    history: Mutex<History>,
}

impl Hub {
    /// A hub, and the end where the source hears what is asked of it.
    pub fn new(first: Now, about: About) -> (Arc<Hub>, mpsc::Receiver<Order>) {
        let (orders, asked) = mpsc::channel(WAITING_ORDERS);
        let snapshot = Snapshot::of(first.clone());
        let hub = Hub {
            last: Mutex::new(Last { now: first, heard: Instant::now(), late_s: 0.0, count: 0 }),
            moments: watch::Sender::new(snapshot),
            about: watch::Sender::new(Arc::new(about)),
            orders,
            history: Mutex::default(),
        };
        (Arc::new(hub), asked)
    }

    /// The source says how it stands. `late_s`: how late it says so, where it can be known.
    pub fn put(&self, now: Now, late_s: f64) {
        let mut last = self.last();
        *last = Last { now, heard: Instant::now(), late_s, count: last.count };
    }

    /// The link to the source changed; what was last heard stays, and ages.
    pub fn set_link(&self, link: Link) {
        self.last().now.link = link;
    }

    /// Sends a moment to every reader; to be called every [`BEAT_MS`].
    pub fn beat(&self) {
        let now = {
            let mut last = self.last();
            last.count += 1;
            let age_s = last.heard.elapsed().as_secs_f64() + last.late_s;
            let over = last.now.link == Link::Over;
            let lost = matches!(last.now.link, Link::Lost { .. } | Link::Waiting { .. });
            Now {
                count: last.count,
                // The end of a rehearsed day does not grow old.
                age_s: if over { 0.0 } else { age_s },
                stale: !over && (lost || age_s >= STALE_S),
                ..last.now.clone()
            }
        };
        if now.link == Link::Live {
            self.history.lock().unwrap_or_else(PoisonError::into_inner).take(&now);
        }
        self.moments.send_replace(Snapshot::of(now));
    }

    /// The latest moment.
    pub fn now(&self) -> Arc<Snapshot> {
        self.moments.borrow().clone()
    }

    /// The day so far as JSON, thinned.
    pub fn history(&self) -> String {
        serde_json::to_string(&*self.history.lock().unwrap_or_else(PoisonError::into_inner)).unwrap_or_default()
    }

    /// Every moment from here on, as fast as the reader takes them.
    pub fn moments(&self) -> watch::Receiver<Arc<Snapshot>> {
        self.moments.subscribe()
    }

    /// What does not change from moment to moment.
    pub fn about(&self) -> watch::Receiver<Arc<About>> {
        self.about.subscribe()
    }

    /// Changes it; its edition goes up.
    pub fn set_about(&self, about: About) {
        self.about.send_modify(|held| {
            let edition = held.edition + 1;
            *held = Arc::new(About { edition, ..about });
        });
    }

    /// Asks something of the source.
    ///
    /// # Errors
    /// Why it was not done, in words.
    pub async fn ask(&self, act: super::order::Act) -> Result<(), String> {
        let (outcome, answer) = oneshot::channel();
        let busy = "the controller did not take it: too much is asked at once, or it is not there; look at the panel";
        self.orders.try_send(Order { act, outcome }).map_err(|_| busy.to_owned())?;
        answer.await.unwrap_or_else(|_| Err(busy.to_owned()))
    }

    fn last(&self) -> MutexGuard<'_, Last> {
        // What a thread that failed left behind is still the last that was heard.
        self.last.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests;
