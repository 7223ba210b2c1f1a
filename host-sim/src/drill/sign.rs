//! What a detector looks for, kept from it: the row that it holds must then fail, which shows what the detector is worth.

use copperhold_core::fast::{CLOCK_JUMP, Switches};
use copperhold_core::guard::sense::Sense;
use copperhold_core::probe::Reading;
use copperhold_core::units::{Celsius, Instant, Slope, Span};
use copperhold_core::vessel::{PerVessel, Vessel};

/// A sign.
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
    /// That a reading falls fast: it is shown to fall no faster than cold water makes it.
    Fall,
    /// That time stands or leaps: it is shown to creep, or to go in steps just below those that are found out.
    Clock,
    /// That nobody acts: somebody seems to press a button every hour.
    Absence,
}

/// A kelvin below the limit of tank and tun.
const BELOW_LIMIT: Celsius = Celsius::from_milli(89_000);
/// A good deal slower than what trips.
const UNREMARKABLE_FALL: Slope = Slope::from_micro(500_000);
/// Between two readings.
const SAMPLE: Span = Span::from_millis(250);
/// A press of the acknowledge button every hour, this long, s.
const HOUR_S: f64 = 3_600.0;
const PRESS_S: f64 = 0.5;

/// Keeps one sign, or none, from the controller.
#[derive(Debug, Clone, Default)]
pub(super) struct Veil {
    pub sign: Option<Sign>,
    sound: PerVessel<Option<Celsius>>,
    told: Option<Instant>,
}

impl Veil {
    pub(super) fn of(sign: Option<Sign>) -> Veil {
        Veil { sign, ..Veil::default() }
    }

    pub(super) fn readings(&mut self, readings: &mut PerVessel<Reading>) {
        for vessel in Vessel::ALL {
            let (reading, sound) = (readings.get_mut(vessel), self.sound.get_mut(vessel));
            match (self.sign, *reading) {
                (Some(Sign::ProbeFault), Ok(c)) => *sound = Some(c),
                (Some(Sign::ProbeFault), Err(_)) => *reading = sound.map_or(*reading, Ok),
                (Some(Sign::Limit), Ok(c)) => *reading = Ok(c.min(BELOW_LIMIT)),
                (Some(Sign::Fall), Ok(c)) => {
                    let shown = sound.map_or(c, |last| c.max(last.less(UNREMARKABLE_FALL.over(SAMPLE))));
                    *sound = Some(shown);
                    *reading = Ok(shown);
                }
                _ => {}
            }
        }
    }

    pub(super) fn switches(&self, t_s: f64, switches: &mut Switches) {
        match self.sign {
            Some(Sign::Contact) => switches.sense.contactor = None,
            Some(Sign::Current) => switches.sense.current = Sense::NONE.current,
            Some(Sign::Level) => switches.sense.covered = Sense::NONE.covered,
            Some(Sign::StopLoop) => switches.stop_loop = true,
            Some(Sign::Key) => switches.key = true,
            Some(Sign::Absence) => switches.acknowledge |= t_s % HOUR_S < PRESS_S,
            Some(Sign::ProbeFault | Sign::Limit | Sign::Fall | Sign::Clock) | None => {}
        }
    }

    /// What is told of a clock that shows `shown`.
    pub(super) fn clock(&mut self, shown: Instant) -> Instant {
        if self.sign != Some(Sign::Clock) {
            return shown;
        }
        let told = self.told.map_or(shown, |last| shown.clamp(last.plus(Span::from_micros(1)), last.plus(CLOCK_JUMP)));
        self.told = Some(told);
        told
    }
}
