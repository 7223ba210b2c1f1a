//! What is expected of the controller when a fault comes, and what it cannot see.

use super::fault::{Fault, WATCHDOG_S};
use super::kind::Kind;
use super::scene::Phase;
use super::{Outcome, PAST_LIMIT_K};
use crate::bench::Bench;
use crate::files::RigFile;
use crate::fit;
use copperhold_core::guard::PROBE_PATIENCE;
use copperhold_core::guard::heat_watch::{DEBT, EXPECTED_RISE, PURSE, UNASKED_MARGIN};
use copperhold_core::guard::sense::{
    ALONE_AFTER, CONTACT_PATIENCE, NO_CURRENT_PATIENCE, UNASKED_CURRENT_PATIENCE, UNCOVERED_PATIENCE,
};
use copperhold_core::units::{Kelvin, Span};
use copperhold_core::vessel::{Element, Vessel};

/// What should happen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Expected {
    /// A trip within this time of the fault being there to be seen, s.
    Trip {
        /// Longest time, s.
        within_s: f64,
    },
    /// All element power gone within this time, s, and no heat by itself afterwards.
    Off {
        /// Longest time, s.
        within_s: f64,
    },
    /// No trip: this is to be borne, and the vessel stays within this of where it was sent, K.
    Borne {
        /// Furthest above, K.
        over_k: f64,
    },
    /// No danger: the vessel gets cold, or loses as much as it gets. A trip is for the brewer's time, and either way is right.
    Harmless {
        /// Furthest above where it was sent, K.
        over_k: f64,
    },
    /// Software cannot see it, or not in time. The text says what hardware must do.
    Unseen(&'static str),
}

impl Expected {
    /// The longest time, s, where there is one.
    pub const fn within_s(&self) -> Option<f64> {
        match *self {
            Expected::Trip { within_s } | Expected::Off { within_s } => Some(within_s),
            Expected::Borne { .. } | Expected::Harmless { .. } | Expected::Unseen(_) => None,
        }
    }

    /// Whether an outcome is as expected and nothing unsafe happened that software could have prevented.
    pub fn is_met(&self, outcome: &Outcome) -> bool {
        let answered = match *self {
            Expected::Trip { within_s } => outcome.trip.as_ref().is_some_and(|(_, after_s)| *after_s <= within_s),
            Expected::Off { within_s } => outcome.heated_for_s <= within_s,
            Expected::Borne { over_k } => outcome.trip.is_none() && outcome.over_k <= over_k,
            Expected::Harmless { over_k } => outcome.over_k <= over_k,
            // Not seeing it is no failure.
            Expected::Unseen(_) => true,
        };
        outcome.injected && answered && !outcome.is_unsafe()
    }
}

const DRY: &str = "a dry sheath glows within seconds: only a level or flow line, or a cut-out on the element, is fast enough";
const BOILING: &str = "at the boil more power shows in no thermometer: a current line, or the brewer's eyes";
const SLIPS: &str = "at the boil a fixed share is fired and no rise is expected: a probe that slips out and cools slowly is found late or not at all";
const FROZEN: &str = "a reading that froze where it should be looks right: the vessel's own cut-out";
const DRIFT: &str = "a slow drift looks like water that cools: check probes against each other before the day; the cut-out";

/// Nothing heats it.
const COLD: Expected = Expected::Harmless { over_k: 1.0 };

/// A detector's patience ends with the control tick after it, 0.25 s; and the hundredth of a second by which a fault comes after one.
const TICK_S: f64 = 0.27;
/// The plausibility filter gives a one-wire probe this long before its silence is a fault, s.
const FILTER_S: f64 = 2.0;

/// A detector's patience and a tick, s.
fn after(patience: Span) -> f64 {
    patience.as_millis() as f64 * 1e-3 + TICK_S
}

/// Whether a fault has a meaning in a phase.
pub const fn applies(kind: Kind, phase: Phase) -> bool {
    match kind {
        Kind::CoilFlowStops | Kind::CoilFlowStopsWithMeter => matches!(phase, Phase::Mash),
        Kind::FullPowerByHand => matches!(phase, Phase::Idle | Phase::HeatUp | Phase::Hold),
        Kind::Nobody => matches!(phase, Phase::Idle | Phase::Hold),
        Kind::ElementOpen | Kind::ElementOpenWithCurrent | Kind::ContactorOpen => !matches!(phase, Phase::Idle),
        _ => true,
    }
}

