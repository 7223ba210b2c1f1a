//! One workload for counting instructions: `cost WORKLOAD TICKS`. `tests/cost` runs it under valgrind and prints the table.
//!
//! `next_tick` parts the count tick by tick. Readings come from one generator for all, made before
//! the ticks, and every answer goes into a sum that is printed, so that nothing can be left out.

use copperhold::fit;
use copperhold_core::fast::{FastPath, FastReport, Lease, Switches};
use copperhold_core::heat::pid::{Pid, PidGains};
use copperhold_core::heat::{Demand, HeatConfig, HeatControl};
use copperhold_core::supervisor::{Knowledge, Supervisor};
use copperhold_core::units::{Celsius, Duty, Instant, Slope, Span};
use copperhold_core::vessel::{Element, PerElement, PerVessel, Pumps, Vessel};
use std::error::Error;
use std::hint::black_box;

const TICK: Span = Span::from_millis(250);
const FAST_TICK: Span = Span::from_millis(10);
/// Climb of a common kettle, thousandths of a kelvin per tick.
const CLIMB_MILLI: f64 = 8.7;
const TARGET_MILLI: i32 = 71_000;

/// Readings in thousandths of a degree: a ramp from 15 C, or a hold at the target; both with noise of 0.02 K.
fn readings(ticks: usize, ramp: bool) -> Vec<i32> {
    let mut state = 1_u32;
    (0..ticks)
        .map(|tick| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = (state >> 16) as i32 % 41 - 20;
            let level = if ramp { 15_000 + (tick as f64 * CLIMB_MILLI) as i32 } else { TARGET_MILLI };
            level + noise
        })
        .collect()
}

/// Runs a law over the readings; the sum of its answers.
fn over(readings: &[i32], mut law: impl FnMut(usize, i32) -> u64) -> u64 {
    readings.iter().enumerate().fold(0, |sum, (tick, milli)| {
        next_tick(tick);
        sum.wrapping_add(law(tick, black_box(*milli)))
    })
}

/// A place to stop at before each tick.
#[inline(never)]
fn next_tick(tick: usize) {
    black_box(tick);
}

fn heat_control(ticks: usize, ramp: bool) -> Result<u64, Box<dyn Error>> {
    let config = HeatConfig::new(Slope::from_micro(70_000)).map_err(|error| format!("{error:?}"))?;
    let mut heat = HeatControl::new(config, None);
    let demand = Demand::Hold(Celsius::from_milli(TARGET_MILLI));
    let mut applied = Duty::ZERO;
    Ok(over(&readings(ticks, ramp), |_, milli| {
        applied = heat.tick(TICK, Celsius::from_milli(milli), applied, demand);
        u64::from(applied.bits())
    }))
}

fn supervisor(ticks: usize, ramp: bool) -> Result<u64, Box<dyn Error>> {
    let settings = fit::settings(&copperhold::files::demo_rig()?).map_err(|error| format!("{error:?}"))?;
    let mut supervisor = Supervisor::new(settings, Knowledge::default());
    supervisor.demand(Vessel::LiquorTank, Demand::Hold(Celsius::from_milli(TARGET_MILLI))).map_err(|refusal| refusal.text())?;
    let switches = Switches { stop_loop: true, key: true, ..Switches::default() };
    let mut report = FastReport { armed: true, contactor: true, ..FastReport::default() };
    let mut now = Instant::START;
    let sum = over(&readings(ticks, ramp), |_, milli| {
        now = now.plus(TICK);
        let others = Ok(Celsius::from_milli(20_000));
        let readings = PerVessel { liquor_tank: Ok(Celsius::from_milli(milli)), mash_tun: others, boil_kettle: others };
        let lease = supervisor.tick(now, TICK, &readings, &switches, &report);
        let duty = lease.heat.map_or(Duty::ZERO, |(_, duty)| duty);
        report.applied = PerElement { liquor_tank: duty, boil_kettle: Duty::ZERO };
        u64::from(duty.bits())
    });
    // A tripped controller is idle: its cost would say nothing.
    match supervisor.guard().latch() {
        Some(latch) => Err(format!("tripped: {}", latch.trip).into()),
        None => Ok(sum),
    }
}

fn fast_path(ticks: usize) -> Result<u64, Box<dyn Error>> {
    let settings = fit::settings(&copperhold::files::demo_rig()?).map_err(|error| format!("{error:?}"))?;
    let draft = settings.get();
    let mut fast = FastPath::new(draft.mains, draft.timing, Span::ZERO);
    let mut switches = Switches { stop_loop: true, ..Switches::default() };
    let lease = Lease {
        tripped: false,
        hold: false,
        heat: Some((Element::LiquorTank, Duty::from_basis_points(3_700))),
        pumps: Pumps::default(),
    };
    let mut now = Instant::START;
    Ok(over(&readings(ticks, false), |tick, _| {
        now = now.plus(FAST_TICK);
        switches.key = tick > 10;
        switches.arm = (20..40).contains(&tick);
        if tick % 25 == 0 {
            fast.renew(lease);
        }
        u64::from(fast.tick(now, &switches).element.is_some())
    }))
}

fn pid_block(ticks: usize) -> Result<u64, Box<dyn Error>> {
    let gains = PidGains::new(fixed::types::I16F16::lit("0.7"), Some(Span::from_secs(160)), Span::ZERO);
    let mut pid = Pid::new(gains.map_err(|error| format!("{error:?}"))?);
    let target = Celsius::from_milli(TARGET_MILLI);
    Ok(over(&readings(ticks, false), |_, milli| u64::from(pid.tick(TICK, target, Celsius::from_milli(milli)).bits())))
}

fn pid_crate(ticks: usize) -> u64 {
    let mut pid = pid::Pid::<f32>::new(TARGET_MILLI as f32 * 1e-3, 1.0_f32);
    pid.p(0.7_f32, f32::MAX).i(0.7_f32 * 0.25 / 160.0, 0.5_f32);
    over(&readings(ticks, false), |_, milli| u64::from((pid.next_control_output(milli as f32 * 1e-3).output * 65_536.0) as u32))
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [workload, ticks] = &arguments[..] else { return Err("usage: cost WORKLOAD TICKS".into()) };
    let ticks = ticks.parse()?;
    let sum = match workload.as_str() {
        "supervisor-ramp" => supervisor(ticks, true)?,
        "supervisor-hold" => supervisor(ticks, false)?,
        "heat-ramp" => heat_control(ticks, true)?,
        "heat-hold" => heat_control(ticks, false)?,
        "pid-block" => pid_block(ticks)?,
        "pid-crate" => pid_crate(ticks),
        "fast" => fast_path(ticks)?,
        "nothing" => over(&readings(ticks, false), |_, milli| milli as u64),
        other => return Err(format!("unknown workload {other}").into()),
    };
    println!("{sum}");
    Ok(())
}
