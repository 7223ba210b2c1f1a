//! Writes a board's day into the logbook while it is watched: moments become samples, steps and events of a [`Day`].
//!
//! The writing has a thread of its own, so that a slow disk, or another program that locks the book, never holds up an order to the board.
//! What a board cannot know stays empty: volumes but those of the sheet, and where the heat went.

use super::state::{About, Now, StepNow};
use super::track::Known;
use crate::day::{AdditionRecord, AdviceRecord, Day, Judged, PromptRecord, Sample, StepRecord, TripRecord, Volumes};
use crate::logbook::{BookError, Logbook, Opening, Writer};
use crate::report::measure::Measure;
use crate::sheet_subject::subject;
use copperhold_core::supervisor::Knowledge;
use copperhold_core::vessel::{PerElement, PerVessel, Vessel};
use std::path::Path;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::JoinHandle;
use std::time::Instant;

/// Spacing of the samples, s.
const SAMPLE_S: f64 = 1.0;
/// Moments further apart than this say nothing of the time between them, s.
const GAP_S: f64 = 5.0;

/// The files as used.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Texts {
    /// Of the sheet; empty if none was given.
    pub sheet: String,
    /// Of the rig; empty if none was given.
    pub rig: String,
}

enum Note {
    Moment(Instant, Box<Now>),
    Advised { at_s: f64, text: String },
}

/// The end at which the conversation writes. Dropped, the day is closed.
pub struct Diary {
    notes: Option<Sender<Note>>,
    wrong: Receiver<String>,
    thread: Option<JoinHandle<()>>,
}

impl Diary {
    /// Opens the book. The day in it begins with the first moment.
    ///
    /// # Errors
    /// The book cannot be opened.
    pub fn open(path: &Path, texts: Texts, known: Known) -> Result<Diary, BookError> {
        let book = Logbook::open(path)?;
        let (notes, written) = channel();
        let (complain, wrong) = channel();
        let path = path.to_path_buf();
        let thread = std::thread::spawn(move || keep(book, &path, &texts, &known, &written, &complain));
        Ok(Diary { notes: Some(notes), wrong, thread: Some(thread) })
    }

    /// A moment that was heard at `heard`.
    pub fn moment(&self, heard: Instant, now: Now) {
        self.note(Note::Moment(heard, Box::new(now)));
    }

    /// A warning, at the board's time.
    pub fn advised(&self, at_s: f64, text: String) {
        self.note(Note::Advised { at_s, text });
    }

    /// What went wrong since the last time, in words.
    pub fn wrong(&self) -> Option<String> {
        self.wrong.try_iter().last()
    }

    fn note(&self, note: Note) {
        // A thread that ended has said why.
        let _ = self.notes.as_ref().map(|notes| notes.send(note));
    }
}

impl Drop for Diary {
    fn drop(&mut self) {
        self.notes = None;
        if let Some(thread) = self.thread.take() {
            // It has said what went wrong.
            let _ = thread.join();
        }
    }
}

/// The thread: writes until nobody can tell it anything any more.
fn keep(book: Logbook, path: &Path, texts: &Texts, known: &Known, notes: &Receiver<Note>, complain: &Sender<String>) {
    let mut book = Some(book);
    let mut writer = None;
    let mut page = Page::new(known);
    while let Ok(first) = notes.recv() {
        // What waits is written in one go.
        for note in std::iter::once(first).chain(notes.try_iter()) {
            match note {
                Note::Moment(heard, now) => {
                    if let Some(book) = book.take() {
                        let opening =
                            Opening { rehearsed: now.source.is_rehearsal(), sheet_text: &texts.sheet, rig_text: &texts.rig };
                        match Writer::begin(book, &opening, &page.day) {
                            Ok(begun) => {
                                println!("Day {} in {}", begun.number(), path.display());
                                writer = Some(begun);
                            }
                            Err(error) => {
                                let _ = complain.send(format!("the logbook cannot be written: {error}"));
                                return;
                            }
                        }
                    }
                    page.moment(heard, &now);
                }
                Note::Advised { at_s, text } => page.advised(at_s, text),
            }
        }
        if let Some(writer) = &mut writer
            && let Err(error) = writer.follow(&page.day, page.under_way())
        {
            // Whoever listened may be gone; the next one tries again.
            let _ = complain.send(format!("the logbook cannot be written: {error}"));
        }
    }
    let Some(writer) = writer else { return };
    let day = page.finish();
    if let Err(error) = writer.finish(&day, &Knowledge::default()) {
        eprintln!("The end of the day is not in the logbook: {error}");
    }
}

