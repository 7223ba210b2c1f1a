//! The ways a thermometer can fail, and what a person is told about each.

/// Why there is no temperature. Every variant means the value is unknown: none carries a substitute.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "wire", derive(serde::Serialize, serde::Deserialize))]
pub enum ProbeFault {
    /// The circuit is broken: the reading sits at the rail of an open element, or nothing answers on the bus.
    Open,
    /// The circuit is bridged: the reading sits at the rail of a shorted element, or the bus is held low.
    Shorted,
    /// The reading is electrically sound but outside the working range, [`super::LOWEST`] to [`super::HIGHEST`].
    OutOfRange,
    /// The data arrived damaged: the check byte does not match.
    Checksum,
    /// No conversion has been made yet: the probe shows its power-on value, or no sample has been taken.
    NotReady,
    /// The sample is too old, or its age cannot be told because the clock ran backwards.
    Stale,
    /// The value moved faster than liquid can, and did not settle.
    Implausible,
    /// The converter chip reports a fault of its own, or sent a code it cannot produce.
    FrontEnd,
    /// The sample comes from another kind of probe than the one set up.
    WrongKind,
}

impl ProbeFault {
    /// Every fault, in the order they are declared.
    pub const ALL: [ProbeFault; 9] = [
        ProbeFault::Open,
        ProbeFault::Shorted,
        ProbeFault::OutOfRange,
        ProbeFault::Checksum,
        ProbeFault::NotReady,
        ProbeFault::Stale,
        ProbeFault::Implausible,
        ProbeFault::FrontEnd,
        ProbeFault::WrongKind,
    ];

    /// The name used in files and messages: lower case, words joined by `_`.
    pub const fn key(self) -> &'static str {
        match self {
            ProbeFault::Open => "open",
            ProbeFault::Shorted => "shorted",
            ProbeFault::OutOfRange => "out_of_range",
            ProbeFault::Checksum => "checksum",
            ProbeFault::NotReady => "not_ready",
            ProbeFault::Stale => "stale",
            ProbeFault::Implausible => "implausible",
            ProbeFault::FrontEnd => "front_end",
            ProbeFault::WrongKind => "wrong_kind",
        }
    }

    /// What is wrong, in plain words: the rest of a sentence that starts with the probe's name.
    pub const fn cause(self) -> &'static str {
        match self {
            ProbeFault::Open => "is disconnected or its wire is broken",
            ProbeFault::Shorted => "is shorted",
            ProbeFault::OutOfRange => "reads a temperature that no brewery has",
            ProbeFault::Checksum => "sends damaged data",
            ProbeFault::NotReady => "has not measured anything yet",
            ProbeFault::Stale => "has stopped sending new readings",
            ProbeFault::Implausible => "jumps faster than any liquid can",
            ProbeFault::FrontEnd => "has a fault in its converter or its wiring",
            ProbeFault::WrongKind => "is not the kind of probe that was set up",
        }
    }

    /// What to do about it, in plain words.
    pub const fn remedy(self) -> &'static str {
        match self {
            ProbeFault::Open => "Push the plug home, then check the cable for a break.",
            ProbeFault::Shorted => "Dry the plug, then check the cable for bare or crushed wires.",
            ProbeFault::OutOfRange => "Check that the probe's kind and resistor match the rig file, and look for a damp plug.",
            ProbeFault::Checksum => "Keep the probe's cable away from the element's, shorten it, and check the pull-up resistor.",
            ProbeFault::NotReady => "Wait two seconds; if it stays, the probe is losing its supply: check the plug.",
            ProbeFault::Stale => "Check the cable; if every probe says this, restart the controller.",
            ProbeFault::Implausible => "Look for a loose plug or wet connection, and keep the cable away from the element's.",
            ProbeFault::FrontEnd => "Check the probe's wiring (2, 3 or 4 wires as the board is set) and the converter's supply.",
            ProbeFault::WrongKind => "Set this vessel's probe kind in the rig file to the one that is fitted.",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_has_its_own_words() {
        for (at, fault) in ProbeFault::ALL.iter().enumerate() {
            assert!(fault.remedy().ends_with('.') && !fault.cause().is_empty());
            for other in ProbeFault::ALL.iter().skip(at + 1) {
                assert_ne!(fault, other);
                assert_ne!(fault.key(), other.key());
                assert_ne!(fault.cause(), other.cause());
                assert_ne!(fault.remedy(), other.remedy());
            }
        }
    }
}
