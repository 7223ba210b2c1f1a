//! What is said over the link. Temperatures in thousandths of a degree Celsius, duties in hundredths of a percent, times in milliseconds.

pub use super::happening::Happening;
use super::sheet::StepMessage;
use crate::arming::Block;
use crate::fast::{Outputs, Switches};
use crate::probe::{ProbeFault, Reading};
use crate::sequencer::{Figure, Prompt, Sequencer};
use crate::supervisor::{Refusal, Supervisor};
use crate::units::{Celsius, Duty, Instant, Span};
use crate::vessel::{Element, PerElement, PerVessel, Pumps, Vessel};
use heapless::String;
use serde::{Deserialize, Serialize};

/// A line of text; longer ones are cut.
pub type Line = String<96>;

/// Pieces of a text one after the other, cut to the length of a line.
pub fn line(pieces: &[&str]) -> Line {
    let mut line = Line::new();
    for piece in pieces {
        let room = line.capacity() - line.len();
        // What is cut is found to fit.
        let _ = line.push_str(piece.get(..room).unwrap_or(piece));
    }
    line
}

/// From the host to the device.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum ToDevice {
    /// Asks for [`ToHost::Hello`]. Accepted in any session.
    Hello,
    /// Takes all heat away and ends the sheet. Accepted in any session and any state, never counted against the limit of messages.
    Stop,
    /// Asks a vessel for something. Refused unless armed (off is never refused). It ends by itself unless it is repeated in time.
    Demand {
        /// Whom.
        vessel: Vessel,
        /// What.
        demand: DemandMessage,
        /// How long it stays in force, ms; at most [`LONGEST_DEMAND_MS`].
        lasts_ms: u32,
    },
    /// Switches pumps. Refused unless armed.
    Pumps(Pumps),
    /// One step of a sheet, in order. The first clears what was there; the last makes the sheet ready to be started at the panel.
    Step {
        /// Index from 0.
        index: u8,
        /// Number of steps.
        of: u8,
        /// The step.
        step: StepMessage,
    },
    /// Something about the sheet that runs. Refused unless armed, and unless `step` is under way.
    Sheet {
        /// Index of the step that is meant, from 0.
        step: u8,
        /// What.
        act: SheetAct,
    },
}

/// What may be asked of a sheet that runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum SheetAct {
    /// What this prompt asks has been done. Refused unless it is the one that is shown.
    Answer(PromptMessage),
    /// Stops the step's timer, or lets it run.
    Hold(bool),
    /// Ends the step, where nothing waits behind it that a person must have looked at.
    StepOn,
    /// Another temperature, thousandths of a degree Celsius.
    Target(i32),
    /// Another share of full power, hundredths of a percent.
    Share(u16),
}

impl SheetAct {
    /// Does it, if `step` is under way. Whether anybody has armed is for the caller to judge.
    ///
    /// # Errors
    /// Says why not; nothing has changed then.
    pub fn apply(self, step: u8, supervisor: &mut Supervisor) -> Result<(), Refused> {
        match self {
            SheetAct::Target(milli) => return Ok(supervisor.adjust(step, Figure::Target(Celsius::from_milli(milli)))?),
            SheetAct::Share(share) if share > 10_000 => return Err(Refused::NotPossible),
            SheetAct::Share(share) => {
                return Ok(supervisor.adjust(step, Figure::Share(Duty::from_basis_points(u32::from(share))))?);
            }
            SheetAct::Answer(_) | SheetAct::Hold(_) | SheetAct::StepOn => {}
        }
        if supervisor.guard().latch().is_some() {
            return Err(Refused::Tripped);
        }
        let sequencer = supervisor.sequencer_mut().filter(|sequencer| sequencer.step() == step).ok_or(Refused::MovedOn)?;
        let done = match self {
            SheetAct::Answer(meant) => match sequencer.asked().filter(|&asked| PromptMessage::from(asked) == meant) {
                Some(asked) => {
                    sequencer.answer(asked);
                    true
                }
                None => false,
            },
            SheetAct::Hold(held) => {
                sequencer.pause(held);
                true
            }
            SheetAct::StepOn => sequencer.step_on(step),
            SheetAct::Target(_) | SheetAct::Share(_) => false,
        };
        if done { Ok(()) } else { Err(Refused::MovedOn) }
    }
}

