//! The rig as the core knows it: checked figures. There is no other way to make one than [`Settings::new`].

use crate::burst::Mains;
use crate::controller::CONTROL_PERIOD;
use crate::heat::HeatConfig;
use crate::interlock::Timing;
use crate::probe::plausibility::Limits;
use crate::units::{Celsius, Kelvin, Slope, Span, Watts};
use crate::vessel::{Element, PerElement, PerVessel, Vessel};

/// Figures before they are checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
// In this order: a Cortex-M0+ reaches the first bytes of a structure with less code.
#[repr(C)]
pub struct Draft {
    /// Mains frequency.
    pub mains: Mains,
    /// Power of each element at the present mains voltage; `None` where there is no element. 100 to 20,000 W.
    pub element_power: PerElement<Option<Watts>>,
    /// Least volume that covers each element, in millilitres: bounds how fast it can heat. 1,000 to 500,000.
    pub least_ml: PerElement<u32>,
    /// Brimful volume over each element, in millilitres, at least `least_ml`, at most 5,000,000: bounds how slowly it can heat.
    pub greatest_ml: PerElement<u32>,
    /// Hard limit of each vessel, 30 to 115 degrees Celsius.
    pub limit: PerVessel<Celsius>,
    /// Boiling point at the rig's altitude, 80 to 103 degrees Celsius.
    pub boiling: Celsius,
    /// How far the tank may be above the mash target, 0 to 20 K.
    pub cascade_limit: Kelvin,
    /// How long the arm button must be held, 0.25 to 10 s.
    pub press: Span,
    /// Times of the switching hardware.
    pub timing: Timing,
    /// What counts as a plausible reading, per probe.
    pub plausible: PerVessel<Limits>,
}

/// Checked figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settings(Draft);

/// Why a draft was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum SettingsError {
    /// An element's power is outside 100 to 20,000 W, or too much or too little for the least volume over it (0.001 to 1 K/s).
    ElementPower(Element),
    /// There is no element at all.
    NoElement,
    /// The least volume over an element is outside 1 to 500 L.
    LeastVolume(Element),
    /// The brimful volume over an element is less than the least volume, or above 5,000 L.
    GreatestVolume(Element),
    /// A vessel's limit is outside 30 to 115 degrees Celsius.
    Limit(Vessel),
    /// The boiling point is outside 80 to 103 degrees Celsius.
    Boiling,
    /// The cascade limit is outside 0 to 20 K.
    CascadeLimit,
    /// The dead time is outside 20 ms (a full mains cycle at 50 Hz) to 5 s, or the contactor's settling time above 5 s.
    Timing,
    /// The arm button's time is outside 0.25 s (a control tick) to 10 s.
    Press,
}

impl Settings {
    /// Checks every figure.
    ///
    /// # Errors
    /// Names the first figure that is out of its range.
    pub fn new(draft: Draft) -> Result<Settings, SettingsError> {
        if Element::ALL.iter().all(|&element| draft.element_power.get(element).is_none()) {
            return Err(SettingsError::NoElement);
        }
        for element in Element::ALL {
            if draft.element_power.get(element).is_some_and(|power| !(100..=20_000).contains(&power.get())) {
                return Err(SettingsError::ElementPower(element));
            }
            if !(1_000..=500_000).contains(draft.least_ml.get(element)) {
                return Err(SettingsError::LeastVolume(element));
            }
            if !(*draft.least_ml.get(element)..=5_000_000).contains(draft.greatest_ml.get(element)) {
                return Err(SettingsError::GreatestVolume(element));
            }
        }
        let settings = Settings(draft);
        for element in Element::ALL {
            if settings.fastest(element).is_some_and(|slope| HeatConfig::new(slope).is_err()) {
                return Err(SettingsError::ElementPower(element));
            }
        }
        for vessel in Vessel::ALL {
            if !(30_000..=115_000).contains(&draft.limit.get(vessel).milli()) {
                return Err(SettingsError::Limit(vessel));
            }
        }
        if !(80_000..=103_000).contains(&draft.boiling.milli()) {
            return Err(SettingsError::Boiling);
        }
        if !(0..=20_000).contains(&draft.cascade_limit.milli()) {
            return Err(SettingsError::CascadeLimit);
        }
        let longest = Span::from_secs(5);
        let dead_time = draft.timing.dead_time;
        if dead_time < Span::from_millis(20) || dead_time > longest || draft.timing.contactor_settle > longest {
            return Err(SettingsError::Timing);
        }
        if draft.press < CONTROL_PERIOD || draft.press > Span::from_secs(10) {
            return Err(SettingsError::Press);
        }
        Ok(settings)
    }

    /// The figures.
    pub const fn get(&self) -> &Draft {
        &self.0
    }

    /// Hard limit of a vessel.
    pub const fn limit(&self, vessel: Vessel) -> Celsius {
        *self.0.limit.get(vessel)
    }

    /// The fastest an element can heat the least volume that covers it, `P / (m c)` with c = 4.18 J/(g K), rounded up; `None` without an
    /// element.
    pub fn fastest(&self, element: Element) -> Option<Slope> {
        let micro = self.climb_micro(element, *self.0.least_ml.get(element))?;
        Some(Slope::from_micro(i32::try_from(micro.saturating_add(1)).unwrap_or(i32::MAX)))
    }

    /// The slowest an element can heat its vessel, brimful, rounded down; `None` without an element.
    pub fn slowest(&self, element: Element) -> Option<Slope> {
        let micro = self.climb_micro(element, *self.0.greatest_ml.get(element))?;
        Some(Slope::from_micro(i32::try_from(micro).unwrap_or(i32::MAX)))
    }

    fn climb_micro(&self, element: Element, ml: u32) -> Option<u64> {
        let power = (*self.0.element_power.get(element))?;
        let joules_per_kelvin = u64::from(ml).saturating_mul(418) / 100;
        u64::from(power.get()).saturating_mul(1_000_000).checked_div(joules_per_kelvin)
    }
}

#[cfg(test)]
mod tests;
