//! Faults: each wraps the brewery or the panel, and says when it really took effect.

use super::kind::Kind;
use super::sign::{Sign, Veil};
use crate::bench::Tamper;
use crate::plant::{Brewery, Drive, FlowShare};
use copperhold_core::fast::{Outputs, Switches};
use copperhold_core::probe::{ProbeFault, Reading};
use copperhold_core::units::{Celsius, Instant, Kelvin, Span};
use copperhold_core::vessel::{Element, PerElement, PerVessel};

/// One control period, s.
const PERIOD_S: f64 = 0.25;
/// The watchdog resets a program that hangs after this long, s.
pub const WATCHDOG_S: f64 = 0.5;

/// A meter's word is about its last second.
const METER_S: f64 = 1.0;

/// A probe that hangs in the air follows it with a lag of some tens of seconds, if it is thin and wet, to minutes, in its well; common
/// practice, no source. A drill draws from this range, s.
pub const AIR_LAG_S: (f64, f64) = (15.0, 240.0);

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
    /// When there first was something to see, where that is later than its taking effect, s.
    pub shown_s: Option<f64>,
    /// Power of the element in use, W.
    pub power_w: f64,
    veil: Veil,
    air_c: f64,
    /// With what lag a probe out of the liquid follows the air, s.
    pub air_lag_s: f64,
    held: Option<Celsius>,
    /// The probe in the air, degrees Celsius.
    aired_c: Option<f64>,
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
            shown_s: None,
            power_w,
            veil: Veil::default(),
            air_c,
            air_lag_s: AIR_LAG_S.0,
            held: None,
            aired_c: None,
            frozen_at: None,
            restarted: false,
            emptied: false,
        }
    }

    /// The same, with a sign kept from the controller.
    pub fn hiding(self, hidden: Option<Sign>) -> Fault {
        Fault { veil: Veil::of(hidden), ..self }
    }

    /// The same, with another lag of the probe in the air, s.
    pub const fn airing(self, air_lag_s: f64) -> Fault {
        Fault { air_lag_s, ..self }
    }

    fn begins(&mut self, t_s: f64) -> bool {
        if t_s >= self.at_s {
            self.effect_s.get_or_insert(t_s);
        }
        t_s >= self.at_s
    }

    /// A first-order fall towards the air, of a probe that hangs out.
    fn in_air(&mut self, reading: Celsius) -> Celsius {
        let aired_c = self.aired_c.get_or_insert(crate::fit::degrees(reading));
        *aired_c += (self.air_c - *aired_c) * PERIOD_S / self.air_lag_s;
        crate::fit::celsius(*aired_c)
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
                // Nothing shows before the coil is off.
                if welded && t_s >= self.at_s + 5.0 {
                    self.shown_s.get_or_insert(t_s);
                    switches.key = false;
                }
                switches.sense.contactor = Some(outputs.contactor || welded);
            }
            Kind::ContactorOpen => switches.sense.contactor = Some(outputs.contactor && !self.begins(t_s)),
            Kind::CoilFlowStopsWithMeter => {
                let flowed = !self.begins(t_s) || t_s < self.at_s + METER_S;
                switches.sense.flow = Some(outputs.pumps.mash && flowed);
            }
            Kind::DryWithLevel => *switches.sense.covered.get_mut(self.element) = Some(!self.emptied),
            Kind::RelayShortedWithCurrent => {
                let shorted = self.begins(t_s) && outputs.contactor;
                switches.sense.current = PerElement::build(|e| Some(outputs.element == Some(e) || (shorted && e == self.element)));
            }
            Kind::ElementOpenWithCurrent => {
                let open = self.begins(t_s);
                let of_it = |e| outputs.element == Some(e) && !(open && e == self.element);
                switches.sense.current = PerElement::build(|e| Some(of_it(e)));
            }
            Kind::Nobody | Kind::FullPowerByHand => {
                self.begins(t_s);
            }
            _ => {}
        }
    }
}

impl Tamper for Fault {
    fn readings(&mut self, t_s: f64, readings: &mut PerVessel<Reading>) {
        self.change_readings(t_s, readings);
        self.veil.readings(readings);
    }

    fn switches(&mut self, t_s: f64, outputs: &Outputs, switches: &mut Switches) {
        self.change_switches(t_s, outputs, switches);
        self.veil.switches(t_s, switches);
    }

    fn clock(&mut self, now: Instant) -> Instant {
        let t_s = now.as_micros() as f64 * 1e-6;
        let kind = self.kind;
        let shown = match kind {
            Kind::ClockStops if self.begins(t_s) => *self.frozen_at.get_or_insert(now),
            Kind::ClockJumps if self.begins(t_s) => now.plus(Span::from_secs(3600)),
            _ => now,
        };
        self.veil.clock(shown)
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
                if kind != Kind::RelayShortedWithCurrent && now > commanded {
                    self.shown_s.get_or_insert(t_s);
                }
                // A current line shows it once the element has no grant.
                if kind == Kind::RelayShortedWithCurrent {
                    self.shown_s = if outputs.grant == Some(self.element) { None } else { self.shown_s.or(Some(t_s)) };
                }
                self.unasked_j += (now - commanded) * self.power_w * PERIOD_S;
                *drive.element_on.get_mut(self.element) = now;
            }
            Kind::ElementOpen | Kind::ElementOpenWithCurrent if self.begins(t_s) => *drive.element_on.get_mut(self.element) = 0.0,
            Kind::ContactorOpen if self.begins(t_s) => drive.element_on = PerElement::default(),
            Kind::Dry | Kind::DryWithLevel if !self.emptied && self.begins(t_s) => {
                self.emptied = true;
                self.shown_s = (commanded > 0.0).then_some(t_s);
                brewery.empty(self.element.vessel());
            }
            // The level line is looked at while its element heats.
            Kind::DryWithLevel if self.emptied && commanded > 0.0 => {
                self.shown_s.get_or_insert(t_s);
            }
            Kind::ElementsSwapped if self.begins(t_s) => {
                let on = drive.element_on;
                drive.element_on = PerElement { liquor_tank: on.boil_kettle, boil_kettle: on.liquor_tank };
            }
            Kind::CoilFlowStops | Kind::CoilFlowStopsWithMeter if self.begins(t_s) => {
                brewery.set_flow(FlowShare { mash: 0.0, ..brewery.flow() })
            }
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
