//! Who is at the panel, by the clock: what is asked for, what is answered, and what goes wrong.

use copperhold_core::controller::Controller;
use copperhold_core::fast::Switches;
use copperhold_core::heat::Demand;
use copperhold_core::sequencer::Prompt;
use copperhold_core::sheet::{Sheet, Step};
use copperhold_core::units::{Celsius, Duty, Litres, Span};
use copperhold_core::vessel::Vessel;
use core::ops::Range;

/// Both vessels held by hand, which share the element.
const BOTH_HELD: usize = 40;
const KETTLE_AT_A_SHARE: usize = 1_000;
const STOP: Range<usize> = 1_100..1_120;
const SHEET: usize = 1_220;
/// Tired of waiting for the hot break.
const SKIP: usize = 4_700;
/// After the sheet, three mishaps.
const PLUG: Range<usize> = 5_500..5_540;
const CLOCK: Range<usize> = 5_800..5_812;
/// Arming takes this long, from the key to the button's release.
const ARMING: usize = 24;
/// Arming begins at these ticks: at the start and after each mishap.
const ARMED_FROM: [usize; 4] = [2, 1_150, 5_420, 5_700];
/// A prompt is answered after so many ticks.
const ANSWER_AFTER: usize = 12;

#[derive(Debug)]
pub struct Person {
    asked: Option<(Prompt, usize)>,
}

impl Person {
    pub const fn new() -> Person {
        Person { asked: None }
    }

    pub fn pulled_plug(&self, tick: usize) -> bool {
        PLUG.contains(&tick)
    }

    pub fn stopped_clock(&self, tick: usize) -> bool {
        CLOCK.contains(&tick)
    }

    /// What a person does in this control tick; the panel's switches.
    pub fn act(&mut self, tick: usize, controller: &mut Controller) -> Switches {
        let supervisor = controller.supervisor_mut();
        let hold = |milli| Demand::Hold(Celsius::from_milli(milli));
        let demands = match tick {
            BOTH_HELD => Some((hold(55_000), hold(48_000))),
            KETTLE_AT_A_SHARE => Some((Demand::Off, Demand::Percent(Duty::from_basis_points(3_700)))),
            5_460 | 5_760 => Some((hold(70_000), hold(75_000))),
            _ => None,
        };
        if let Some((tank, kettle)) = demands {
            // A refusal would show in the words, on every machine alike.
            let _ = supervisor.demand(Vessel::LiquorTank, tank);
            let _ = supervisor.demand(Vessel::BoilKettle, kettle);
        }
        if tick == SHEET {
            supervisor.start(sheet());
        }
        self.answer(tick, controller);
        let arming = ARMED_FROM.iter().rev().find(|&&from| tick >= from).map_or(0, |from| tick - from);
        Switches {
            stop_loop: !STOP.contains(&tick),
            key: arming >= 8,
            arm: (12..ARMING).contains(&arming),
            acknowledge: arming == 2 || arming == 3,
            ..Switches::default()
        }
    }

    fn answer(&mut self, tick: usize, controller: &mut Controller) {
        let Some(sequencer) = controller.supervisor_mut().sequencer_mut() else { return };
        self.asked = sequencer.asked().map(|prompt| match self.asked {
            Some((before, since)) if before == prompt => (prompt, since),
            Some(_) | None => (prompt, tick),
        });
        if tick == SKIP {
            sequencer.skip();
        }
        if let Some((prompt, since)) = self.asked
            && tick - since == ANSWER_AFTER
        {
            sequencer.answer(prompt);
        }
    }
}

/// Every kind of step, as short as can be.
fn sheet() -> Sheet {
    let litres = Litres::from_millilitres;
    let mut additions = heapless::Vec::new();
    // There is room for both.
    let _ = additions.push(Span::from_secs(20));
    let _ = additions.push(Span::from_secs(5));
    let steps = [
        Step::HeatStrike { fill: litres(8_000), to: Celsius::from_milli(60_000) },
        Step::DoughIn { strike: litres(4_000), refill: litres(2_000) },
        Step::Rest { at: Celsius::from_milli(48_000), lasts: Span::from_secs(30) },
        Step::MashOut { at: Celsius::from_milli(54_000), lasts: Span::from_secs(15) },
        Step::Sparge { water: litres(3_000), at: Celsius::from_milli(62_000), hold: true },
        Step::BringToBoil,
        Step::Boil { duty: Duty::from_basis_points(4_500), lasts: Span::from_secs(40), additions },
        Step::KnockOut,
        Step::Whirlpool { lasts: Span::from_secs(10) },
        Step::Chill { to: Celsius::from_milli(70_000) },
    ];
    Sheet { steps: steps.into_iter().collect() }
}
