//! Reads a rig file.

use super::defaults;
use super::diagnose::{Diagnostic, ProblemKind};
use super::quantity::Dimension as D;
use super::rig_keys as keys;
use super::walk::{Reader, Section};
use crate::day::Units;
use crate::rig::{Chiller, Coil, ElementRig, Mains, Probe, ProbeKind, PumpRig, Rig, Site, VesselRig};
use copperhold_core::vessel::{PerVessel, Vessel};

/// A rig as its file gives it.
#[derive(Debug, Clone, PartialEq)]
pub struct RigFile {
    /// The figures, complete: what the file left out is derived.
    pub rig: Rig,
    /// Which vessels the file names. The figures of the others are stand-ins.
    pub has: PerVessel<bool>,
    /// Units the owner prefers.
    pub units: Units,
}

impl RigFile {
    /// The rig with a measured dry loss of its kettle, W, unless its file gives one.
    pub fn taught(&self, dry_loss_w: Option<f64>) -> RigFile {
        let mut rig = self.clone();
        rig.rig.boil_kettle.boil_loss_w = rig.rig.boil_kettle.boil_loss_w.or(dry_loss_w);
        rig
    }
}

/// Reads a rig from text. `path` is for messages only.
///
/// # Errors
/// Everything that is wrong with it, in one go.
pub fn parse_rig(path: &str, source: &str) -> Result<RigFile, Diagnostic> {
    let mut reader = Reader::new(path, source);
    let document = reader.document()?;
    let root = reader.root(&document, "a rig", keys::RIG);
    let mains = mains(&mut reader, &root);
    let site = site(&mut reader, &root);
    let sections = PerVessel::build(|vessel| reader.table(&root, key_of(vessel)));
    let has = PerVessel::build(|vessel| root.value(key_of(vessel)).is_some());
    if !has.liquor_tank && !has.boil_kettle {
        reader.missing(&root, &keys::LIQUOR_TANK);
    }
    let elements = PerVessel::build(|vessel| sections.get(vessel).as_ref().and_then(|s| element(&mut reader, s, mains)));
    let capacity = capacities(&mut reader, &sections, &elements);
    let mut vessel = |v: Vessel| vessel(&mut reader, v, sections.get(v).as_ref(), *capacity.get(v), *elements.get(v));
    let (liquor_tank, mash_tun, boil_kettle) = (vessel(Vessel::LiquorTank), vessel(Vessel::MashTun), vessel(Vessel::BoilKettle));
    let size_l = mash_tun.capacity_l;
    let rig = Rig {
        name: reader.text(&root, &keys::NAME).unwrap_or_else(|| "unnamed rig".to_owned()),
        mains,
        site,
        liquor_tank,
        mash_tun,
        boil_kettle,
        coil: coil(&mut reader, &root, size_l),
        pumps: pumps(&mut reader, &root, size_l),
        chiller: chiller(&mut reader, &root, size_l),
    };
    let units = units(&mut reader, &root);
    reader.finish()?;
    Ok(RigFile { rig, has, units })
}

const fn key_of(vessel: Vessel) -> &'static super::key::Key {
    match vessel {
        Vessel::LiquorTank => &keys::LIQUOR_TANK,
        Vessel::MashTun => &keys::MASH_TUN,
        Vessel::BoilKettle => &keys::BOIL_KETTLE,
    }
}

/// The file's own word on units, or the units most of it is written in.
pub(super) fn units(reader: &mut Reader<'_>, root: &Section<'_>) -> Units {
    match reader.word(root, &keys::UNITS) {
        Some("us") => Units::Us,
        Some(_) => Units::Metric,
        None => reader.usual_units(),
    }
}

fn mains(reader: &mut Reader<'_>, root: &Section<'_>) -> Mains {
    let Some(section) = reader.table(root, &keys::MAINS) else {
        return Mains { volts: defaults::MAINS_V, hertz: defaults::mains_hertz(defaults::MAINS_V), measured: false };
    };
    let volts = reader.quantity(&section, &keys::VOLTAGE).unwrap_or(defaults::MAINS_V);
    let hertz = match reader.quantity(&section, &keys::FREQUENCY) {
        None => defaults::mains_hertz(volts),
        Some(50.0) => 50,
        Some(60.0) => 60,
        Some(_) => {
            reader.fault(
                ProblemKind::OutOfRange,
                section.place_of(&keys::FREQUENCY),
                "`frequency` is neither 50 Hz nor 60 Hz",
                "50 Hz or 60 Hz",
                "write the frequency of your supply: frequency = \"50 Hz\" or \"60 Hz\"",
            );
            60
        }
    };
    Mains { volts, hertz, measured: reader.yes_no(&section, &keys::MEASURED).unwrap_or(false) }
}

