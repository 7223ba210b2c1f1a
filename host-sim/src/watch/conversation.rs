//! What is said on the serial link, this end: frames in, moments out; orders in, frames out. No port and no clock of its own.

use super::diary::Diary;
use super::hub::{Hub, Order};
use super::state::{Link, STALE_S, Source};
use super::track::{Known, Track};
use super::translate::{Ask, translate};
use super::words;
use crate::voice::Voice;
use copperhold_core::vessel::{PerVessel, Vessel};
use copperhold_core::wire::Framer;
use copperhold_core::wire::message::{DemandMessage, Happening, Identity, LONGEST_DEMAND_MS, Refused, Telemetry, ToDevice, ToHost};
use std::time::{Duration, Instant};
use tokio::sync::oneshot;

/// The board is asked who it is this often until it says so.
const GREET: Duration = Duration::from_secs(1);
/// A demand is repeated this often: three may be lost before it ends on the board.
const REPEAT: Duration = Duration::from_millis(LONGEST_DEMAND_MS as u64 / 4);
/// An answer that has not come by then does not come.
const ANSWER: Duration = Duration::from_secs(2);
/// Clocks of board and host may drift apart by this much, parts of one, before news counts as late.
const DRIFT: f64 = 300e-6;

/// A question that waits for its answer.
struct Waiting {
    sequence: u32,
    since: Instant,
    outcome: oneshot::Sender<Result<(), String>>,
    demand: Option<(Vessel, DemandMessage)>,
}

/// The talk with one board.
pub struct Conversation {
    port: String,
    track: Track,
    diary: Option<Diary>,
    framer: Framer,
    voice: Voice,
    identity: Option<Identity>,
    last_frame: Option<u32>,
    telemetry: Option<(Telemetry, Instant)>,
    lateness: Lateness,
    greeted: Option<Instant>,
    waiting: Vec<Waiting>,
    /// What a page has asked for by hand, to be repeated. Forgotten with this program: nothing brings heat back.
    held: PerVessel<Option<DemandMessage>>,
    repeated: Option<Instant>,
    out: Vec<u8>,
}

impl Conversation {
    /// Nothing said yet.
    pub fn new(port: String, known: Known) -> Conversation {
        let source = Source::Board { port: port.clone(), firmware: String::new(), restarted: String::new() };
        Conversation {
            port,
            track: Track::new(source, 0, known),
            diary: None,
            framer: Framer::new(),
            voice: Voice::default(),
            identity: None,
            last_frame: None,
            telemetry: None,
            lateness: Lateness::default(),
            greeted: None,
            waiting: Vec::new(),
            held: PerVessel::default(),
            repeated: None,
            out: Vec::new(),
        }
    }

    /// Writes down what is heard.
    pub fn write_in(&mut self, diary: Diary) {
        self.diary = Some(diary);
    }

    /// The port it is on.
    pub fn called(&mut self, port: &str) {
        port.clone_into(&mut self.port);
    }

    /// Whether the board ever said how it stands.
    pub fn has_heard(&self) -> bool {
        self.telemetry.is_some()
    }

    /// The port is gone: what was asked is not repeated on the next one.
    pub fn hung_up(&mut self) {
        self.framer = Framer::new();
        self.identity = None;
        self.greeted = None;
        self.held = PerVessel::default();
        self.lateness = Lateness::default();
        self.out.clear();
        self.waiting.clear();
    }

    /// Bytes from the port.
    pub fn hear(&mut self, now: Instant, bytes: &[u8], hub: &Hub) {
        for &byte in bytes {
            let Some(Ok(frame)) = self.framer.push(byte) else { continue };
            let Ok((message, [])) = postcard::take_from_bytes::<ToHost>(&frame.message) else {
                self.track.caution("The board speaks another version of the link: use the same version of both.");
                continue;
            };
            if self.voice.session() != Some(frame.session) {
                self.meet(frame.session);
            } else if self.last_frame.is_some_and(|last| frame.sequence <= last) {
                // Said before: an echo or an old capture.
                continue;
            }
            self.last_frame = Some(frame.sequence);
            self.take(now, message, hub);
        }
    }

