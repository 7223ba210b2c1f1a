//! What goes wrong in a drill, by row of the hazard table; and the rows that no drill can show.

/// What goes wrong. Numbers are rows of the hazard table in the contributors' guide.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// H2, H3: the vessel runs dry around its element; no level line.
    Dry,
    /// H2, H3: the same on a rig with a level line.
    DryWithLevel,
    /// H6: the relay in use has failed shorted.
    RelayShorted,
    /// H6: one half of it has: half the power.
    RelayHalfShorted,
    /// H6: shorted, on a rig with a current line.
    RelayShortedWithCurrent,
    /// H7: the contactor is welded and the key is turned off; rig with an auxiliary contact.
    ContactorStuck,
    /// H8: the contactor drops out; rig with an auxiliary contact.
    ContactorOpen,
    /// H14: full power by hand, whatever the temperature.
    FullPowerByHand,
    /// H3: nobody is there any more.
    Nobody,
    /// H9: the probe falls out of the liquid.
    ProbeOut,
    /// H10: the probes of tank and kettle are swapped.
    ProbesSwapped,
    /// H10: the wires of the two elements are swapped: the other vessel is heated.
    ElementsSwapped,
    /// H11: the probe's wire breaks.
    ProbeOpen,
    /// H11: the probe is shorted.
    ProbeShorted,
    /// H12: the reading freezes.
    ProbeFrozen,
    /// H12: the reading drifts down, 0.2 K a minute.
    ProbeDrifts,
    /// H13: one wild sample a minute.
    ProbeGlitches,
    /// H15: the flow through the coil stops.
    CoilFlowStops,
    /// H15, H16: the same on a rig with a flow meter.
    CoilFlowStopsWithMeter,
    /// H18, H28: the supply dips and the controller starts anew, key still on.
    BrownOut,
    /// H19: the program hangs with its outputs as they are, until the watchdog resets it half a second later; key still on.
    Hang,
    /// H22: the clock stands still.
    ClockStops,
    /// H22: the clock jumps ahead by an hour.
    ClockJumps,
    /// H29: the key is turned off.
    KeyOff,
    /// H30: the stop loop opens, and closes again two seconds later.
    StopPressed,
    /// H31: the arm button sticks, and somebody cycles the key.
    ArmButtonStuck,
    /// H32: the element burns out or its relay stays open.
    ElementOpen,
    /// H32: the same on a rig with a current line.
    ElementOpenWithCurrent,
    /// The mains sags by a tenth: no fault, and to be borne.
    MainsSags,
    /// Nothing at all: counts false trips.
    None,
}

impl Kind {
    /// All faults, without [`Kind::None`].
    pub const ALL: [Kind; 29] = [
        Kind::Dry,
        Kind::DryWithLevel,
        Kind::Nobody,
        Kind::RelayShorted,
        Kind::RelayHalfShorted,
        Kind::RelayShortedWithCurrent,
        Kind::ContactorStuck,
        Kind::ContactorOpen,
        Kind::ProbeOut,
        Kind::ProbesSwapped,
        Kind::ElementsSwapped,
        Kind::ProbeOpen,
        Kind::ProbeShorted,
        Kind::ProbeFrozen,
        Kind::ProbeDrifts,
        Kind::ProbeGlitches,
        Kind::FullPowerByHand,
        Kind::CoilFlowStops,
        Kind::CoilFlowStopsWithMeter,
        Kind::BrownOut,
        Kind::Hang,
        Kind::ClockStops,
        Kind::ClockJumps,
        Kind::KeyOff,
        Kind::StopPressed,
        Kind::ArmButtonStuck,
        Kind::ElementOpen,
        Kind::ElementOpenWithCurrent,
        Kind::MainsSags,
    ];

