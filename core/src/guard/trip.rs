//! What the guard can say: trips and advice, in plain words.

use crate::probe::ProbeFault;
use crate::vessel::{Element, Vessel};
use core::fmt;

/// A text of one piece.
const fn alone<const PIECES: usize>(text: &'static str) -> [&'static str; PIECES] {
    let mut pieces = [""; PIECES];
    if let Some(first) = pieces.first_mut() {
        *first = text;
    }
    pieces
}

/// A danger that took the heat away. Latched until a person acknowledges it at the panel, after its cause has gone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Trip {
    /// The stop loop opened while armed.
    StopLoop,
    /// A probe that is needed gave no sound reading for too long.
    Probe(Vessel, ProbeFault),
    /// A vessel passed its limit.
    OverTemperature(Vessel),
    /// Time stood still, ran backwards or jumped.
    Clock,
    /// A vessel is heated by something that was not commanded.
    UnaskedHeat(Element),
    /// A vessel's reading does not follow the heat that was commanded.
    NoRise(Element),
    /// A reading fell faster than liquid can.
    Fell(Vessel),
    /// The contactor stays closed although its coil is off.
    ContactorStuck,
    /// The contactor stays open although its coil is on.
    ContactorOpen,
    /// Current flows in an element that is commanded off.
    UnaskedCurrent(Element),
    /// No current flows in an element that is commanded on.
    NoCurrent(Element),
    /// An element is not covered by liquid.
    Uncovered(Element),
    /// An output pin does not follow its command.
    Astray,
    /// Nobody has been there for too long.
    Alone,
}

impl Trip {
    /// What a person should do before acknowledging.
    pub const fn remedy(self) -> &'static str {
        match self {
            Trip::StopLoop => "find out who pressed stop and why; make it safe; release the stop button and check the cut-out",
            Trip::Probe(_, fault) => fault.remedy(),
            Trip::OverTemperature(_) => {
                "switch off at the breaker if it still heats: a relay may have failed shorted; let it cool before you acknowledge"
            }
            Trip::Clock => "switch the controller off and on; if it comes again, replace the board",
            Trip::UnaskedHeat(_) => {
                "switch off at the breaker: a relay has probably failed shorted, or the elements' wires are swapped; have it repaired before you heat again"
            }
            Trip::NoRise(_) => {
                "check that the probe is in this vessel's liquid, that the element is covered and whole, and that probes and elements are not swapped"
            }
            Trip::Fell(_) => {
                "put the probe back into the liquid and fasten it; if liquid was let out, cover the element before you heat"
            }
            Trip::ContactorStuck => "isolate at the breaker: the contactor is welded or jammed; replace it",
            Trip::ContactorOpen => "check the stop loop, the cut-out and the contactor's coil",
            Trip::UnaskedCurrent(_) => "switch off at the breaker: the relay has failed shorted; replace it",
            Trip::NoCurrent(_) => "check the element, its fuse and its relay",
            Trip::Uncovered(_) => "cover the element with liquid before you heat again",
            Trip::Astray => "isolate at the breaker: the board or what it drives has failed",
            Trip::Alone => "look after the brewery, then acknowledge and arm again",
        }
    }
}

impl Trip {
    /// The cause in pieces that follow one another: a sentence without a full stop.
    pub fn words(self) -> [&'static str; 4] {
        let (head, tail) = self.around();
        let cause = if let Trip::Probe(_, fault) = self { fault.cause() } else { "" };
        [head, self.vessel().map_or("", Vessel::label), tail, cause]
    }

    /// What stands before and after the vessel's name.
    #[inline(never)]
    const fn around(self) -> (&'static str, &'static str) {
        match self {
            Trip::StopLoop => ("the emergency stop loop opened", ""),
            Trip::Probe(..) => ("the ", " probe "),
            Trip::OverTemperature(_) => ("the ", " passed its temperature limit"),
            Trip::Clock => ("the controller's clock stood still or jumped", ""),
            Trip::UnaskedHeat(_) => ("the ", " warms up although nothing asked for heat"),
            Trip::NoRise(_) => ("the ", " does not warm up although its element should heat"),
            Trip::Fell(_) => ("the ", " reading fell faster than liquid can"),
            Trip::ContactorStuck => ("the contactor stays closed although it is switched off", ""),
            Trip::ContactorOpen => ("the contactor does not close", ""),
            Trip::UnaskedCurrent(_) => ("current flows in the ", "'s element although it is off"),
            Trip::NoCurrent(_) => ("no current flows in the ", "'s element although it is on"),
            Trip::Uncovered(_) => ("the ", "'s element is not covered"),
            Trip::Astray => ("an output pin does not follow its command", ""),
            Trip::Alone => ("nobody has been at the controls for six hours", ""),
        }
    }

    /// The vessel it is about.
    const fn vessel(self) -> Option<Vessel> {
        match self {
            Trip::Probe(vessel, _) | Trip::OverTemperature(vessel) | Trip::Fell(vessel) => Some(vessel),
            Trip::UnaskedHeat(element)
            | Trip::NoRise(element)
            | Trip::UnaskedCurrent(element)
            | Trip::NoCurrent(element)
            | Trip::Uncovered(element) => Some(element.vessel()),
            Trip::StopLoop | Trip::Clock | Trip::ContactorStuck | Trip::ContactorOpen | Trip::Astray | Trip::Alone => None,
        }
    }
}

impl fmt::Display for Trip {
    /// [`Trip::words`].
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.words().into_iter().try_for_each(|piece| f.write_str(piece))
    }
}

/// A warning that takes no heat away by itself and does not latch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Advice {
    /// A probe that nothing depends on just now gives no sound reading.
    Probe(Vessel, ProbeFault),
    /// The mash does not answer a tank that is warmer: nothing flows through the coil.
    FlowStopped,
    /// The mash pump runs and its meter shows no flow: no element, and the pump rests.
    NoFlow,
    /// The meter shows flow although the pump is off.
    StrayFlow,
    /// Nobody has been there for long; the heat will end.
    PersonWanted,
}

impl Advice {
    /// What is wrong and what to do, in pieces that follow one another.
    pub const fn words(self) -> [&'static str; 6] {
        match self {
            Advice::Probe(vessel, fault) => ["the ", vessel.label(), " probe ", fault.cause(), "; ", fault.remedy()],
            Advice::FlowStopped => alone(
                "the mash does not follow the tank, which waits at its last safe offset; check that the pump runs, that its valves are open \
                 and that the grain bed is not stuck",
            ),
            Advice::NoFlow => {
                alone("the mash pump ran and nothing flowed: no heat, pump rests; clear it, then press the green button")
            }
            Advice::StrayFlow => alone("the flow meter counts with the mash pump off: a siphon, or its wire"),
            Advice::PersonWanted => {
                alone("nobody has been at the controls for four hours; press any button, or the heat ends after six")
            }
        }
    }
}

impl fmt::Display for Advice {
    /// [`Advice::words`].
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.words().into_iter().try_for_each(|piece| f.write_str(piece))
    }
}
