//! What is drawn, and what is said to be true of it.

use copperhold::survey::ranges::{self, Range};
use copperhold::survey::trial::{Plant, Ramp, tick_s};
use copperhold::survey::{BAND_K, Draw};
use copperhold_core::vessel::{Element, Vessel};

/// Rigs enough to come near both ends of every range.
fn many() -> Vec<Draw> {
    (0..400).map(|number| Draw::of(number, 11)).collect()
}

#[track_caller]
fn fills(range: &Range, values: impl Iterator<Item = f64> + Clone) {
    for value in values.clone() {
        assert!(value >= range.low * 0.999 && value <= range.high * 1.001, "{}: {value} is outside", range.name);
    }
    let (low, high) = values.fold((f64::MAX, f64::MIN), |(low, high), v| (low.min(v), high.max(v)));
    let near = 0.15 * (range.high - range.low);
    assert!(low < range.low + near && high > range.high - near, "{}: drawn only from {low} to {high}", range.name);
}

#[test]
fn every_quantity_lies_in_its_range_and_fills_it() {
    let draws = many();
    fills(&ranges::LITRES, draws.iter().map(|d| d.litres));
    fills(&ranges::FILL, draws.iter().map(|d| d.litres / d.tank().capacity_l));
    fills(&ranges::POWER_W, draws.iter().filter_map(|d| d.tank().element.map(|e| e.power_w)));
    fills(&ranges::MAINS_V, draws.iter().map(|d| d.volts));
    fills(&ranges::NOISE_K, draws.iter().map(|d| d.tank().probe.noise_k));
    fills(&ranges::INSULATION, draws.iter().map(|d| d.tank().insulation));
    fills(&ranges::EMISSIVITY, draws.iter().map(|d| d.tank().emissivity));
    fills(&ranges::AIR_C, draws.iter().map(|d| d.file.rig.site.air_c));
    fills(&ranges::HUMIDITY, draws.iter().map(|d| d.file.rig.site.humidity));
    fills(&ranges::TARGET_C, draws.iter().map(|d| d.target_c));
    let (warm, cold): (Vec<&Draw>, Vec<&Draw>) = draws.iter().partition(|d| d.start_c > 27.0);
    fills(&ranges::START_C, cold.iter().map(|d| d.start_c));
    fills(&ranges::WARM_START_C, warm.iter().map(|d| d.start_c));
    let share = warm.len() as f64 / draws.len() as f64;
    assert!((share - ranges::WARM).abs() < 0.06, "warm starts: {share}");
    // A lag has a floor of half a second in sheath and mixing, so the sum may be a little more.
    let lag = |d: &Draw| d.sheath_s() + d.tank().mixing_s + d.tank().probe.delay_s + d.tank().probe.lag_s;
    fills(&Range { high: ranges::LAG_S.high + 0.5, ..ranges::LAG_S }, draws.iter().map(lag));
    for (kind, name) in ranges::PROBES {
        let count = draws.iter().filter(|d| d.tank().probe.kind == kind).count();
        assert!((90..=180).contains(&count), "{name}: {count} of {}", draws.len());
    }
}

#[test]
fn a_rig_is_drawn_from_its_own_number_and_seed_alone() {
    assert_eq!(Draw::of(17, 5), Draw::of(17, 5));
    assert_ne!(Draw::of(17, 5), Draw::of(17, 6));
    assert_ne!(Draw::of(17, 5), Draw::of(18, 5));
}

#[test]
fn no_drawn_rig_needs_more_than_half_its_power_to_hold() {
    for draw in many() {
        let figures = draw.figures();
        assert!(figures.standing_duty <= ranges::MOST_LOSS, "{figures:?}");
        assert!(draw.target_c - draw.start_c >= ranges::LEAST_RISE_K);
    }
}

/// `integral of C dT / (P - loss)`, which leaves out the sheath's own warming, against the simulated full-power run.
#[test]
fn the_least_time_agrees_with_the_energy_balance() {
    for number in 0..12 {
        let draw = Draw::of(number, 3);
        let mut brewery = copperhold::plant::Brewery::new(&draw.file.rig, 0);
        draw.fill(&mut brewery);
        let balance_s = brewery.least_seconds(Element::LiquorTank, draw.start_c, draw.target_c - BAND_K);
        let ramp = Ramp::run(&draw);
        let longest = balance_s * 1.004 + draw.sheath_s() + 2.0 * tick_s();
        assert!(
            ramp.least_s >= balance_s * 0.996 && ramp.least_s <= longest,
            "rig {number}: {} s against {balance_s} s by the balance, sheath {} s",
            ramp.least_s,
            draw.sheath_s()
        );
    }
}

/// Late in a ramp the bulk climbs at `k (1 - loss / P)`, and the reading trails what the element has given by the whole lag.
#[test]
fn the_true_climb_and_lag_are_those_of_a_measured_ramp() {
    let mut judged = 0;
    for number in 0..40 {
        let mut draw = Draw::of(number, 9);
        draw.file.rig.liquor_tank.probe.noise_k = 0.0;
        // Insulated and in a room as warm as the water: a ramp without loss.
        draw.file.rig.liquor_tank.insulation = 0.95;
        draw.file.rig.liquor_tank.lid = true;
        draw.file.rig.site.air_c = 30.0;
        draw.start_c = 25.0;
        let figures = draw.figures();
        let seconds = 6.0 * figures.lag_s;
        if figures.climb_k_per_s * seconds > 10.0 {
            continue;
        }
        judged += 1;
        let mut plant = Plant::new(&draw);
        let mut readings = Vec::new();
        while plant.now_s() < seconds {
            readings.push((plant.now_s(), plant.read()));
            plant.heat(1.0);
        }
        // Mean over the last lag: k (t - L) above the start.
        let tail: Vec<_> = readings.iter().filter(|(t, _)| *t > seconds - figures.lag_s).collect();
        let mean = |of: fn(&(f64, f64)) -> f64| tail.iter().map(|r| of(r)).sum::<f64>() / tail.len() as f64;
        let (t_s, risen_k) = (mean(|r| r.0), mean(|r| r.1) - draw.start_c);
        let lag_s = t_s - risen_k / figures.climb_k_per_s;
        // A reading's age over the tick it is used for is in the true lag but not in these pairs, half a tick (or half a conversion).
        let age_s = figures.lag_s - draw.sheath_s() - draw.tank().mixing_s - draw.tank().probe.delay_s - draw.tank().probe.lag_s;
        let quantum_s = 0.02 / figures.climb_k_per_s;
        assert!(
            (lag_s - figures.lag_s).abs() < 0.03 * figures.lag_s + age_s + quantum_s,
            "rig {number}: lag {lag_s} s by the ramp, {} s by the figures; {}",
            figures.lag_s,
            Vessel::LiquorTank.label()
        );
    }
    assert!(judged >= 10, "only {judged} rigs were slow enough to judge");
}