    /// Hazard rows and the fault in words.
    pub const fn name(self) -> (&'static str, &'static str) {
        match self {
            Kind::Dry => ("H2 H3", "element dry, no level line"),
            Kind::DryWithLevel => ("H2 H3", "element dry, level line"),
            Kind::Nobody => ("H3", "nobody there for hours"),
            Kind::RelayShorted => ("H6", "relay shorted"),
            Kind::RelayHalfShorted => ("H6", "relay half shorted"),
            Kind::RelayShortedWithCurrent => ("H6", "relay shorted, current line"),
            Kind::ContactorStuck => ("H7", "contactor welded, aux contact"),
            Kind::ContactorOpen => ("H8", "contactor drops out, aux contact"),
            Kind::ProbeOut => ("H9", "probe out of the liquid"),
            Kind::ProbesSwapped => ("H10", "probes swapped"),
            Kind::ElementsSwapped => ("H10", "elements' wires swapped"),
            Kind::ProbeOpen => ("H11", "probe wire broken"),
            Kind::ProbeShorted => ("H11", "probe shorted"),
            Kind::ProbeFrozen => ("H12", "probe frozen"),
            Kind::ProbeDrifts => ("H12", "probe drifts low"),
            Kind::ProbeGlitches => ("H13", "one wild sample a minute"),
            Kind::FullPowerByHand => ("H14", "full power by hand, past the limit"),
            Kind::CoilFlowStops => ("H15", "coil flow stops"),
            Kind::CoilFlowStopsWithMeter => ("H15 H16", "coil flow stops, flow meter"),
            Kind::BrownOut => ("H18 H28", "supply dips, key on"),
            Kind::Hang => ("H19", "program hangs, key on"),
            Kind::ClockStops => ("H22", "clock stands still"),
            Kind::ClockJumps => ("H22", "clock jumps an hour"),
            Kind::KeyOff => ("H29", "key off"),
            Kind::StopPressed => ("H30", "stop pressed and released"),
            Kind::ArmButtonStuck => ("H31", "arm button stuck"),
            Kind::ElementOpen => ("H32", "element open"),
            Kind::ElementOpenWithCurrent => ("H32", "element open, current line"),
            Kind::MainsSags => ("-", "mains sags by a tenth"),
            Kind::None => ("-", "no fault"),
        }
    }

    /// Whether it shows nowhere while full power is asked for anyway.
    pub const fn hides_behind_full_power(self) -> bool {
        matches!(self, Kind::RelayShorted | Kind::RelayHalfShorted | Kind::RelayShortedWithCurrent)
    }

    /// Whether it may take hours until there is something to see.
    pub const fn takes_long(self) -> bool {
        self.hides_behind_full_power() || matches!(self, Kind::FullPowerByHand | Kind::Nobody)
    }

    /// Whether the reaction is judged tick by tick.
    pub const fn is_fast(self) -> bool {
        matches!(
            self,
            Kind::BrownOut
                | Kind::Hang
                | Kind::ClockStops
                | Kind::ClockJumps
                | Kind::KeyOff
                | Kind::StopPressed
                | Kind::ArmButtonStuck
        )
    }
}

/// Rows of the hazard table that no fault between brewery and controller can show, and why: their tests are named in the table.
pub const ELSEWHERE: [(&str, &str); 17] = [
    ("H1", "no signal shows it: ground-fault protection and bonds"),
    ("H4", "foam shows in no thermometer; the slow approach to the boil is tested by itself"),
    (
        "H5",
        "cannot be said by the interlock's type; the lines are watched in every drill here, and every reachable state is searched",
    ),
    ("H17", "refused when a file or a message is read"),
    ("H20", "no panic is linked; the handler is tested on the emulated board"),
    ("H21", "tested on the emulated board"),
    ("H23", "program and memory are not checked while they run"),
    ("H24", "tested on the store, cut at every byte"),
    ("H25", "drilled with the link's own code, also together with each other fault"),
    ("H26", "tested on the link"),
    ("H27", "every message in every state is tested on the link"),
    ("H33", "tested on the emulated board"),
    ("H34", "a person: key off before the board is touched"),
    ("H35", "any input in any order, judged by watchers of their own"),
    ("H36", "tested on the live page"),
    ("H37", "no signal shows it: tight terminals and a cut-out in the enclosure"),
    ("H38", "tested on the live page and the link"),
];