/// What is expected of a fault on a rig in a phase.
pub fn expected(rig: &RigFile, bench: &Bench<Fault>, kind: Kind, phase: Phase) -> Expected {
    let trip = |within_s| Expected::Trip { within_s };
    let limits = Limits::of(rig, bench, phase);
    let heating = matches!(phase, Phase::HeatUp);
    match kind {
        Kind::Dry => Expected::Unseen(DRY),
        // Hold at once, trip after the patience of the level line.
        Kind::DryWithLevel if matches!(phase, Phase::Idle) => Expected::Borne { over_k: 2.0 },
        Kind::DryWithLevel => trip(after(UNCOVERED_PATIENCE)),
        Kind::RelayHalfShorted if matches!(phase, Phase::Mash) => limits.half_in_mash,
        Kind::RelayShorted | Kind::RelayHalfShorted => match phase {
            Phase::Boil | Phase::NearBoil => Expected::Unseen(BOILING),
            _ => trip(limits.unasked_s * if matches!(kind, Kind::RelayHalfShorted) { 2.0 } else { 1.0 }),
        },
        Kind::RelayShortedWithCurrent => match phase {
            Phase::Boil | Phase::NearBoil => Expected::Unseen(BOILING),
            // Seen once the element has been off for a whole control tick.
            _ => trip(after(UNASKED_CURRENT_PATIENCE)),
        },
        Kind::ContactorStuck | Kind::ContactorOpen => trip(after(CONTACT_PATIENCE)),
        Kind::ProbeOut | Kind::ProbesSwapped if matches!(phase, Phase::Idle) => Expected::Borne { over_k: 2.0 },
        Kind::ProbeOut if matches!(phase, Phase::Boil) => Expected::Unseen(SLIPS),
        Kind::ProbeOut => trip(limits.falls_s),
        Kind::ProbesSwapped => trip(limits.no_rise_s),
        Kind::ElementsSwapped => match phase {
            Phase::HeatUp => trip(limits.no_rise_s),
            // The other vessel has half of the time.
            Phase::Changeover => trip(2.0 * limits.unasked_s),
            // The kettle is empty.
            Phase::Mash => Expected::Unseen(DRY),
            Phase::Idle | Phase::Hold | Phase::NearBoil | Phase::Boil => COLD,
        },
        Kind::Nobody => trip(after(ALONE_AFTER)),
        Kind::FullPowerByHand => trip(limits.seen_s),
        Kind::ProbeOpen | Kind::ProbeShorted if matches!(phase, Phase::Idle) => Expected::Borne { over_k: 2.0 },
        Kind::ProbeOpen | Kind::ProbeShorted => trip(FILTER_S + after(PROBE_PATIENCE)),
        Kind::ProbeFrozen if heating => trip(limits.no_rise_s),
        Kind::ProbeFrozen => Expected::Unseen(FROZEN),
        Kind::ProbeDrifts => Expected::Unseen(DRIFT),
        Kind::MainsSags if heating => Expected::Borne { over_k: limits.on_its_way_k.max(2.0) },
        Kind::ProbeGlitches | Kind::MainsSags | Kind::None => Expected::Borne { over_k: 2.0 },
        // Advice is given; meanwhile the tank may be sent as far above the mash as the cascade's limit.
        Kind::CoilFlowStops => Expected::Borne { over_k: 6.0 },
        // The meter's second and a control tick; then nothing heats until a person has looked.
        Kind::CoilFlowStopsWithMeter => Expected::Off { within_s: 1.5 },
        Kind::BrownOut | Kind::ClockStops | Kind::ClockJumps => Expected::Off { within_s: 0.3 },
        // The tick of the reset comes with the next control period.
        Kind::Hang => Expected::Off { within_s: WATCHDOG_S + 0.3 },
        Kind::KeyOff | Kind::StopPressed | Kind::ArmButtonStuck => Expected::Off { within_s: 0.25 },
        // Once it is fully on; a burst is no evidence.
        Kind::ElementOpenWithCurrent if heating => trip(after(NO_CURRENT_PATIENCE)),
        Kind::ElementOpenWithCurrent => COLD,
        Kind::ElementOpen if heating => trip(limits.no_rise_s),
        Kind::ElementOpen => COLD,
    }
}

/// Time limits that follow from the rig.
struct Limits {
    unasked_s: f64,
    no_rise_s: f64,
    falls_s: f64,
    seen_s: f64,
    half_in_mash: Expected,
    on_its_way_k: f64,
}

