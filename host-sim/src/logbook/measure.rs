//! What the brewer measures by hand, and the efficiencies that follow.

use super::StoredDay;
use crate::brewing::extract::{self, Stages};
use crate::brewing::{alcohol, grain, gravity, volumes};
use crate::files::quantity::Dimension;
use crate::files::{self, SheetFile};
use crate::plant::water;

/// What was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Gravity of the first wort, before any sparge.
    FirstWortGravity,
    /// Wort in the kettle before the boil.
    PreBoilVolume,
    /// Its gravity.
    PreBoilGravity,
    /// Wort in the kettle after the boil.
    PostBoilVolume,
    /// Wort in the fermenter.
    FermenterVolume,
    /// Gravity at the start of the fermentation.
    OriginalGravity,
    /// Gravity at its end.
    FinalGravity,
}

impl Kind {
    /// Every kind, in the order of the day.
    pub const ALL: [Kind; 7] = [
        Kind::FirstWortGravity,
        Kind::PreBoilVolume,
        Kind::PreBoilGravity,
        Kind::PostBoilVolume,
        Kind::FermenterVolume,
        Kind::OriginalGravity,
        Kind::FinalGravity,
    ];

    /// Its name in the book and on the command line.
    pub const fn key(self) -> &'static str {
        match self {
            Kind::FirstWortGravity => "first-wort-gravity",
            Kind::PreBoilVolume => "pre-boil-volume",
            Kind::PreBoilGravity => "pre-boil-gravity",
            Kind::PostBoilVolume => "post-boil-volume",
            Kind::FermenterVolume => "fermenter-volume",
            Kind::OriginalGravity => "original-gravity",
            Kind::FinalGravity => "final-gravity",
        }
    }

    /// The kind of that name.
    pub fn of_key(key: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.key() == key)
    }

    /// Whether it is a volume (else a gravity).
    pub const fn is_volume(self) -> bool {
        match self {
            Kind::PreBoilVolume | Kind::PostBoilVolume | Kind::FermenterVolume => true,
            Kind::FirstWortGravity | Kind::PreBoilGravity | Kind::OriginalGravity | Kind::FinalGravity => false,
        }
    }

    /// Reads a value, and brings it to 20 C if it was taken at another temperature (degrees Celsius).
    ///
    /// A volume (`27 L`, 0.1 to 1000 L) shrinks as water does. A gravity is `1.048`, `12.3 P`, or `12.5 Bx` of a refractometer without
    /// compensation; 0.985 to 1.180. Gives litres, or SG.
    ///
    /// # Errors
    /// Says what was expected, for a person.
    pub fn read(self, text: &str, at_c: Option<f64>) -> Result<f64, String> {
        if self.is_volume() {
            let litres = Dimension::Volume.parse(text).map(|quantity| quantity.value).ok().filter(|l| (0.1..=1000.0).contains(l));
            let litres = litres.ok_or_else(|| format!("{text:?} is no volume from 0.1 to 1000 L: write 27 L, or 7.1 gal"))?;
            return Ok(litres / volumes::expansion(at_c.unwrap_or(gravity::REFERENCE_C)));
        }
        let sg = gravity_of(text, at_c).filter(|sg| (0.985..=1.180).contains(sg));
        sg.ok_or_else(|| format!("{text:?} is no gravity from 0.985 to 1.180: write 1.048, 12.3 P, or 12.5 Bx"))
    }
}

fn gravity_of(text: &str, at_c: Option<f64>) -> Option<f64> {
    let lower = text.trim().to_ascii_lowercase();
    let at_c = at_c.unwrap_or(gravity::REFERENCE_C);
    let number = |suffix: &str| -> Option<f64> {
        let digits = lower.strip_suffix(suffix)?.trim_end();
        let plain = digits.bytes().all(|b| b.is_ascii_digit() || b == b'.');
        if plain { digits.parse().ok() } else { None }
    };
    if let Some(brix) = number("bx").or_else(|| number("brix")) {
        return Some(gravity::sg_of_brix(gravity::refractometer(brix, at_c)));
    }
    let read = match number("p").or_else(|| number("plato")) {
        Some(plato) => gravity::sg(plato),
        None => number("sg").or_else(|| number(""))?,
    };
    Some(gravity::hydrometer(read, at_c, gravity::REFERENCE_C))
}

/// A measurement of a day.
#[derive(Debug, Clone, PartialEq)]
pub struct Measurement {
    /// When it was written down, ISO 8601, UTC.
    pub at_utc: String,
    /// What was measured.
    pub kind: Kind,
    /// Litres or SG, at 20 C.
    pub value: f64,
    /// As the brewer wrote it.
    pub given: String,
}

