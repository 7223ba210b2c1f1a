//! How well the settled temperature is known in a first heat-up: the controller's learning and the free response, on the same readings.
//!
//! Full power until water and sheath hold what the target needs, then what makes good the loss: from there on the thermometer comes to one
//! temperature.

use super::Response;
use copperhold::fit::{celsius, degrees};
use copperhold::plant::Figures;
use copperhold::survey::Draw;
use copperhold::survey::trial::{Plant, tick_s};
use copperhold_core::controller::CONTROL_PERIOD;
use copperhold_core::heat::{Demand, HeatConfig, HeatControl};
use copperhold_core::units::Slope;
use copperhold_core::vessel::Element;

/// When both are asked, lags after the cut.
pub const ASKED: [f64; 4] = [0.0, 0.5, 1.0, 2.0];

/// What the controller's own learning and the free response miss the settled temperature by at each asking, K; too high is positive.
pub fn misses(draw: &Draw) -> [[f64; ASKED.len()]; 2] {
    let truth: Figures = draw.figures();
    let settings = copperhold::fit::settings(&draw.file).expect("a sound draw");
    let [fastest, slowest] = [settings.fastest(Element::LiquorTank), settings.slowest(Element::LiquorTank)]
        .map(|slope| slope.expect("it has an element"));
    let config = HeatConfig::new(fastest).expect("a sound draw").with_brimful(slowest);
    let mut ours = HeatControl::new(config, None);
    let per_s = |slope: Slope| f64::from(slope.micro()) * 1e-6;
    let mut free = Response::new(per_s(config.usual_slope()), per_s(config.max_slope()));
    let mut plant = Plant::new(draw);
    let cut_c = draw.target_c - truth.climb_k_per_s * (1.0 - truth.standing_duty) * draw.sheath_s();
    let mut duty = 1.0;
    let mut cut_s = None;
    let mut said: Vec<[f64; 2]> = Vec::new();
    let (mut sum_c, mut work_us) = (0.0, 0.0);
    let mut level_c = draw.start_c;
    for tick in 1_u64.. {
        let reading_c = plant.read();
        let applied = crate::heat_bench::duty(duty);
        ours.tick(CONTROL_PERIOD, celsius(reading_c), applied, Demand::Percent(applied));
        sum_c += reading_c;
        work_us += duty * tick_s() * 1e6;
        if tick.is_multiple_of(4) {
            free.step(work_us as i32, sum_c / 4.0);
            // Smoothed as the controller smooths its own: moved by what is applied, drawn to what the readings say over a seventh of the lag.
            let (settled_c, lost_k_per_s) = free.settles(reading_c);
            level_c += free.climb_k_per_s() * work_us * 1e-6 - lost_k_per_s;
            level_c += (settled_c - level_c) / ((free.lag_s() / 7.0).max(5.0) + 1.0);
            (sum_c, work_us) = (0.0, 0.0);
        }
        if duty == 1.0 && plant.bulk_c() >= cut_c {
            duty = truth.standing_duty;
            cut_s = Some(plant.now_s());
        }
        if let Some(cut_s) = cut_s {
            let since = (plant.now_s() - cut_s) / truth.lag_s;
            if said.len() < ASKED.len() && since >= ASKED[said.len()] && tick.is_multiple_of(4) {
                said.push([degrees(ours.settled()), level_c]);
            }
            if since > 12.0 {
                break;
            }
        }
        plant.heat(duty);
    }
    let settles_c = plant.bulk_c();
    [0, 1].map(|who| std::array::from_fn(|at| said[at][who] - settles_c))
}