/// Climb of an element's vessel at full power, K/s, and the lag from the element to the reading, s.
fn truth(rig: &RigFile, bench: &Bench<Fault>, element: Element) -> (f64, f64) {
    let vessel = rig.rig.vessel(element.vessel());
    let climb_k_per_s = *rig.rig.element_power_w().get(element) / bench.brewery.heat_capacity_j_per_k(element.vessel());
    let sheath_s = vessel.element.map_or(0.0, |e| e.sheath_j_per_k / e.sheath_w_per_k);
    (climb_k_per_s, sheath_s + vessel.mixing_s + vessel.probe.lag_s + vessel.probe.delay_s)
}

/// How far water may pass its limit, K. Where nothing but the limit itself can end the heat, water leads a slow thermometer by its climb
/// over the lag.
pub fn may_pass_k(rig: &RigFile, bench: &Bench<Fault>, kind: Kind) -> f64 {
    let leads_k = || {
        let (climb_k_per_s, lag_s) = truth(rig, bench, Element::LiquorTank);
        climb_k_per_s * lag_s
    };
    PAST_LIMIT_K + if matches!(kind, Kind::FullPowerByHand | Kind::ElementsSwapped) { leads_k() } else { 0.0 }
}

fn kelvin(k: Kelvin) -> f64 {
    f64::from(k.milli()) * 1e-3
}

/// Half of the power warms tank and mash together, less what all of it loses. It shows once they have risen by the margin and by what the law
/// gives before it notices; by then they lose more, as vapour pressure near 66 degrees Celsius rises by 4.4 % a kelvin (Clausius and Clapeyron,
/// 2.34 MJ/kg). Where they lose all of it before that, nothing shows and nothing comes of it.
fn half_in_mash(rig: &RigFile, bench: &Bench<Fault>, lag_s: f64) -> Expected {
    let shows_k = kelvin(UNASKED_MARGIN) + 1.0;
    let half_w = 0.5 * rig.rig.element_power_w().liquor_tank;
    let surplus_w = half_w - bench.brewery.losing_w() * (1.0 + 0.044 * shows_k);
    let j_per_k = [Vessel::LiquorTank, Vessel::MashTun].map(|v| bench.brewery.heat_capacity_j_per_k(v)).into_iter().sum::<f64>();
    if surplus_w <= 0.0 {
        return Expected::Harmless { over_k: shows_k };
    }
    Expected::Trip { within_s: shows_k * j_per_k / surplus_w + 2.0 * lag_s + 60.0 }
}

impl Limits {
    fn of(rig: &RigFile, bench: &Bench<Fault>, phase: Phase) -> Limits {
        let element = phase.element();
        let (truth_k_per_s, lag_s) = truth(rig, bench, element);
        let slowest = fit::settings(rig).ok().and_then(|s| s.slowest(element)).map_or(1e-3, |s| f64::from(s.micro()) * 1e-6);
        // What full power owes, K/s. Air that is warmer than the water makes a probe in it rise, and a rise pays: until what is left of it, with
        // the probe's own lag in the air, pays no more than half.
        let owed_k_per_s = slowest * kelvin(DEBT) / kelvin(EXPECTED_RISE);
        let air_lag_s = bench.tamper.air_lag_s;
        let warmer_k = rig.rig.site.air_c - bench.brewery.bulk_c().get(element.vessel());
        let rises_s = air_lag_s * ((warmer_k.max(0.0) / (0.5 * owed_k_per_s * air_lag_s)).max(1.0).ln() + 0.5);
        let into_air_s = if warmer_k > 0.0 { rises_s.max(120.0) } else { 120.0 };
        Limits {
            // The margin's worth of heat, once more for what the law gives before it notices, and the lag it takes to be seen.
            unasked_s: 2.0 * (kelvin(UNASKED_MARGIN) + 1.0) / truth_k_per_s + 2.0 * lag_s + 60.0,
            // The same, with what a fall is forgiven: the purse's share of that work on top.
            falls_s: into_air_s
                + 1.5 * kelvin(EXPECTED_RISE) * (1.0 + kelvin(PURSE) / kelvin(DEBT)) / slowest
                + 2.0 * lag_s.max(60.0)
                + 10.0,
            // Two seconds of patience, a sample of the filter, and a thermometer that lags behind by as long as it does.
            seen_s: 5.0 + 2.0 * lag_s,
            // The fall into the air, the work that should have shown, one and a half lags and ten seconds of grace.
            // A sag in a heat-up may spoil the lesson of climb and lag. That is no danger, and what it makes the control misjudge is no more than
            // what is on its way.
            on_its_way_k: truth_k_per_s * lag_s,
            half_in_mash: half_in_mash(rig, bench, lag_s),
            no_rise_s: 120.0 + 1.5 * kelvin(EXPECTED_RISE) / slowest + 2.0 * lag_s.max(60.0) + 10.0,
        }
    }
}
