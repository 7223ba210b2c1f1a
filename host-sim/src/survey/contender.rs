//! Who heats, and who of them in which survey.

use super::Outcome;

/// Who heats.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Contender {
    /// The real controller, nothing known of the rig but its file.
    OursFirst,
    /// The real controller with what its first heat-up taught, other noise.
    OursSecond,
    /// A PI whose gains were searched for on this very rig, with this very noise.
    Oracle,
    /// SIMC PI with the plant's true climb and lag.
    Simc,
    /// Ziegler and Nichols' PI with the plant's true climb and lag.
    ZieglerNichols,
    /// The `pid` crate with SIMC gains from the plant's true climb and lag.
    PidCrate,
    /// On below the target by half a kelvin, off at the target.
    Thermostat,
    /// A limit: the real controller, its record holding the true climb and lag and the usual loss.
    ToldLag,
    /// A limit: the real controller, its record holding the true climb, lag and loss.
    Told,
    /// A limit: sees water and sheath, and may not pass the target.
    Sighted,
    /// A limit: sees water and sheath, and may pass the target by what the aim for the second heat-up allows.
    SightedSecond,
    /// A limit: sees water and sheath, and may pass the target by what the aim for the first heat-up allows.
    SightedFirst,
}

/// Who heats in a survey.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Field {
    /// Ours and the rivals.
    #[default]
    Usual,
    /// Ours, the rivals and the limits.
    Limits,
    /// Ours alone.
    Ours,
}

impl Field {
    /// Its contenders, in the order of tables.
    pub const fn contenders(self) -> &'static [Contender] {
        match self {
            Field::Usual => Contender::ALL.split_at(Contender::RIVALS_END).0,
            Field::Limits => &Contender::ALL,
            Field::Ours => Contender::ALL.split_at(2).0,
        }
    }
}

impl Contender {
    /// Every contender, in the order of tables: ours, the rivals, the limits.
    pub const ALL: [Contender; 12] = [
        Contender::OursFirst,
        Contender::OursSecond,
        Contender::Oracle,
        Contender::Simc,
        Contender::ZieglerNichols,
        Contender::PidCrate,
        Contender::Thermostat,
        Contender::ToldLag,
        Contender::Told,
        Contender::Sighted,
        Contender::SightedSecond,
        Contender::SightedFirst,
    ];
    const RIVALS_END: usize = 7;

    /// The name a person reads.
    pub const fn label(self) -> &'static str {
        match self {
            Contender::OursFirst => "ours, first heat-up",
            Contender::OursSecond => "ours, second heat-up",
            Contender::Oracle => "oracle PI",
            Contender::Simc => "SIMC PI",
            Contender::ZieglerNichols => "Ziegler-Nichols PI",
            Contender::PidCrate => "pid crate, SIMC",
            Contender::Thermostat => "thermostat",
            Contender::ToldLag => "ours, told k and L",
            Contender::Told => "ours, told k, L, loss",
            Contender::Sighted => "sighted",
            Contender::SightedSecond => "sighted, over 0.15 K",
            Contender::SightedFirst => "sighted, over 0.25 K",
        }
    }

    /// The name in column heads.
    pub const fn key(self) -> &'static str {
        match self {
            Contender::OursFirst => "ours_first",
            Contender::OursSecond => "ours_second",
            Contender::Oracle => "oracle",
            Contender::Simc => "simc",
            Contender::ZieglerNichols => "ziegler_nichols",
            Contender::PidCrate => "pid_crate",
            Contender::Thermostat => "thermostat",
            Contender::ToldLag => "told_lag",
            Contender::Told => "told",
            Contender::Sighted => "sighted",
            Contender::SightedSecond => "sighted_second",
            Contender::SightedFirst => "sighted_first",
        }
    }

    /// How it works and what it knows, in a sentence.
    pub const fn about(self) -> &'static str {
        match self {
            Contender::OursFirst => {
                "The real controller. Knows the rig file: rated power, capacity, probe kind. Not the filling, the mains voltage, any lag or loss."
            }
            Contender::OursSecond => "The real controller with what its first heat-up on this rig taught. The noise is another.",
            Contender::Oracle => {
                "A PI whose gain and integral time were searched for on this rig, this filling and this very noise, for the least \
                 penalty: (ratio - 1) / 0.02 + overshoot / 0.12 K. Nobody could tune so in practice."
            }
            Contender::Simc => {
                "PI, Kc = 1 / (2 k L), Ti = 8 L (Skogestad 2003, integrating process, closed-loop time L), with the plant's true k and L."
            }
            Contender::ZieglerNichols => {
                "PI, Kc = 0.9 / (k L), Ti = 3.33 L (Ziegler and Nichols 1942, step response), with the plant's true k and L."
            }
            Contender::PidCrate => {
                "The crate `pid` 4.0 with the SIMC gains; its integral term is limited to twice the true standing duty, which is its own means \
                 against windup."
            }
            Contender::Thermostat => "Full power from half a kelvin below the target until the reading is at the target.",
            Contender::ToldLag => {
                "A limit. The real controller in a first heat-up; its record already holds the plant's true k and L, and the usual loss."
            }
            Contender::Told => "A limit. The same with the true loss as well: all that a record can hold.",
            Contender::Sighted => {
                "A limit. Sees the true water and sheath, knows the plant and tries each cut on it: full power, then none, so that the water \
                 comes to rest at the target without passing it."
            }
            Contender::SightedSecond => "A limit. The same, but the water may pass by 0.15 K, the aim for the second heat-up.",
            Contender::SightedFirst => {
                "A limit. The same, but the water may pass by 0.25 K, the aim for the first. Nobody gets into the band earlier within it."
            }
        }
    }

    /// Whether it is a limit, not somebody who could heat.
    pub const fn is_limit(self) -> bool {
        self as usize >= Contender::RIVALS_END
    }
}

/// How those who heated did.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outcomes {
    ours: [Outcome; 2],
    others: [Option<Outcome>; Contender::ALL.len()],
}

impl Outcomes {
    /// Ours, first and second heat-up; `of` gives those of the rest of the field.
    pub(super) fn of_field(field: Field, ours: [Outcome; 2], mut of: impl FnMut(Contender) -> Outcome) -> Outcomes {
        let mut others = [None; Contender::ALL.len()];
        for &contender in field.contenders() {
            if let Some(place) = others.get_mut(contender as usize) {
                *place = Some(match contender {
                    Contender::OursFirst => ours[0],
                    Contender::OursSecond => ours[1],
                    other => of(other),
                });
            }
        }
        Outcomes { ours, others }
    }

    /// Of one contender, if it is in the survey's field.
    pub fn get(&self, contender: Contender) -> Option<&Outcome> {
        self.others.get(contender as usize)?.as_ref()
    }

    /// Of our first heat-up.
    pub const fn first(&self) -> &Outcome {
        &self.ours[0]
    }

    /// Of our second heat-up.
    pub const fn second(&self) -> &Outcome {
        &self.ours[1]
    }
}