    /// A start of the board that was not met before.
    fn meet(&mut self, session: u32) {
        if self.voice.session().is_some() {
            self.track.restarted(session);
        } else {
            self.track.set_boot(session);
        }
        self.voice = Voice::default();
        self.voice.join(session);
        self.last_frame = None;
        self.identity = None;
        self.greeted = None;
        self.held = PerVessel::default();
        self.lateness = Lateness::default();
    }

    fn take(&mut self, now: Instant, message: ToHost, hub: &Hub) {
        match message {
            ToHost::Hello { identity, firmware, restarted, heard } => {
                self.identity = Some(identity);
                self.voice.go_above(heard);
                self.track.set_source(match identity {
                    Identity::Device => Source::Board {
                        port: self.port.clone(),
                        firmware: firmware.as_str().to_owned(),
                        restarted: restarted.as_str().to_owned(),
                    },
                    Identity::Simulator => Source::Rehearsal { speed: 1.0, drill: None },
                });
            }
            ToHost::Telemetry(telemetry) => {
                self.track.look(&telemetry);
                let late_s = self.lateness.of(now, telemetry.at_ms);
                let free = telemetry.armed && telemetry.trip.is_none() && telemetry.step.is_none();
                if !free {
                    self.held = PerVessel::default();
                }
                // Nothing is shown before it has said what it is.
                if self.identity.is_some() {
                    let moment = self.track.now(&telemetry);
                    if let Some(diary) = &self.diary {
                        diary.moment(now, moment.clone());
                    }
                    hub.put(moment, late_s);
                }
                self.telemetry = Some((telemetry, now));
            }
            ToHost::Answer { sequence, outcome } => self.answered(sequence, outcome),
            ToHost::Happened { at_ms, what } => {
                let at_s = at_ms as f64 / 1000.0;
                match what {
                    Happening::Advised(line) => self.advised(at_s, line.as_str().to_owned()),
                    Happening::Addition(index) => self.track.called(at_s, usize::from(index)),
                    Happening::Lost(count) => self.track.caution(format!("The board's log lost {count} entries.")),
                    Happening::SheetStood(ms) => {
                        self.advised(at_s, format!("the sheet stood still for {} s while nothing could heat", ms / 1_000));
                    }
                    Happening::Armed
                    | Happening::Disarmed
                    | Happening::Grant(_)
                    | Happening::Tripped(_)
                    | Happening::Acknowledged(_)
                    | Happening::Step(_)
                    | Happening::SheetDone => {}
                }
            }
        }
    }

    fn advised(&mut self, at_s: f64, text: String) {
        if let Some(diary) = &self.diary {
            diary.advised(at_s, text.clone());
        }
        self.track.advised(at_s, text);
    }

    fn answered(&mut self, sequence: u32, outcome: Result<(), Refused>) {
        let Some(at) = self.waiting.iter().position(|waiting| waiting.sequence == sequence) else {
            return;
        };
        let waiting = self.waiting.swap_remove(at);
        if let (Ok(()), Some((vessel, demand))) = (outcome, waiting.demand) {
            *self.held.get_mut(vessel) = Some(demand).filter(|demand| *demand != DemandMessage::Off);
        }
        // Whoever asked may be gone.
        let _ = waiting.outcome.send(outcome.map_err(|why| words::refused(why).to_owned()));
    }