fn site(reader: &mut Reader<'_>, root: &Section<'_>) -> Site {
    let section = reader.table(root, &keys::SITE);
    let mut get = |key, default| section.as_ref().and_then(|s| reader.quantity(s, key)).unwrap_or(default);
    Site {
        altitude_m: get(&keys::ALTITUDE, 0.0),
        air_c: get(&keys::AIR, defaults::AIR_C),
        humidity: get(&keys::HUMIDITY, defaults::HUMIDITY),
        tap_c: get(&keys::TAP, defaults::TAP_C),
        tap_l_per_min: get(&keys::TAP_FLOW, defaults::TAP_L_PER_MIN),
    }
}

fn element(reader: &mut Reader<'_>, section: &Section<'_>, mains: Mains) -> Option<ElementRig> {
    if section.name == keys::MASH_TUN.name {
        return None;
    }
    let value = section.value(&keys::ELEMENT)?;
    let inner = reader.table(section, &keys::ELEMENT);
    let power_w = match &inner {
        Some(table) => reader.needed(table, &keys::POWER)?,
        None => reader.quantity_of(&keys::ELEMENT, value)?,
    };
    let mut get = |key, default| inner.as_ref().and_then(|s| reader.quantity(s, key)).unwrap_or(default);
    let sheath_w_per_k = get(&keys::SHEATH_CONDUCTANCE, defaults::sheath_w_per_k(power_w));
    Some(ElementRig {
        power_w,
        rated_volts: get(&keys::RATED, mains.volts),
        sheath_w_per_k,
        sheath_j_per_k: get(&keys::SHEATH_CAPACITY, defaults::sheath_j_per_k(sheath_w_per_k)),
    })
}

/// Capacities, L: as given, else from the vessel's own element, else as the other vessels'.
fn capacities(
    reader: &mut Reader<'_>,
    sections: &PerVessel<Option<Section<'_>>>,
    elements: &PerVessel<Option<ElementRig>>,
) -> PerVessel<f64> {
    let own = PerVessel::build(|v| {
        let given = sections.get(v).as_ref().and_then(|s| reader.quantity(s, &keys::CAPACITY));
        given.or_else(|| elements.get(v).map(|e| defaults::capacity_l(e.power_w)))
    });
    let usual = own.liquor_tank.or(own.boil_kettle).or(own.mash_tun).unwrap_or(defaults::CAPACITY_L);
    PerVessel::build(|v| own.get(v).unwrap_or(usual))
}

fn vessel(
    reader: &mut Reader<'_>,
    vessel: Vessel,
    section: Option<&Section<'_>>,
    capacity_l: f64,
    element: Option<ElementRig>,
) -> VesselRig {
    let (insulation, mixing_s) = match vessel {
        Vessel::LiquorTank => (defaults::TANK_INSULATION, defaults::MIXING_S),
        Vessel::MashTun => (defaults::TUN_INSULATION, defaults::MASH_MIXING_S),
        Vessel::BoilKettle => (defaults::KETTLE_INSULATION, defaults::MIXING_S),
    };
    let probe = probe(reader, section);
    let lid = section.and_then(|s| reader.yes_no(s, &keys::LID)).unwrap_or(true);
    let limit_c = section.and_then(|s| reader.quantity(s, &keys::LIMIT));
    let boil_loss_w = section.filter(|_| vessel == Vessel::BoilKettle).and_then(|s| reader.quantity(s, &keys::BOIL_LOSS));
    let mut get = |key, default| section.and_then(|s| reader.quantity(s, key)).unwrap_or(default);
    let diameter_m = get(&keys::DIAMETER, defaults::diameter_m(capacity_l));
    let figures = VesselRig {
        capacity_l,
        diameter_m,
        wall_kg: get(&keys::WALL, defaults::wall_kg(capacity_l, diameter_m)),
        emissivity: get(&keys::EMISSIVITY, defaults::EMISSIVITY),
        insulation: get(&keys::INSULATION, insulation),
        lid,
        element_top_l: get(&keys::ELEMENT_TOP, defaults::element_top_l(capacity_l)),
        dead_space_l: get(&keys::DEAD_SPACE, defaults::dead_space_l(capacity_l)),
        mixing_s: get(&keys::MIXING, mixing_s),
        element,
        probe,
        limit_c,
        boil_loss_w,
    };
    // Only in a file that is right so far: a capacity that was refused has a stand-in here.
    let clean = reader.clean();
    for (key, litres) in [(&keys::ELEMENT_TOP, figures.element_top_l), (&keys::DEAD_SPACE, figures.dead_space_l)] {
        if let Some(section) = section.filter(|s| clean && s.value(key).is_some() && litres >= capacity_l) {
            let full = D::Volume.show(capacity_l, reader.usual_units(), 1);
            reader.fault(
                ProblemKind::Conflict,
                section.place_of(key),
                format!("`{}` is not below the capacity of the {}", key.name, vessel.label()),
                format!("less than {full}"),
                format!("lower `{}`, or raise `capacity`", key.name),
            );
        }
    }
    figures
}

