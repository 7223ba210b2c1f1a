//! How hard to boil: as a share of full power, as a power, or as a rate of boil-off; and what yesterday's volumes teach of it.
//!
//! - *Boil-off*: what leaves as vapour, in volume as measured cold (20 C).
//! - *Dry loss*: power of a boiling kettle that does not become vapour: what goes through the wall, and from the surface without evaporation.
//!
//! `power = dry loss + boil-off x heat of vaporisation`. The dry loss belongs to the kettle, not to the element, so what was learned with
//! one element holds for another.

use crate::units::{Duty, Litres, Span, Watts};
use crate::wide::{Product, Sum};
use fixed::types::I16F16;

/// Power that boils off 1 L/h, in W x 1000: heat of vaporisation 2257 kJ/kg at 100 C (steam tables) x 0.998 kg/L at 20 C / 3600 s. At 3000 m
/// (90 C) it is 1.2 % more.
const MILLIWATT_PER_L_PER_H: u64 = 625_700;
/// A boil shorter than this teaches nothing: a litre's marks on the sight glass are too coarse.
pub const SHORTEST: Span = Span::from_mins(15);
/// The greatest dry loss that is believed.
pub const MOST_LOSS: Watts = Watts::new(3_000);

/// How hard to boil.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BoilPower {
    /// Share of full power.
    Share(Duty),
    /// Electric power.
    Power(Watts),
    /// Boil-off per hour.
    BoilOff(Litres),
}

impl BoilPower {
    /// In watts, for an element of `full` power in a kettle with this dry loss. Saturates; may be more than the element has.
    pub fn watts(self, full: Watts, dry_loss: Watts) -> Watts {
        match self {
            BoilPower::Share(duty) => {
                let watts = u64::from(full.get()).product(u64::from(duty.bits())).plus(1 << 15) >> 16;
                Watts::new(u32::try_from(watts).unwrap_or(u32::MAX))
            }
            BoilPower::Power(watts) => watts,
            BoilPower::BoilOff(per_hour) => Watts::new(vapour_watts(per_hour, Span::from_mins(60)).saturating_add(dry_loss.get())),
        }
    }

    /// As a share of an element of `full` power; `None` if it is more than the element has, or there is none.
    pub fn duty(self, full: Watts, dry_loss: Watts) -> Option<Duty> {
        if let BoilPower::Share(duty) = self {
            return Some(duty);
        }
        let watts = self.watts(full, dry_loss);
        let bits = u64::from(watts.get()) << 16;
        let share = bits.plus(u64::from(full.get() / 2)).checked_div(u64::from(full.get()))?;
        (watts <= full).then(|| Duty::from_fixed(I16F16::from_bits(i32::try_from(share).unwrap_or(1 << 16))))
    }
}

/// The dry loss that two volumes teach: `before` and `after` a boil of mean power `mean` that lasted `lasted`, measured cold.
///
/// `None` if the boil was shorter than [`SHORTEST`], nothing boiled off, or more than the power could have evaporated (by over a tenth: a
/// volume was misread). Otherwise 0 to [`MOST_LOSS`].
pub fn measure(before: Litres, after: Litres, lasted: Span, mean: Watts) -> Option<Watts> {
    let gone = before.millilitres().checked_sub(after.millilitres()).filter(|&ml| ml > 0)?;
    if lasted < SHORTEST {
        return None;
    }
    let vapour = vapour_watts(Litres::from_millilitres(gone), lasted);
    if vapour > mean.get().saturating_add(mean.get() / 10) {
        return None;
    }
    Some(Watts::new(mean.get().saturating_sub(vapour)).min(MOST_LOSS))
}

/// What a mean power boils off in an hour, measured cold; none below the dry loss. Saturates.
pub fn boil_off(mean: Watts, dry_loss: Watts) -> Litres {
    let microwatt_hours = u64::from(mean.get().saturating_sub(dry_loss.get())).product(1_000_000);
    Litres::from_millilitres(i32::try_from(microwatt_hours / MILLIWATT_PER_L_PER_H).unwrap_or(i32::MAX))
}

/// Power that turns a volume into vapour within a time, W, rounded down.
fn vapour_watts(volume: Litres, within: Span) -> u32 {
    let millilitres = u64::try_from(volume.millilitres()).unwrap_or(0);
    // mL x mW h / L = uW h; over hours.
    let microwatt_hours = millilitres.product(MILLIWATT_PER_L_PER_H);
    let watts = microwatt_hours.product(3_600).checked_div(within.as_millis().product(1_000)).unwrap_or(u64::MAX);
    u32::try_from(watts).unwrap_or(u32::MAX)
}

/// The share that gives at the measured voltage what `duty` gives at the nominal one: `duty x (nominal / measured)^2`, at most full power.
///
/// A measured voltage outside half to twice the nominal one is a broken sensor: the share stays as it is.
pub fn compensated(duty: Duty, nominal_mv: u32, measured_mv: u32) -> Duty {
    // Up to 8 kV as they are; beyond, with fewer digits, so that the products below fit 64 bits.
    let excess = nominal_mv.max(measured_mv).checked_ilog2().unwrap_or(0).saturating_sub(22);
    let (nominal, measured) = (u64::from(nominal_mv >> excess), u64::from(measured_mv >> excess));
    if measured * 2 < nominal || measured > nominal * 2 {
        return duty;
    }
    let bits = u64::from(duty.bits()) * nominal * nominal;
    let bits = bits.checked_div(measured * measured).unwrap_or(1 << 16).min(1 << 16);
    Duty::from_fixed(I16F16::from_bits(i32::try_from(bits).unwrap_or(1 << 16)))
}

#[cfg(test)]
mod tests;
