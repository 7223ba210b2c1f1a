//! The simulated brewer: does what the controller asks, at a person's pace, and answers when it is done.

use crate::files::{RigFile, SheetFile};
use crate::plant::rng::Pcg;
use crate::plant::{Brewery, FlowShare, MashReturn, WortReturn};
use copperhold_core::sequencer::Prompt;
use copperhold_core::units::Litres;
use copperhold_core::vessel::Vessel;

/// Stream of the brewer's own random numbers, apart from the thermometers'.
const STREAM: u64 = 100;
/// Run-off counts as finished when the kettle rises by less than this in half a minute, L.
const STILL_L: f64 = 0.05;

/// A task under way.
#[derive(Debug, Clone, Copy)]
struct Task {
    prompt: Prompt,
    started_s: f64,
    /// When the hands are done with what needs only time.
    hands_s: f64,
    /// Volume when it started, L.
    from_l: f64,
    acted: bool,
    last_l: (f64, f64),
}

/// A brewer with a seed.
#[derive(Debug, Clone)]
pub struct Brewer {
    rng: Pcg,
    grain_kg: f64,
    grain_c: f64,
    covered_l: f64,
    sparged_from_l: f64,
    task: Option<Task>,
}

fn litres(volume: Litres) -> f64 {
    f64::from(volume.millilitres()) / 1000.0
}

impl Brewer {
    /// A brewer for a day.
    pub fn new(rig: &RigFile, sheet: &SheetFile, seed: u64) -> Brewer {
        Brewer {
            rng: Pcg::new(seed, STREAM),
            grain_kg: sheet.grain_kg,
            grain_c: sheet.grain_c,
            // A hand's breadth more than just covered.
            covered_l: rig.rig.boil_kettle.element_top_l * 1.25,
            sparged_from_l: 0.0,
            task: None,
        }
    }

    /// Looks at what is asked; returns true when it is done and answered.
    pub fn attend(&mut self, t_s: f64, prompt: Option<Prompt>, brewery: &mut Brewery) -> bool {
        let Some(prompt) = prompt else {
            self.task = None;
            return false;
        };
        let mut task = match self.task {
            Some(task) if task.prompt == prompt => task,
            Some(_) | None => self.begin(t_s, prompt, brewery),
        };
        let done = self.work(t_s, &mut task, brewery);
        self.task = if done { None } else { Some(task) };
        done
    }

    /// Somebody else says that it is done: what the hands had still to do happens now. Water that still runs goes on running.
    pub fn hurry(&self, prompt: Prompt, brewery: &mut Brewery) {
        match prompt {
            Prompt::StirInGrain if brewery.truth().grain_kg == 0.0 => brewery.add_grain(self.grain_kg, self.grain_c),
            Prompt::SetSparge => {
                brewery.set_mash_return(MashReturn::ToKettle);
                brewery.set_lid(Vessel::BoilKettle, false);
            }
            Prompt::ReadyWhirlpool => {
                brewery.set_flow(FlowShare { liquor: 1.0, mash: 1.0, wort: 1.0 });
                brewery.set_wort_return(WortReturn::Whirlpool);
            }
            Prompt::ReadyChiller => brewery.set_wort_return(WortReturn::Chiller),
            Prompt::FillTank(_)
            | Prompt::ReadyToDoughIn
            | Prompt::RunStrike(_)
            | Prompt::StirInGrain
            | Prompt::RefillTank(_)
            | Prompt::KettleCovered
            | Prompt::SpargeDone(_) => {}
        }
    }

    fn begin(&mut self, t_s: f64, prompt: Prompt, brewery: &Brewery) -> Task {
        let (shortest, longest) = pace(prompt);
        let truth = brewery.truth();
        let from_l = match prompt {
            Prompt::RunStrike(_) => truth.cold_l.mash_tun,
            Prompt::SetSparge | Prompt::KettleCovered | Prompt::SpargeDone(_) => truth.cold_l.liquor_tank,
            Prompt::FillTank(_)
            | Prompt::ReadyToDoughIn
            | Prompt::StirInGrain
            | Prompt::RefillTank(_)
            | Prompt::ReadyWhirlpool
            | Prompt::ReadyChiller => 0.0,
        };
        if prompt == Prompt::SetSparge {
            self.sparged_from_l = from_l;
        }
        let hands_s = t_s + shortest + (longest - shortest) * self.rng.uniform();
        Task { prompt, started_s: t_s, hands_s, from_l, acted: false, last_l: (t_s, truth.cold_l.boil_kettle) }
    }

    fn work(&self, t_s: f64, task: &mut Task, brewery: &mut Brewery) -> bool {
        let first = !task.acted;
        task.acted = true;
        let free = t_s >= task.hands_s;
        match task.prompt {
            Prompt::FillTank(volume) | Prompt::RefillTank(volume) => {
                if first {
                    brewery.fill_from_tap(Vessel::LiquorTank, litres(volume));
                }
                free && brewery.tap_left_l(Vessel::LiquorTank) <= 0.0
            }
            Prompt::RunStrike(volume) => brewery.truth().cold_l.mash_tun - task.from_l >= litres(volume),
            Prompt::StirInGrain => {
                // Half of the time goes into weighing and pouring.
                let pouring = t_s >= 0.5 * (task.started_s + task.hands_s);
                if pouring && brewery.truth().grain_kg == 0.0 {
                    brewery.add_grain(self.grain_kg, self.grain_c);
                }
                free
            }
            Prompt::SetSparge | Prompt::ReadyWhirlpool | Prompt::ReadyChiller => {
                if free {
                    self.hurry(task.prompt, brewery);
                }
                free
            }
            Prompt::KettleCovered => {
                brewery.set_flow(self.sparge_flow(brewery, f64::INFINITY));
                brewery.truth().cold_l.boil_kettle >= self.covered_l
            }
            Prompt::SpargeDone(volume) => {
                brewery.set_flow(self.sparge_flow(brewery, litres(volume)));
                let kettle_l = brewery.truth().cold_l.boil_kettle;
                let (since_s, from_l) = task.last_l;
                if t_s - since_s < 30.0 {
                    return false;
                }
                task.last_l = (t_s, kettle_l);
                kettle_l - from_l < STILL_L
            }
            Prompt::ReadyToDoughIn => free,
        }
    }

    /// The sparge valve is shut once the sheet's water has run.
    fn sparge_flow(&self, brewery: &Brewery, volume_l: f64) -> FlowShare {
        let rig = &brewery.network().rig().pumps;
        let run_l = self.sparged_from_l - brewery.truth().cold_l.liquor_tank;
        // Sparge water is let in no faster than wort runs off.
        let open = (rig.run_off_l_per_min / rig.liquor_l_per_min).min(1.0);
        FlowShare { liquor: if run_l < volume_l { open } else { 0.0 }, mash: 1.0, wort: 1.0 }
    }
}

/// Shortest and longest time the hands need, s (common practice, no source).
fn pace(prompt: Prompt) -> (f64, f64) {
    match prompt {
        Prompt::FillTank(_) | Prompt::RefillTank(_) => (20.0, 60.0),
        Prompt::ReadyToDoughIn => (60.0, 180.0),
        Prompt::RunStrike(_) | Prompt::KettleCovered | Prompt::SpargeDone(_) => (0.0, 0.0),
        Prompt::StirInGrain => (240.0, 420.0),
        Prompt::SetSparge => (60.0, 150.0),
        Prompt::ReadyWhirlpool => (40.0, 120.0),
        Prompt::ReadyChiller => (120.0, 240.0),
    }
}
