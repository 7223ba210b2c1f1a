//! What the guard can say: trips and advice, in plain words.

use crate::probe::ProbeFault;
use crate::vessel::Vessel;
use core::fmt;

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
        }
    }
}

impl fmt::Display for Trip {
    /// The cause, as a sentence without a full stop.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Trip::StopLoop => f.write_str("the emergency stop loop opened"),
            Trip::Probe(vessel, fault) => write!(f, "the {} probe {}", vessel.label(), fault.cause()),
            Trip::OverTemperature(vessel) => write!(f, "the {} passed its temperature limit", vessel.label()),
            Trip::Clock => f.write_str("the controller's clock stood still or jumped"),
        }
    }
}

/// A warning that takes no heat away by itself and does not latch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Advice {
    /// A probe that nothing depends on just now gives no sound reading.
    Probe(Vessel, ProbeFault),
    /// The mash does not answer a tank that is warmer: nothing flows through the coil.
    FlowStopped,
}

impl fmt::Display for Advice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Advice::Probe(vessel, fault) => {
                write!(f, "the {} probe {}; {}", vessel.label(), fault.cause(), fault.remedy())
            }
            Advice::FlowStopped => f.write_str(
                "the mash does not follow the tank, which waits at its last safe offset; check that the pump runs, that its valves are open \
                 and that the grain bed is not stuck",
            ),
        }
    }
}