impl StoredDay {
    /// The last measurement of a kind: litres or SG, at 20 C.
    pub fn measured(&self, kind: Kind) -> Option<f64> {
        self.measurements.iter().rev().find(|m| m.kind == kind).map(|m| m.value)
    }

    /// The sheet as used, if its text still reads as one.
    pub fn sheet(&self) -> Option<SheetFile> {
        files::parse_sheet("the sheet in the logbook", &self.sheet_text).ok()
    }

    /// Efficiencies that the measurements give, on grain of usual moisture and this extract (share of its dry mass). Volumes that were not
    /// measured are the rehearsal's or the controller's own, where there are any.
    pub fn stages(&self, extract_dry_basis: f64) -> Stages {
        let grain_kg = self.sheet().map_or(0.0, |sheet| sheet.grain_kg);
        if grain_kg <= 0.0 {
            return Stages::default();
        }
        let potential = grain::potential_kg(grain_kg, grain::MOISTURE, extract_dry_basis);
        let own = |litres: f64| Some(litres).filter(|l| *l > 0.0);
        let volumes = &self.day.volumes;
        let share = |litres: Option<f64>, sg: Option<f64>| Some(extract::efficiency(litres?, sg?, potential));
        let strike_kg = volumes.strike_l * water::density(gravity::REFERENCE_C) / 1000.0;
        let first = self.measured(Kind::FirstWortGravity);
        let original = self.measured(Kind::OriginalGravity);
        Stages {
            conversion: first
                .filter(|_| strike_kg > 0.0)
                .map(|sg| extract::conversion(sg, strike_kg, grain_kg, grain::MOISTURE, potential)),
            mash: share(self.measured(Kind::PreBoilVolume).or(own(volumes.pre_boil_l)), self.measured(Kind::PreBoilGravity)),
            kettle: share(self.measured(Kind::PostBoilVolume).or(own(volumes.post_boil_l)), original),
            brewhouse: share(self.measured(Kind::FermenterVolume), original),
        }
    }

    /// Alcohol by volume, percent, by Balling, once both gravities are known.
    pub fn alcohol(&self) -> Option<f64> {
        Some(alcohol::balling(self.measured(Kind::OriginalGravity)?, self.measured(Kind::FinalGravity)?))
    }

    /// Boil-off as measured by volumes before and after, L/h, over the boil's time; `None` where either was not measured.
    pub fn measured_boil_off(&self) -> Option<f64> {
        let (before, after) = (self.measured(Kind::PreBoilVolume)?, self.measured(Kind::PostBoilVolume)?);
        let hours = self.boil()?.0 / 3600.0;
        Some((before - after) / hours)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_volumes_and_gravities_and_brings_them_to_20_c() {
        let volume = |text, at| Kind::PreBoilVolume.read(text, at);
        assert_eq!(volume("27 L", None), Ok(27.0));
        // 27 L at 95 C: density 961.9 against 998.2 kg/m3 (IAPWS).
        assert!((volume("27 L", Some(95.0)).unwrap() - 27.0 * 961.9 / 998.2).abs() < 0.01);
        let sg = |text, at| Kind::OriginalGravity.read(text, at);
        assert_eq!(sg("1.048", None), Ok(1.048));
        assert_eq!(sg("1.048 SG", Some(20.0)), Ok(1.048));
        assert!((sg("12 P", None).unwrap() - 1.04837).abs() < 1e-4);
        assert!((sg("12 Bx", None).unwrap() - 1.04837).abs() < 1e-4);
        // 1.050 at 30 C is 1.0527 at 20 C.
        assert!((sg("1.050", Some(30.0)).unwrap() - 1.0527).abs() < 1e-3);
        // A refractometer at 25 C reads 0.36 low at 12 Brix.
        assert!(sg("12 Bx", Some(25.0)).unwrap() > sg("12.3 Bx", None).unwrap());
    }

    #[test]
    fn refuses_what_is_neither_and_says_what_to_write() {
        for text in ["", "27", "-3 L", "27 kg", "NaN L", "2000 L"] {
            assert!(Kind::PreBoilVolume.read(text, None).unwrap_err().contains("27 L"), "{text}");
        }
        for text in ["", "48", "1.2", "12 kg", "inf", "nan", "-12 P", "1,048", "1e0"] {
            assert!(Kind::FinalGravity.read(text, None).unwrap_err().contains("1.048"), "{text}");
        }
    }

    #[test]
    fn every_kind_is_found_by_its_key() {
        for kind in Kind::ALL {
            assert_eq!(Kind::of_key(kind.key()), Some(kind));
        }
        assert_eq!(Kind::of_key("volume"), None);
    }
}
