//! Faults: each wraps the brewery or the panel, and says when it really took effect.

use crate::bench::Tamper;
use crate::plant::{Brewery, Drive, FlowShare};
use copperhold_core::fast::{Outputs, Switches};
use copperhold_core::guard::sense::Sense;
use copperhold_core::probe::{ProbeFault, Reading};
use copperhold_core::units::{Celsius, Instant, Kelvin, Span};
use copperhold_core::vessel::{Element, PerElement, PerVessel, Vessel};

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
    /// H9: the probe falls out of the liquid.
    ProbeOut,
    /// H10: the probes of tank and kettle are swapped.
    ProbesSwapped,
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
    /// The mains sags by a tenth: no fault, and to be borne.
    MainsSags,
    /// Nothing at all: counts false trips.
    None,
}

impl Kind {
    /// All faults, without [`Kind::None`].
    pub const ALL: [Kind; 24] = [
        Kind::Dry,
        Kind::DryWithLevel,
        Kind::RelayShorted,
        Kind::RelayHalfShorted,
        Kind::RelayShortedWithCurrent,
        Kind::ContactorStuck,
        Kind::ContactorOpen,
        Kind::ProbeOut,
        Kind::ProbesSwapped,
        Kind::ProbeOpen,
        Kind::ProbeShorted,
        Kind::ProbeFrozen,
        Kind::ProbeDrifts,
        Kind::ProbeGlitches,
        Kind::CoilFlowStops,
        Kind::BrownOut,
        Kind::Hang,
        Kind::ClockStops,
        Kind::ClockJumps,
        Kind::KeyOff,
        Kind::StopPressed,
        Kind::ArmButtonStuck,
        Kind::ElementOpen,
        Kind::MainsSags,
    ];

    /// Hazard rows and the fault in words.
    pub const fn name(self) -> (&'static str, &'static str) {
        match self {
            Kind::Dry => ("H2 H3", "element dry, no level line"),
            Kind::DryWithLevel => ("H2 H3", "element dry, level line"),
            Kind::RelayShorted => ("H6", "relay shorted"),
            Kind::RelayHalfShorted => ("H6", "relay half shorted"),
            Kind::RelayShortedWithCurrent => ("H6", "relay shorted, current line"),
            Kind::ContactorStuck => ("H7", "contactor welded, aux contact"),
            Kind::ContactorOpen => ("H8", "contactor drops out, aux contact"),
            Kind::ProbeOut => ("H9", "probe out of the liquid"),
            Kind::ProbesSwapped => ("H10", "probes swapped"),
            Kind::ProbeOpen => ("H11", "probe wire broken"),
            Kind::ProbeShorted => ("H11", "probe shorted"),
            Kind::ProbeFrozen => ("H12", "probe frozen"),
            Kind::ProbeDrifts => ("H12", "probe drifts low"),
            Kind::ProbeGlitches => ("H13", "one wild sample a minute"),
            Kind::CoilFlowStops => ("H15", "coil flow stops"),
            Kind::BrownOut => ("H18 H28", "supply dips, key on"),
            Kind::Hang => ("H19", "program hangs, key on"),
            Kind::ClockStops => ("H22", "clock stands still"),
            Kind::ClockJumps => ("H22", "clock jumps an hour"),
            Kind::KeyOff => ("H29", "key off"),
            Kind::StopPressed => ("H30", "stop pressed and released"),
            Kind::ArmButtonStuck => ("H31", "arm button stuck"),
            Kind::ElementOpen => ("H32", "element open"),
            Kind::MainsSags => ("-", "mains sags by a tenth"),
            Kind::None => ("-", "no fault"),
        }
    }

    /// Whether it shows nowhere while full power is asked for anyway.
    pub const fn hides_behind_full_power(self) -> bool {
        matches!(self, Kind::RelayShorted | Kind::RelayHalfShorted | Kind::RelayShortedWithCurrent)
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

/// The watchdog resets a program that hangs after this long, s.
pub const WATCHDOG_S: f64 = 0.5;

/// What a detector looks for, to be kept from it: shows what the detector is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Sign {
    /// The contactor's auxiliary contact.
    Contact,
    /// The current lines.
    Current,
    /// The level lines.
    Level,
    /// The stop loop.
    StopLoop,
    /// The key.
    Key,
    /// That a reading has failed: the last sound one is shown instead.
    ProbeFault,
    /// That a vessel is at its limit: it is shown a kelvin below the lowest limit there is.
    Limit,
}

/// A kelvin below the limit of tank and tun.
const BELOW_LIMIT: Celsius = Celsius::from_milli(89_000);

/// One fault, injected at a moment.
#[derive(Debug, Clone)]
pub struct Fault {
    /// What.
    pub kind: Kind,
    /// The element in use, and its vessel.
    pub element: Element,
    /// When, s.
    pub at_s: f64,
    /// When it first took effect, s: proof that the injection reached the brewery or the panel.
    pub effect_s: Option<f64>,
    /// Energy that reached an element without having been commanded, J.
    pub unasked_j: f64,
    /// When the first of it came, s.
    pub unasked_s: Option<f64>,
    /// Power of the element in use, W.
    pub power_w: f64,
    hidden: Option<Sign>,
    sound: PerVessel<Option<Celsius>>,
    air_c: f64,
    held: Option<Celsius>,
    frozen_at: Option<Instant>,
    restarted: bool,
    emptied: bool,
}

impl Fault {
    /// A fault to come.
    pub fn new(kind: Kind, element: Element, at_s: f64, power_w: f64, air_c: f64) -> Fault {
        Fault {
            kind,
            element,
            at_s,
            effect_s: None,
            unasked_j: 0.0,
            unasked_s: None,
            power_w,
            hidden: None,
            sound: PerVessel::default(),
            air_c,
            held: None,
            frozen_at: None,
            restarted: false,
            emptied: false,
        }
    }

