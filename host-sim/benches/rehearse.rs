//! How many seconds of process a second of computing rehearses, and what limits it.
//!
//! `cargo bench` prints ratios, the best of several runs each. Machines differ and are noisy: compare the lines of one run.

use copperhold::files;
use copperhold::fit;
use copperhold::plant::{Brewery, Drive};
use copperhold::rehearse::Rehearsal;
use copperhold::report;
use copperhold_core::controller::{CONTROL_PERIOD, Controller, Inputs};
use copperhold_core::fast::Switches;
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::Instant;
use copperhold_core::vessel::{PerElement, PerVessel, Pumps, Vessel};
use std::error::Error;
use std::hint::black_box;
use std::time::Instant as Clock;

const RUNS: usize = 7;

/// Prints the best of several runs of `work`, which returns how many process seconds it covered.
fn ratio(what: &str, mut work: impl FnMut() -> Result<f64, Box<dyn Error>>) -> Result<f64, Box<dyn Error>> {
    let mut best = 0.0_f64;
    for _ in 0..RUNS {
        let start = Clock::now();
        let process_s = work()?;
        best = best.max(process_s / start.elapsed().as_secs_f64());
    }
    println!("{what:<44} {best:>14.0} process seconds per second");
    Ok(best)
}

fn main() -> Result<(), Box<dyn Error>> {
    let rig = files::demo_rig()?;
    let sheet = files::demo_sheet()?;
    let whole = ratio("a whole rehearsed day, no report", || {
        let day = Rehearsal::new(&rig, &sheet, 1)?.run(|_| ())?;
        Ok(day.steps.last().map_or(0.0, |step| step.ended_s))
    })?;
    let plant = ratio("of this the plant, at the same steps", || {
        let mut brewery = Brewery::new(&rig.rig, 1);
        brewery.preset(Vessel::LiquorTank, 30.0, 60.0);
        brewery.preset(Vessel::MashTun, 20.0, 64.0);
        let drive = Drive {
            element_on: PerElement { liquor_tank: 0.3, boil_kettle: 0.0 },
            pumps: Pumps { mash: true, ..Pumps::default() },
        };
        let steps = 40_000_u32;
        for _ in 0..steps {
            brewery.step(0.25, &drive);
            for vessel in Vessel::ALL {
                black_box(brewery.sample(vessel));
            }
        }
        Ok(f64::from(steps) * 0.25)
    })?;
    let control = ratio("of this the controller, fast ticks included", || {
        let settings = fit::settings(&rig).map_err(|error| format!("{error:?}"))?;
        let mut controller = Controller::new(settings, Knowledge::default());
        controller.supervisor_mut().start(sheet.compile(&rig)?);
        let reading = Ok(fit::celsius(60.0));
        let inputs = Inputs {
            probes: PerVessel::build(|_| reading),
            switches: Switches { stop_loop: true, key: true, ..Switches::default() },
        };
        let mut now = Instant::START;
        let steps = 40_000_u32;
        for _ in 0..steps {
            let end = now.plus(CONTROL_PERIOD);
            while now < end {
                black_box(controller.tick(now, &inputs));
                now = controller.next_due(now).min(end);
            }
        }
        Ok(f64::from(steps) * 0.25)
    })?;
    println!("share of the plant {:.0} %, of the controller {:.0} %", 100.0 * whole / plant, 100.0 * whole / control);
    let day = Rehearsal::new(&rig, &sheet, 1)?.run(|_| ())?;
    ratio("the report page of such a day", || {
        black_box(report::html::page(&day));
        Ok(day.steps.last().map_or(0.0, |step| step.ended_s))
    })?;
    Ok(())
}
