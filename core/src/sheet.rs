//! The brew sheet as the core runs it: a list of steps, each with its figures. Names and notes stay with whoever wrote the sheet.

use crate::units::{Celsius, Duty, Litres, Span};
use heapless::Vec;

/// Most steps in a sheet.
pub const MAX_STEPS: usize = 24;
/// Most timed additions in a boil.
pub const MAX_ADDITIONS: usize = 12;

/// A brew day's steps, in order.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Sheet {
    /// The steps.
    pub steps: Vec<Step, MAX_STEPS>,
}

/// One step of the brew day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Step {
    /// Heat the water in the liquor tank and hold it there until the brewer is ready to dough in.
    HeatStrike {
        /// Water the brewer puts in the tank beforehand.
        fill: Litres,
        /// Strike temperature.
        to: Celsius,
    },
    /// Strike water runs to the tun, the brewer stirs in the grain and refills the tank with sparge water.
    DoughIn {
        /// Strike water to run over.
        strike: Litres,
        /// Cold water to refill the tank with.
        refill: Litres,
    },
    /// Hold the mash through the coil. The time runs from when the mash first comes within 0.5 K of `at`.
    Rest {
        /// Mash temperature.
        at: Celsius,
        /// How long.
        lasts: Span,
    },
    /// The last rest, which stops the enzymes; also brings the tank to sparge temperature.
    MashOut {
        /// Mash temperature.
        at: Celsius,
        /// How long.
        lasts: Span,
    },
    /// Sparge water runs to the tun while wort runs off to the kettle, which starts to heat once its element is covered.
    Sparge {
        /// Sparge water.
        water: Litres,
        /// Its temperature in the tank.
        at: Celsius,
        /// The tank is held at `at` while its water runs: what is left must cover its element.
        hold: bool,
    },
    /// Bring the kettle to the boil.
    BringToBoil,
    /// Boil at a fixed share of full power, with timed additions. The time runs from the boil's beginning; the hot break is part of it.
    Boil {
        /// Share of full power.
        duty: Duty,
        /// How long.
        lasts: Span,
        /// Time left on the boil timer at each addition, longest first.
        additions: Vec<Span, MAX_ADDITIONS>,
    },
    /// Heat off; the brewer readies the whirlpool.
    KnockOut,
    /// Wort circulates in the kettle, then settles.
    Whirlpool {
        /// How long.
        lasts: Span,
    },
    /// Wort runs through the chiller.
    Chill {
        /// Temperature to reach.
        to: Celsius,
    },
}