/// A demand over the link lasts at most this long unless repeated, ms.
pub const LONGEST_DEMAND_MS: u32 = 10_000;

/// A demand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum DemandMessage {
    /// No heat.
    Off,
    /// Hold this temperature, thousandths of a degree Celsius.
    Hold(i32),
    /// A share of full power, hundredths of a percent.
    Percent(u16),
}

impl DemandMessage {
    /// As the core knows it; saturates.
    pub fn demand(self) -> crate::heat::Demand {
        match self {
            DemandMessage::Off => crate::heat::Demand::Off,
            DemandMessage::Hold(milli) => crate::heat::Demand::Hold(Celsius::from_milli(milli)),
            DemandMessage::Percent(hundredths) => crate::heat::Demand::Percent(Duty::from_basis_points(u32::from(hundredths))),
        }
    }
}

/// From the device to the host.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum ToHost {
    /// Who speaks. Sent when asked, and once at the start.
    Hello {
        /// What speaks.
        identity: Identity,
        /// The firmware's version.
        firmware: String<16>,
        /// Why it last restarted.
        restarted: String<24>,
        /// The highest sequence number it has taken in this session, 0 if none: a host that comes later goes on above it.
        heard: u32,
    },
    /// How it stands, four times a second.
    Telemetry(Telemetry),
    /// What became of the message with this sequence number.
    Answer {
        /// Sequence number of the message.
        sequence: u32,
        /// Done, or why not.
        outcome: Result<(), Refused>,
    },
    /// Something happened.
    Happened {
        /// When, ms since the start.
        at_ms: u64,
        /// What.
        what: Happening,
    },
}

/// What is at the other end. A simulator never says it is a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Identity {
    /// A controller wired to a brewery.
    Device,
    /// A simulation.
    Simulator,
}

/// Why a message was not done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Refused {
    /// Nobody has armed at the panel.
    NotArmed,
    /// The supervisor refuses: no element, a percentage for the mash tun, or a target out of range.
    NotPossible,
    /// A sheet runs and makes the demands.
    SheetRuns,
    /// A trip is latched.
    Tripped,
    /// It would last longer than allowed, or not at all.
    Duration,
    /// The step is out of order, or a figure in it is out of range.
    Step,
    /// Not understood.
    Unknown,
    /// No sheet runs, it has moved on, or its step has no such thing.
    MovedOn,
}

impl From<Refusal> for Refused {
    fn from(refusal: Refusal) -> Refused {
        match refusal {
            Refusal::NoElement(_) | Refusal::MashPercent | Refusal::Target(_) => Refused::NotPossible,
            Refusal::SheetRuns => Refused::SheetRuns,
            Refusal::Tripped => Refused::Tripped,
            Refusal::Step => Refused::MovedOn,
        }
    }
}

/// How the device stands.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Telemetry {
    /// Since the start, ms.
    pub at_ms: u64,
    /// Temperatures in thousandths of a degree Celsius, or why there is none.
    pub readings: PerVessel<ReadingMessage>,
    /// Setpoints in force.
    pub setpoints: PerVessel<Option<i32>>,
    /// What heat control asks for, hundredths of a percent.
    pub wanted: PerElement<u16>,
    /// Who holds the grant.
    pub grant: Option<Element>,
    /// Contactor.
    pub contactor: bool,
    /// Armed.
    pub armed: bool,
    /// The stop loop is closed.
    pub stop_loop: bool,
    /// The key is on.
    pub key: bool,
    /// Pumps.
    pub pumps: Pumps,
    /// What stands in the way of arming.
    pub block: Option<Block>,
    /// The latched trip, in words.
    pub trip: Option<Line>,
    /// Step of the running sheet, from 0.
    pub step: Option<u8>,
    /// What a person is asked.
    pub prompt: Option<PromptMessage>,
    /// Time left on the step's timer, ms.
    pub timer_left_ms: Option<u32>,
    /// Frames that were dropped since the start.
    pub dropped: u32,
    /// A person has stopped the step's timer.
    pub held: bool,
}