/// The step under way.
struct Running {
    step: StepNow,
    began_s: f64,
    vessel: Option<Vessel>,
    target_c: Option<f64>,
    from_c: Option<f64>,
    energy_j: f64,
    judged: Judged,
}

/// The record being made.
struct Page {
    day: Day,
    known: Known,
    began: Option<Instant>,
    /// The board's start and its time at which the day began, s; before it, if it has restarted since.
    clock: Option<(u32, f64)>,
    /// Time of the day, s.
    t_s: f64,
    next_s: f64,
    duty: PerElement<f64>,
    duty_s: f64,
    energy_j: PerElement<f64>,
    running: Option<Running>,
    asked: Option<PromptRecord>,
    trip: Option<String>,
    /// Index and board's time of the additions that are written down.
    called: Vec<(usize, f64)>,
}

impl Page {
    fn new(known: &Known) -> Page {
        let About { units, rig, sheet, element_w, boiling_c, .. } = &known.about;
        let named = |name: &str, nothing: &str| if name.is_empty() { nothing.to_owned() } else { name.to_owned() };
        let day = Day {
            volumes: Volumes::planned(&known.steps),
            sheet: named(sheet, "a sheet that was not given"),
            rig: named(rig, "a rig that was not given"),
            units: *units,
            element_w: PerElement::build(|element| element_w.get(element).unwrap_or(0.0)),
            boiling_c: boiling_c.unwrap_or(100.0),
            sample_s: SAMPLE_S,
            ..Day::default()
        };
        Page {
            day,
            known: known.clone(),
            began: None,
            clock: None,
            t_s: 0.0,
            next_s: 0.0,
            duty: PerElement::default(),
            duty_s: 0.0,
            energy_j: PerElement::default(),
            running: None,
            asked: None,
            trip: None,
            called: Vec::new(),
        }
    }

    /// The day's time of a board's time.
    fn time(&self, at_s: f64) -> f64 {
        self.clock.map_or(0.0, |(_, zero_s)| (at_s - zero_s).max(0.0))
    }

    fn advised(&mut self, at_s: f64, text: String) {
        let t_s = self.time(at_s);
        self.day.advice.push(AdviceRecord { t_s, text });
    }

    fn moment(&mut self, heard: Instant, now: &Now) {
        let began = *self.began.get_or_insert(heard);
        if self.clock.is_none_or(|(boot, _)| boot != now.boot) {
            // The board's clock begins again; the day's goes on by this host's.
            let gone_s = heard.saturating_duration_since(began).as_secs_f64().max(self.t_s);
            self.clock = Some((now.boot, now.at_s - gone_s));
            self.called.clear();
        }
        let t_s = self.time(now.at_s).max(self.t_s);
        let passed_s = Some(t_s - self.t_s).filter(|&passed_s| passed_s < GAP_S).unwrap_or(0.0);
        self.t_s = t_s;
        self.power(now, passed_s);
        self.steps(now);
        self.events(now);
        if t_s >= self.next_s {
            self.sample(now);
        }
    }

    fn power(&mut self, now: &Now, passed_s: f64) {
        let duty = PerElement {
            liquor_tank: now.vessels.liquor_tank.duty.unwrap_or(0.0),
            boil_kettle: now.vessels.boil_kettle.duty.unwrap_or(0.0),
        };
        self.duty_s += passed_s;
        for element in copperhold_core::vessel::Element::ALL {
            *self.duty.get_mut(element) += duty.get(element) * passed_s;
            *self.energy_j.get_mut(element) += duty.get(element) * self.day.element_w.get(element) * passed_s;
        }
    }

    fn sample(&mut self, now: &Now) {
        let second = self.t_s.floor();
        self.day.samples.push(Sample {
            t_s: second,
            reading_c: PerVessel::build(|v| now.vessel(v).reading_c),
            setpoint_c: PerVessel::build(|v| now.vessel(v).demand.target_c()),
            grant: now.grant,
            duty: PerElement::build(|e| if self.duty_s > 0.0 { (self.duty.get(e) / self.duty_s).clamp(0.0, 1.0) } else { 0.0 }),
            volume_l: PerVessel::default(),
        });
        self.next_s = second + SAMPLE_S;
        (self.duty, self.duty_s) = (PerElement::default(), 0.0);
    }

