//! Fits the controller to a rig: the rig's figures in the core's own units.

use crate::files::RigFile;
use crate::plant::{RawCode, air};
use crate::rig::{ProbeKind, Rig};
use copperhold_core::arming;
use copperhold_core::burst::Mains;
use copperhold_core::interlock::Timing;
use copperhold_core::probe::rtd::Pt100;
use copperhold_core::probe::thermistor::Divider;
use copperhold_core::probe::{Limits, ProbeSetup, RawReading, one_wire};
use copperhold_core::settings::{Draft, Settings, SettingsError};
use copperhold_core::units::{Celsius, Kelvin, Watts};
use copperhold_core::vessel::{PerElement, PerVessel, Vessel};

/// Hard limit of tank and tun unless the rig says otherwise, degrees Celsius: above any mash-out or sparge, below scalding steam.
const COOL_LIMIT_C: f64 = 90.0;
/// The kettle's limit lies this far above its boiling point unless the rig says otherwise, K: steam in the well, or a probe that reads high.
const BOIL_MARGIN_K: f64 = 4.0;
/// How far the tank may be above the mash target, K: more denatures enzymes in the coil.
const CASCADE_LIMIT_K: f64 = 6.0;
/// A kettle or tank is filled to at least this share of its capacity before it is heated, or to the top of its element.
const LEAST_FILL: f64 = 0.15;

/// For a rig nobody has described, mL: with the 11 kW assumed for it, this climbs as slowly as 1.5 kW in some 500 L.
const ANY_GREATEST_ML: u32 = 4_000_000;

/// A temperature in the core's type, saturating.
pub fn celsius(c: f64) -> Celsius {
    Celsius::from_milli((c * 1000.0).round() as i32)
}

/// The core's temperature as a number, degrees Celsius.
pub fn degrees(celsius: Celsius) -> f64 {
    f64::from(celsius.fixed().to_bits()) / 65_536.0
}

/// A voltage in the core's unit, mV, saturating.
pub fn millivolts(volts: f64) -> u32 {
    (volts * 1000.0).round() as u32
}

/// The controller's settings for a rig.
///
/// # Errors
/// A figure that the controller does not accept; the rig's own ranges are wider than the controller's in none, so this names a
/// combination (an element far too strong for its vessel).
pub fn settings(file: &RigFile) -> Result<Settings, SettingsError> {
    let rig = &file.rig;
    let power = rig.element_power_w();
    let boiling_c = air::boiling_point_c(rig.site.altitude_m);
    Settings::new(Draft {
        mains: if rig.mains.hertz == 50 { Mains::Hz50 } else { Mains::Hz60 },
        element_power: PerElement::build(|element| {
            let fitted = *file.has.get(element.vessel()) && rig.vessel(element.vessel()).element.is_some();
            fitted.then(|| Watts::new(power.get(element).round() as u32))
        }),
        least_ml: PerElement::build(|element| {
            let vessel = rig.vessel(element.vessel());
            (vessel.element_top_l.max(vessel.capacity_l * LEAST_FILL) * 1000.0).round() as u32
        }),
        greatest_ml: PerElement::build(|element| (rig.vessel(element.vessel()).capacity_l * 1000.0).round() as u32),
        limit: PerVessel::build(|vessel| celsius(limit_c(rig, vessel, boiling_c))),
        boiling: celsius(boiling_c),
        cascade_limit: Kelvin::from_milli((CASCADE_LIMIT_K * 1000.0) as i32),
        plausible: PerVessel::build(|vessel| match rig.vessel(vessel).probe.kind {
            ProbeKind::Ds18b20 => Limits::ONE_WIRE,
            ProbeKind::Pt100 | ProbeKind::Ntc10k => Limits::EVERY_TICK,
        }),
        timing: Timing::default(),
        press: arming::PRESS,
    })
}

/// Settings for a rig nobody has described, 10 to 150 L and up to 11 kW: the steepest climb such a rig could have, and wide limits.
///
/// # Errors
/// None: a test holds it.
pub fn any_rig() -> Result<Settings, SettingsError> {
    Settings::new(Draft {
        mains: Mains::Hz50,
        element_power: PerElement::build(|_| Some(Watts::new(11_000))),
        least_ml: PerElement::build(|_| 9_000),
        greatest_ml: PerElement::build(|_| ANY_GREATEST_ML),
        limit: PerVessel {
            liquor_tank: celsius(98.0),
            mash_tun: celsius(COOL_LIMIT_C),
            boil_kettle: celsius(100.0 + BOIL_MARGIN_K),
        },
        boiling: celsius(100.0),
        cascade_limit: Kelvin::from_milli((CASCADE_LIMIT_K * 1000.0) as i32),
        plausible: PerVessel::build(|_| Limits::ONE_WIRE),
        timing: Timing::default(),
        press: arming::PRESS,
    })
}

fn limit_c(rig: &Rig, vessel: Vessel, boiling_c: f64) -> f64 {
    rig.vessel(vessel).limit_c.unwrap_or(match vessel {
        Vessel::LiquorTank | Vessel::MashTun => COOL_LIMIT_C,
        Vessel::BoilKettle => boiling_c + BOIL_MARGIN_K,
    })
}

/// How each vessel's probe is converted.
pub fn probes(rig: &Rig) -> PerVessel<ProbeSetup> {
    PerVessel::build(|vessel| match rig.vessel(vessel).probe.kind {
        ProbeKind::Pt100 => ProbeSetup::Rtd(Pt100::R_REF_400),
        ProbeKind::Ntc10k => ProbeSetup::Thermistor(Divider::TEN_K3),
        ProbeKind::Ds18b20 => ProbeSetup::OneWire,
    })
}

/// A simulated front end's code as a driver would hand it over.
pub fn raw(code: RawCode) -> RawReading {
    match code {
        RawCode::Pt100 { code } => RawReading::Rtd { code, fault: false },
        RawCode::Ntc10k { code } => RawReading::Thermistor { code },
        RawCode::Ds18b20 { word } => {
            let [low, high] = word.to_le_bytes();
            // Alarm bytes as delivered, 12 bit, reserved bytes as after a conversion.
            let body = [low, high, 0x4B, 0x46, 0x7F, 0xFF, 0x10, 0x10];
            let [a, b, c, d, e, f, g, h] = body;
            RawReading::OneWire { scratchpad: [a, b, c, d, e, f, g, h, one_wire::crc8(&body)] }
        }
    }
}