    /// The same, with a sign kept from the controller.
    pub fn hiding(self, hidden: Option<Sign>) -> Fault {
        Fault { hidden, ..self }
    }

    fn begins(&mut self, t_s: f64) -> bool {
        if t_s >= self.at_s {
            self.effect_s.get_or_insert(t_s);
        }
        t_s >= self.at_s
    }

    /// A first-order fall towards the air, of a probe that hangs out.
    fn in_air(&mut self, reading: Celsius) -> Celsius {
        let held = self.held.get_or_insert(reading);
        let air = crate::fit::celsius(self.air_c);
        let step = Kelvin::from_milli(air.above(*held).milli() / 60);
        *held = held.plus(step);
        *held
    }
}

impl Fault {
    fn hide_readings(&mut self, readings: &mut PerVessel<Reading>) {
        for vessel in Vessel::ALL {
            let (reading, sound) = (readings.get_mut(vessel), self.sound.get_mut(vessel));
            match (self.hidden, *reading) {
                (Some(Sign::ProbeFault), Ok(c)) => *sound = Some(c),
                (Some(Sign::ProbeFault), Err(_)) => *reading = sound.map_or(*reading, Ok),
                (Some(Sign::Limit), Ok(c)) => *reading = Ok(c.min(BELOW_LIMIT)),
                _ => {}
            }
        }
    }

    const fn hide_switches(&self, switches: &mut Switches) {
        match self.hidden {
            Some(Sign::Contact) => switches.sense.contactor = None,
            Some(Sign::Current) => switches.sense.current = Sense::NONE.current,
            Some(Sign::Level) => switches.sense.covered = Sense::NONE.covered,
            Some(Sign::StopLoop) => switches.stop_loop = true,
            Some(Sign::Key) => switches.key = true,
            Some(Sign::ProbeFault | Sign::Limit) | None => {}
        }
    }

    fn change_readings(&mut self, t_s: f64, readings: &mut PerVessel<Reading>) {
        let vessel = self.element.vessel();
        let changes = match self.kind {
            Kind::Dry | Kind::DryWithLevel => self.emptied,
            Kind::ProbeOut
            | Kind::ProbesSwapped
            | Kind::ProbeOpen
            | Kind::ProbeShorted
            | Kind::ProbeFrozen
            | Kind::ProbeDrifts
            | Kind::ProbeGlitches => self.begins(t_s),
            _ => false,
        };
        if !changes {
            return;
        }
        let reading = readings.get_mut(vessel);
        let Ok(true_c) = *reading else { return };
        match self.kind {
            Kind::Dry | Kind::DryWithLevel | Kind::ProbeOut => *reading = Ok(self.in_air(true_c)),
            Kind::ProbesSwapped => {
                (readings.liquor_tank, readings.boil_kettle) = (readings.boil_kettle, readings.liquor_tank);
            }
            Kind::ProbeOpen => *reading = Err(ProbeFault::Open),
            Kind::ProbeShorted => *reading = Err(ProbeFault::Shorted),
            Kind::ProbeFrozen => *reading = Ok(*self.held.get_or_insert(true_c)),
            Kind::ProbeDrifts => {
                let drift = Kelvin::from_milli(((t_s - self.at_s) * 0.2 / 60.0 * 1000.0) as i32);
                *reading = Ok(true_c.less(drift));
            }
            Kind::ProbeGlitches if (t_s - self.at_s) % 60.0 < 0.25 => *reading = Ok(true_c.plus(Kelvin::from_milli(40_000))),
            _ => {}
        }
    }