    fn steps(&mut self, now: &Now) {
        let same = |running: &Running| {
            now.step.as_ref().is_some_and(|step| (step.index, step.began_s) == (running.step.index, running.step.began_s))
        };
        if !self.running.as_ref().is_some_and(same) {
            self.close_step();
            self.running = now.step.as_ref().map(|step| {
                let (vessel, target_c) = self.known.steps.get(step.index).map_or((None, None), subject);
                let reading_c = vessel.and_then(|v| now.vessel(v).reading_c);
                Running {
                    step: step.clone(),
                    began_s: self.time(step.began_s),
                    vessel,
                    target_c,
                    from_c: reading_c,
                    energy_j: self.total_j(),
                    judged: Judged::default(),
                }
            });
        }
        let Some(running) = &mut self.running else { return };
        let held = running.vessel.and_then(|v| now.vessel(v).demand.target_c());
        running.target_c = held.or(running.target_c);
        let reading_c = running.vessel.and_then(|v| now.vessel(v).reading_c);
        if let (Some(target_c), Some(reading_c)) = (running.target_c, reading_c) {
            running.judged.look(running.from_c, target_c, reading_c, now.timer.is_some());
        }
    }

    fn total_j(&self) -> f64 {
        self.energy_j.liquor_tank + self.energy_j.boil_kettle
    }

    fn close_step(&mut self) {
        let energy_kwh = self.total_j() / 3.6e6;
        let Some(running) = self.running.take() else { return };
        let to_c = running.vessel.and_then(|v| *self.day.samples.last()?.reading_c.get(v));
        self.day.steps.push(StepRecord {
            planned_s: self.known.about.steps.get(running.step.index).and_then(|step| step.lasts_s),
            name: running.step.name,
            started_s: running.began_s,
            ended_s: self.t_s,
            vessel: running.vessel,
            from_c: running.from_c,
            target_c: running.target_c,
            to_c,
            overshoot_k: running.judged.overshoot_k(running.target_c),
            hold_rms_k: running.judged.hold_rms_k(),
            energy_kwh: energy_kwh - running.energy_j / 3.6e6,
        });
    }

    /// Number in the day, name and start of the step under way.
    fn under_way(&self) -> Option<(usize, &str, f64)> {
        self.running.as_ref().map(|running| (self.day.steps.len(), running.step.name.as_str(), running.began_s))
    }

    fn events(&mut self, now: &Now) {
        let asked = now.prompt.as_ref().map(|prompt| {
            let text = Measure(self.day.units).asked_text(prompt.text, prompt.litres);
            PromptRecord { asked_s: self.time(prompt.asked_s), answered_s: self.t_s, text }
        });
        let same = |old: &PromptRecord| asked.as_ref().is_some_and(|new| (new.asked_s, &new.text) == (old.asked_s, &old.text));
        if let Some(answered) = self.asked.take_if(|old| !same(old)) {
            self.day.prompts.push(PromptRecord { answered_s: self.t_s, ..answered });
        }
        self.asked = asked;
        let trip = now.trip.as_ref().map(|trip| trip.cause.clone());
        if let Some(new) = now.trip.as_ref().filter(|_| trip != self.trip) {
            let t_s = new.at_s.map_or(self.t_s, |at_s| self.time(at_s));
            self.day.trips.push(TripRecord { t_s, cause: new.cause.clone(), remedy: new.remedy.clone() });
        }
        self.trip = trip;
        for (index, addition) in now.additions.iter().enumerate() {
            let Some(called) = addition.called_s.map(|called_s| (index, called_s)) else { continue };
            if !self.called.contains(&called) {
                self.called.push(called);
                let name = format!("{} {}", addition.amount, addition.name);
                let t_s = self.time(called.1);
                let minutes_left = addition.left_s / 60.0;
                self.day.additions.push(AdditionRecord { t_s, name: name.trim().to_owned(), minutes_left });
            }
        }
    }

    fn finish(mut self) -> Day {
        self.close_step();
        if let Some(asked) = self.asked.take() {
            self.day.prompts.push(PromptRecord { answered_s: self.t_s, ..asked });
        }
        self.day.energy.element_kwh = PerElement::build(|element| self.energy_j.get(element) / 3.6e6);
        self.day
    }
}