fn probe(reader: &mut Reader<'_>, section: Option<&Section<'_>>) -> Probe {
    let inner = section.and_then(|s| reader.table(s, &keys::PROBE));
    let word = match (&inner, section) {
        (Some(table), _) => reader.word(table, &keys::KIND),
        (None, Some(section)) => reader.word(section, &keys::PROBE),
        (None, None) => None,
    };
    let kind = match word {
        Some("ntc10k") => ProbeKind::Ntc10k,
        Some("ds18b20") => ProbeKind::Ds18b20,
        _ => ProbeKind::Pt100,
    };
    let (lag_s, delay_s, noise_k) = defaults::probe_figures(kind);
    let mut get = |key, default| inner.as_ref().and_then(|s| reader.quantity(s, key)).unwrap_or(default);
    Probe {
        kind,
        lag_s: get(&keys::LAG, lag_s),
        delay_s: get(&keys::DELAY, delay_s),
        noise_k: get(&keys::NOISE, noise_k),
        offset_k: get(&keys::OFFSET, 0.0),
    }
}

fn coil(reader: &mut Reader<'_>, root: &Section<'_>, size_l: f64) -> Coil {
    let section = reader.table(root, &keys::COIL);
    let given = section.and_then(|s| reader.quantity(&s, &keys::COIL_CONDUCTANCE));
    Coil { ua_w_per_k: given.unwrap_or_else(|| defaults::coil_w_per_k(size_l)) }
}

fn pumps(reader: &mut Reader<'_>, root: &Section<'_>, size_l: f64) -> PumpRig {
    let section = reader.table(root, &keys::PUMPS);
    let flow_meter = section.as_ref().and_then(|s| reader.yes_no(s, &keys::FLOW_METER)).unwrap_or(false);
    let mut get = |key, default| section.as_ref().and_then(|s| reader.quantity(s, key)).unwrap_or(default);
    PumpRig {
        mash_l_per_min: get(&keys::MASH_FLOW, defaults::pump_l_per_min(size_l)),
        liquor_l_per_min: get(&keys::LIQUOR_FLOW, defaults::pump_l_per_min(size_l)),
        run_off_l_per_min: get(&keys::RUN_OFF_FLOW, defaults::run_off_l_per_min(size_l)),
        wort_l_per_min: get(&keys::WORT_FLOW, defaults::pump_l_per_min(size_l)),
        hose_l: get(&keys::HOSE_VOLUME, defaults::hose_l(size_l)),
        hose_w_per_k: get(&keys::HOSE_LOSS, defaults::hose_w_per_k(size_l)),
        flow_meter,
    }
}

fn chiller(reader: &mut Reader<'_>, root: &Section<'_>, size_l: f64) -> Chiller {
    let section = reader.table(root, &keys::CHILLER);
    let mut get = |key, default| section.as_ref().and_then(|s| reader.quantity(s, key)).unwrap_or(default);
    Chiller {
        ua_w_per_k: get(&keys::CHILLER_CONDUCTANCE, defaults::chiller_w_per_k(size_l)),
        water_l_per_min: get(&keys::CHILLER_WATER, defaults::chiller_water_l_per_min(size_l)),
    }
}
