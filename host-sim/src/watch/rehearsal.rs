//! The source that needs no board: a rehearsal at a given speed, with the simulated brewer at the panel.

use super::drill::Later;
use super::hub::{Hub, Order};
use super::state::{Link, Now, Source};
use super::track::{Known, Track};
use super::translate::{Ask, translate};
use super::words;
use crate::drill::Kind;
use crate::files::{RigFile, SheetFile};
use crate::logbook::{BookError, Logbook, Opening, Writer};
use crate::rehearse::{Rehearsal, RehearsalError};
use copperhold_core::wire::message::{Refused, Telemetry};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use tokio::sync::mpsc::Receiver;

/// The thread looks for orders and moves on this often.
const TURN: Duration = Duration::from_millis(50);
/// Spacing of the samples in the book, s.
const SAMPLE_S: f64 = 1.0;
/// However fast it is to go, orders are heard after this many control periods.
const LONGEST_CHUNK: u32 = 4_000;

/// What to rehearse.
#[derive(Debug, Clone, Copy)]
pub struct Plan<'a> {
    /// The rig.
    pub rig: &'a RigFile,
    /// The sheet.
    pub sheet: &'a SheetFile,
    /// Seed of noise and pace.
    pub seed: u64,
    /// Seconds of the day in a second.
    pub speed: f64,
    /// A fault, and from when on, s.
    pub drill: Option<(Kind, f64)>,
}

/// A rehearsal to be watched.
pub struct Watched {
    rehearsal: Rehearsal<Later>,
    track: Track,
    speed: f64,
    boot: u32,
    book: Option<Writer>,
    additions: usize,
    advice: usize,
}

impl Watched {
    /// Everything cold, the key off.
    ///
    /// # Errors
    /// The sheet does not suit the rig, or the controller does not accept the rig.
    pub fn new(plan: &Plan<'_>, boot: u32) -> Result<(Watched, Known), RehearsalError> {
        let compiled = plan.sheet.compile(plan.rig).map_err(RehearsalError::Sheet)?;
        let known = Known::of(Some(plan.rig), Some((plan.sheet, &compiled)));
        let source = Source::Rehearsal { speed: plan.speed, drill: plan.drill.map(|(kind, _)| kind.name().1.to_owned()) };
        let rig = &plan.rig.rig;
        let tamper = Later::new(plan.drill, rig.element_power_w(), rig.site.air_c);
        let rehearsal = Rehearsal::new(plan.rig, plan.sheet, plan.seed)?.tampered(tamper).sampled_every(SAMPLE_S);
        let track = Track::new(source, boot, known.clone());
        Ok((Watched { rehearsal, track, speed: plan.speed, boot, book: None, additions: 0, advice: 0 }, known))
    }

    /// Writes the day down in a logbook.
    ///
    /// # Errors
    /// It cannot be opened or written.
    pub fn record(&mut self, path: &Path, sheet_text: &str, rig_text: &str) -> Result<i64, BookError> {
        let opening = Opening { rehearsed: true, sheet_text, rig_text };
        let writer = Writer::begin(Logbook::open(path)?, &opening, self.rehearsal.day())?;
        let number = writer.number();
        self.book = Some(writer);
        Ok(number)
    }

    /// The first moment.
    pub fn first(&self) -> Now {
        self.track.now(&self.telemetry())
    }

    /// Runs the day until it is over or `stop` is set; then answers orders until `stop` is set.
    pub fn run(mut self, hub: &Arc<Hub>, mut orders: Receiver<Order>, stop: &AtomicBool) {
        let began = Instant::now();
        let mut over = false;
        while !stop.load(Ordering::Relaxed) {
            while let Ok(order) = orders.try_recv() {
                let outcome = if over { Err("the rehearsed day is over".to_owned()) } else { self.take(&order) };
                // Whoever asked may be gone.
                let _ = order.outcome.send(outcome);
            }
            if !over {
                over = !self.run_to(began.elapsed().as_secs_f64() * self.speed);
                self.write();
                let link = if over { Link::Over } else { Link::Live };
                hub.put(Now { link, ..self.track.now(&self.telemetry()) }, 0.0);
            }
            std::thread::sleep(TURN);
        }
        self.close();
    }

    /// False when the day is over.
    fn run_to(&mut self, t_s: f64) -> bool {
        for _ in 0..LONGEST_CHUNK {
            if self.rehearsal.t_s() >= t_s {
                break;
            }
            let goes_on = self.rehearsal.advance();
            self.look();
            if !goes_on {
                return false;
            }
        }
        true
    }

    fn look(&mut self) {
        let telemetry = self.telemetry();
        self.track.look(&telemetry);
        let day = self.rehearsal.day();
        for addition in day.additions.get(self.additions..).unwrap_or_default() {
            let index = self.track.additions_called();
            self.track.called(addition.t_s, index);
        }
        self.additions = day.additions.len();
        for advice in day.advice.get(self.advice..).unwrap_or_default() {
            self.track.advised(advice.t_s, advice.text.clone());
        }
        self.advice = day.advice.len();
    }

    fn telemetry(&self) -> Telemetry {
        let controller = self.rehearsal.controller();
        let (switches, outputs) = self.rehearsal.panel();
        let mut now = copperhold_core::units::Instant::START;
        now = now.plus(copperhold_core::units::Span::from_millis((self.rehearsal.t_s() * 1000.0).round() as u64));
        Telemetry::of(now, controller.supervisor(), outputs, switches, controller.block(switches), 0)
    }

    fn take(&mut self, order: &Order) -> Result<(), String> {
        let telemetry = self.telemetry();
        let ask = translate(&order.act, telemetry.prompt)?;
        let refuse = |why: Refused| words::refused(why).to_owned();
        let armed = telemetry.armed;
        let supervisor = self.rehearsal.controller_mut().supervisor_mut();
        match ask {
            Ask::Stop => supervisor.stop_sheet(),
            Ask::Demand(..) | Ask::Sheet(..) if !armed => return Err(refuse(Refused::NotArmed)),
            Ask::Demand(vessel, demand) => {
                supervisor.demand(vessel, demand.demand()).map_err(|refusal| refuse(refusal.into()))?;
            }
            Ask::Sheet(step, act) => {
                act.apply(step, supervisor).map_err(refuse)?;
                if let copperhold_core::wire::message::SheetAct::Answer(prompt) = act {
                    self.rehearsal.answer(words::prompt(prompt));
                }
            }
        }
        Ok(())
    }

    fn write(&mut self) {
        let Some(writer) = &mut self.book else { return };
        let day = self.rehearsal.day();
        if day.samples.len() > writer.samples()
            && let Err(error) = writer.follow(day, self.rehearsal.under_way())
        {
            self.track.caution(format!("the logbook cannot be written: {error}"));
        }
    }

    fn close(self) {
        let knowledge = self.rehearsal.controller().supervisor().knowledge();
        let Some(writer) = self.book else { return };
        let day = self.rehearsal.finish();
        if let Err(error) = writer.finish(&day, &knowledge) {
            eprintln!("The end of the day is not in the logbook: {error}");
        }
    }

    /// Number that this rehearsal drew at its start.
    pub const fn boot(&self) -> u32 {
        self.boot
    }
}