    fn change_switches(&mut self, t_s: f64, outputs: &Outputs, switches: &mut Switches) {
        let kind = self.kind;
        match kind {
            Kind::KeyOff => switches.key &= !self.begins(t_s),
            Kind::StopPressed => {
                let pressed = self.begins(t_s) && t_s < self.at_s + 2.0;
                switches.stop_loop &= !pressed;
            }
            Kind::ArmButtonStuck if self.begins(t_s) => {
                switches.arm = true;
                // Off for a second every ten: the key is cycled again and again.
                switches.key = (t_s - self.at_s) % 10.0 >= 1.0;
            }
            Kind::ContactorStuck => {
                let welded = self.begins(t_s);
                switches.key &= !(welded && t_s >= self.at_s + 5.0);
                switches.sense.contactor = Some(outputs.contactor || welded);
            }
            Kind::ContactorOpen => switches.sense.contactor = Some(outputs.contactor && !self.begins(t_s)),
            Kind::DryWithLevel => *switches.sense.covered.get_mut(self.element) = Some(!self.emptied),
            Kind::RelayShortedWithCurrent => {
                let shorted = self.begins(t_s) && outputs.contactor;
                switches.sense.current = PerElement::build(|e| Some(outputs.element == Some(e) || (shorted && e == self.element)));
            }
            _ => {}
        }
    }
}

impl Tamper for Fault {
    fn readings(&mut self, t_s: f64, readings: &mut PerVessel<Reading>) {
        self.change_readings(t_s, readings);
        self.hide_readings(readings);
    }

    fn switches(&mut self, t_s: f64, outputs: &Outputs, switches: &mut Switches) {
        self.change_switches(t_s, outputs, switches);
        self.hide_switches(switches);
    }

    fn clock(&mut self, now: Instant) -> Instant {
        let t_s = now.as_micros() as f64 * 1e-6;
        if !matches!(self.kind, Kind::ClockStops | Kind::ClockJumps) || !self.begins(t_s) {
            return now;
        }
        if self.kind == Kind::ClockStops { *self.frozen_at.get_or_insert(now) } else { now.plus(Span::from_secs(3600)) }
    }

    fn restarts(&mut self, t_s: f64) -> bool {
        let due = match self.kind {
            Kind::BrownOut => self.begins(t_s),
            Kind::Hang => self.begins(t_s) && t_s >= self.at_s + WATCHDOG_S,
            _ => false,
        };
        let restarts = due && !self.restarted;
        self.restarted |= restarts;
        restarts
    }

    fn hangs(&mut self, t_s: f64) -> bool {
        self.kind == Kind::Hang && self.begins(t_s) && !self.restarted
    }

    fn power(&mut self, t_s: f64, outputs: &Outputs, drive: &mut Drive, brewery: &mut Brewery) {
        let commanded = *drive.element_on.get(self.element);
        let kind = self.kind;
        match kind {
            Kind::RelayShorted | Kind::RelayHalfShorted | Kind::RelayShortedWithCurrent
                if outputs.contactor && self.begins(t_s) =>
            {
                let share = if kind == Kind::RelayHalfShorted { 0.5 } else { 1.0 };
                let now = commanded.max(share);
                if now > commanded {
                    self.unasked_s.get_or_insert(t_s);
                }
                self.unasked_j += (now - commanded) * self.power_w * 0.25;
                *drive.element_on.get_mut(self.element) = now;
            }
            Kind::ElementOpen if self.begins(t_s) => *drive.element_on.get_mut(self.element) = 0.0,
            Kind::ContactorOpen if self.begins(t_s) => drive.element_on = PerElement::default(),
            Kind::Dry | Kind::DryWithLevel if !self.emptied && self.begins(t_s) => {
                self.emptied = true;
                brewery.empty(self.element.vessel());
            }
            Kind::CoilFlowStops if self.begins(t_s) => brewery.set_flow(FlowShare { mash: 0.0, ..brewery.flow() }),
            Kind::MainsSags if self.effect_s.is_none() && self.begins(t_s) => {
                let volts = brewery.network().rig().mains.volts;
                brewery.set_mains_volts(volts * 0.9);
            }
            _ => {}
        }
    }
}

/// Two faults at once. A relay that has shorted heats as long as the contactor is closed, and one that is welded is.
#[derive(Debug, Clone)]
pub struct Pair(pub Fault, pub Fault);

impl Tamper for Pair {
    fn readings(&mut self, t_s: f64, readings: &mut PerVessel<Reading>) {
        self.0.readings(t_s, readings);
        self.1.readings(t_s, readings);
    }

    fn switches(&mut self, t_s: f64, outputs: &Outputs, switches: &mut Switches) {
        self.0.switches(t_s, outputs, switches);
        self.1.switches(t_s, outputs, switches);
    }

    fn restarts(&mut self, t_s: f64) -> bool {
        let (one, other) = (self.0.restarts(t_s), self.1.restarts(t_s));
        one || other
    }

    fn hangs(&mut self, t_s: f64) -> bool {
        let (one, other) = (self.0.hangs(t_s), self.1.hangs(t_s));
        one || other
    }

    fn power(&mut self, t_s: f64, outputs: &Outputs, drive: &mut Drive, brewery: &mut Brewery) {
        let welded = [&self.0, &self.1].iter().any(|f| f.kind == Kind::ContactorStuck && t_s >= f.at_s);
        let closed = Outputs { contactor: outputs.contactor || welded, ..*outputs };
        self.0.power(t_s, &closed, drive, brewery);
        self.1.power(t_s, &closed, drive, brewery);
    }
}