impl Telemetry {
    /// How a controller stands. `dropped`: frames that its link dropped.
    pub fn of(
        now: Instant,
        supervisor: &Supervisor,
        outputs: &Outputs,
        switches: &Switches,
        block: Option<Block>,
        dropped: u32,
    ) -> Telemetry {
        let status = supervisor.status();
        let directive = status.directive.as_ref();
        Telemetry {
            at_ms: now.as_micros() / 1_000,
            readings: PerVessel::build(|vessel| (*status.readings.get(vessel)).into()),
            setpoints: PerVessel::build(|vessel| status.setpoints.get(vessel).map(Celsius::milli)),
            wanted: PerElement::build(|element| u16::try_from(status.wanted.get(element).basis_points()).unwrap_or(10_000)),
            grant: outputs.grant,
            contactor: outputs.contactor,
            armed: outputs.armed,
            stop_loop: switches.stop_loop,
            key: switches.key,
            pumps: outputs.pumps,
            block,
            trip: supervisor.guard().latch().map(|latch| line(&latch.trip.words())),
            step: supervisor.sequencer().map(Sequencer::step),
            prompt: directive.and_then(|directive| directive.prompt).map(Into::into),
            timer_left_ms: directive.and_then(|directive| directive.timer_left).map(left_ms),
            dropped,
            held: supervisor.sequencer().is_some_and(Sequencer::is_paused),
        }
    }
}

fn left_ms(span: Span) -> u32 {
    u32::try_from(span.as_millis()).unwrap_or(u32::MAX)
}

/// A reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum ReadingMessage {
    /// Thousandths of a degree Celsius.
    Milli(i32),
    /// None.
    Fault(ProbeFault),
}

impl Default for ReadingMessage {
    fn default() -> ReadingMessage {
        ReadingMessage::Fault(ProbeFault::NotReady)
    }
}

impl From<Reading> for ReadingMessage {
    fn from(reading: Reading) -> ReadingMessage {
        match reading {
            Ok(celsius) => ReadingMessage::Milli(celsius.milli()),
            Err(fault) => ReadingMessage::Fault(fault),
        }
    }
}

/// What a person is asked, with its figure in millilitres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum PromptMessage {
    /// [`Prompt::FillTank`].
    FillTank(i32),
    /// [`Prompt::ReadyToDoughIn`].
    ReadyToDoughIn,
    /// [`Prompt::RunStrike`].
    RunStrike(i32),
    /// [`Prompt::StirInGrain`].
    StirInGrain,
    /// [`Prompt::RefillTank`].
    RefillTank(i32),
    /// [`Prompt::SetSparge`].
    SetSparge,
    /// [`Prompt::KettleCovered`].
    KettleCovered,
    /// [`Prompt::SpargeDone`].
    SpargeDone(i32),
    /// [`Prompt::ReadyWhirlpool`].
    ReadyWhirlpool,
    /// [`Prompt::ReadyChiller`].
    ReadyChiller,
}

impl From<Prompt> for PromptMessage {
    fn from(prompt: Prompt) -> PromptMessage {
        match prompt {
            Prompt::FillTank(litres) => PromptMessage::FillTank(litres.millilitres()),
            Prompt::ReadyToDoughIn => PromptMessage::ReadyToDoughIn,
            Prompt::RunStrike(litres) => PromptMessage::RunStrike(litres.millilitres()),
            Prompt::StirInGrain => PromptMessage::StirInGrain,
            Prompt::RefillTank(litres) => PromptMessage::RefillTank(litres.millilitres()),
            Prompt::SetSparge => PromptMessage::SetSparge,
            Prompt::KettleCovered => PromptMessage::KettleCovered,
            Prompt::SpargeDone(litres) => PromptMessage::SpargeDone(litres.millilitres()),
            Prompt::ReadyWhirlpool => PromptMessage::ReadyWhirlpool,
            Prompt::ReadyChiller => PromptMessage::ReadyChiller,
        }
    }
}