    /// An order from a page.
    pub fn ask(&mut self, now: Instant, order: Order) {
        let shown = self.telemetry.as_ref().and_then(|(telemetry, _)| telemetry.prompt);
        let ask = match translate(&order.act, shown) {
            Ok(ask) => ask,
            Err(why) => {
                let _ = order.outcome.send(Err(why));
                return;
            }
        };
        let (message, demand) = match ask {
            Ask::Stop => {
                self.held = PerVessel::default();
                (ToDevice::Stop, None)
            }
            Ask::Demand(vessel, demand) => {
                (ToDevice::Demand { vessel, demand, lasts_ms: LONGEST_DEMAND_MS }, Some((vessel, demand)))
            }
            Ask::Sheet(step, act) => (ToDevice::Sheet { step, act }, None),
        };
        let sequence = self.say(&message);
        self.waiting.push(Waiting { sequence, since: now, outcome: order.outcome, demand });
    }

    /// What is to be sent now.
    pub fn turn(&mut self, now: Instant, hub: &Hub) -> Vec<u8> {
        if self.identity.is_none() && self.greeted.is_none_or(|at| now.duration_since(at) >= GREET) {
            self.greeted = Some(now);
            self.say(&ToDevice::Hello);
        }
        if self.repeated.is_none_or(|at| now.duration_since(at) >= REPEAT) {
            self.repeated = Some(now);
            for vessel in Vessel::ALL {
                if let Some(demand) = *self.held.get(vessel) {
                    self.say(&ToDevice::Demand { vessel, demand, lasts_ms: LONGEST_DEMAND_MS });
                }
            }
        }
        let late = |waiting: &mut Waiting| now.duration_since(waiting.since) >= ANSWER;
        for waiting in self.waiting.extract_if(.., late) {
            let _ = waiting.outcome.send(Err("the board does not answer: look at the panel".to_owned()));
        }
        if self.telemetry.as_ref().is_some_and(|(_, at)| now.duration_since(*at).as_secs_f64() >= STALE_S) {
            hub.set_link(Link::Lost { why: "the board says nothing".to_owned() });
        }
        if let Some(why) = self.diary.as_ref().and_then(Diary::wrong) {
            self.track.caution(why);
        }
        std::mem::take(&mut self.out)
    }

    fn say(&mut self, message: &ToDevice) -> u32 {
        let (sequence, frame) = self.voice.say(message);
        self.out.extend_from_slice(&frame);
        sequence
    }
}

/// How late news is: an old state must not pass for a live one because it has only just come through a full buffer.
#[derive(Debug, Clone, Copy, Default)]
struct Lateness {
    /// Host's time, board's time (s) of the most punctual news, from which the rest is judged.
    punctual: Option<(Instant, f64)>,
}

impl Lateness {
    /// How late news of this board's time is, s.
    fn of(&mut self, now: Instant, at_ms: u64) -> f64 {
        let at_s = at_ms as f64 / 1000.0;
        let Some((then, then_s)) = self.punctual else {
            self.punctual = Some((now, at_s));
            return 0.0;
        };
        let passed_s = now.saturating_duration_since(then).as_secs_f64();
        let late_s = passed_s * (1.0 - DRIFT) - (at_s - then_s);
        if late_s <= 0.0 {
            self.punctual = Some((now, at_s));
        }
        late_s.max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn h36_news_from_a_full_buffer_is_as_late_as_it_is_and_a_slow_crystal_is_not() {
        let start = Instant::now();
        let at = |s: f64| start + Duration::from_secs_f64(s);
        let mut lateness = Lateness::default();
        assert_eq!(lateness.of(at(0.0), 100_000), 0.0);
        // 100 parts in a million slow, for eight hours.
        for hour in 1..=8_u64 {
            let s = hour as f64 * 3600.0;
            assert_eq!(lateness.of(at(s), 100_000 + (s * 999.9) as u64), 0.0, "hour {hour}");
        }
        // Then nothing for a minute, and what was said at its beginning comes at once.
        let s = 8.0 * 3600.0;
        let late = lateness.of(at(s + 60.0), 100_000 + (s * 999.9) as u64 + 250);
        assert!((late - 59.75).abs() < 0.1, "{late}");
    }
}
