//! Breweries drawn at random, for faults on rigs that nobody chose.

use crate::files::{self, RigFile};
use crate::fit;
use crate::plant::rng::Pcg;
use crate::survey::ranges as r;
use std::fmt::Write;

/// Power of both elements, W, and capacity of tank and kettle, L: with the scenes' fillings of 45 to 90 %, 10 to 80 L of water.
pub const POWER_W: (f64, f64) = (2_000.0, 5_500.0);
/// See [`POWER_W`].
pub const CAPACITY_L: (f64, f64) = (22.0, 89.0);
/// A kettle with less than this for its size does not come to the boil on the day, W/L.
const LEAST_W_PER_L: f64 = 45.0;

/// Brewery `number` of those with `seed`, as the text of a rig file. The same pair gives the same text.
pub fn text(number: u32, seed: u64) -> String {
    let mut pcg = Pcg::new(seed, 1 << 32 | u64::from(number));
    let between = |pcg: &mut Pcg, (low, high): (f64, f64)| low + (high - low) * pcg.uniform();
    let power_w = between(&mut pcg, POWER_W);
    let most_l = CAPACITY_L.1.min(power_w / LEAST_W_PER_L);
    let capacity_l = CAPACITY_L.0 * (most_l / CAPACITY_L.0).powf(pcg.uniform());
    let mut text = format!("name = \"drawn {number} with seed {seed}\"\n");
    let _ = writeln!(text, "mains = {{ frequency = \"{} Hz\" }}", if pcg.uniform() < 0.5 { 50 } else { 60 });
    let (air_c, humidity) = (r::AIR_C.draw(&mut pcg), r::HUMIDITY.draw(&mut pcg));
    let _ = writeln!(text, "site = {{ air = \"{air_c:.1} C\", humidity = \"{:.0} %\" }}", humidity * 100.0);
    for (vessel, heated) in [("liquor_tank", true), ("mash_tun", false), ("boil_kettle", true)] {
        let lag_s = r::LAG_S.draw(&mut pcg);
        let weights = [r::SHEATH_WEIGHT.draw(&mut pcg), r::OTHER_WEIGHT.draw(&mut pcg), r::OTHER_WEIGHT.draw(&mut pcg)];
        // The probe's own lag is at least a tenth; the rest is sheath and mixing.
        let [sheath_s, mixing_s, probe_s] = weights.map(|weight| (weight + 0.1) * lag_s / (weights.iter().sum::<f64>() + 0.3));
        let kind = ["pt100", "ntc10k", "ds18b20"][(pcg.next_u32() % 3) as usize];
        let own_l = capacity_l * between(&mut pcg, (0.9, 1.1));
        let noise_k = r::NOISE_K.draw(&mut pcg);
        let _ = writeln!(text, "[{vessel}]\ncapacity = \"{own_l:.1} L\"\nmixing = \"{:.3} min\"", mixing_s.max(0.5) / 60.0);
        let _ = writeln!(
            text,
            "probe = {{ kind = \"{kind}\", lag = \"{:.3} min\", noise = \"{noise_k:.3} K\" }}",
            probe_s.max(0.5) / 60.0
        );
        let _ = writeln!(text, "insulation = \"{:.0} %\"", r::INSULATION.draw(&mut pcg) * 100.0);
        if heated {
            let w_per_k = power_w / r::SHEATH_RISE_K.draw(&mut pcg);
            let j_per_k = sheath_s.max(0.5) * w_per_k;
            let _ = writeln!(
                text,
                "element = {{ power = \"{power_w:.0} W\", sheath_conductance = \"{w_per_k:.1} W/K\", sheath_capacity = \"{j_per_k:.0} J/K\" }}"
            );
        }
    }
    text
}

/// The brewery itself.
///
/// # Panics
/// A drawn text is no rig that the controller accepts: a test draws a thousand.
pub fn rig(number: u32, seed: u64) -> RigFile {
    let rig = files::parse_rig("a drawn rig", &text(number, seed)).unwrap_or_else(|why| panic!("{}", why.render(false)));
    assert!(fit::settings(&rig).is_ok(), "{}", text(number, seed));
    rig
}

#[cfg(test)]
mod tests {
    use super::*;
    use copperhold_core::vessel::{Element, Vessel};

    #[test]
    fn a_thousand_drawn_breweries_are_accepted_and_lie_in_their_ranges() {
        for number in 0..1_000 {
            let rig = rig(number, 1).rig;
            for element in Element::ALL {
                let power_w = *rig.element_power_w().get(element);
                assert!((POWER_W.0 - 0.5..=POWER_W.1 + 0.5).contains(&power_w), "{power_w}");
                let capacity_l = rig.vessel(element.vessel()).capacity_l;
                assert!((CAPACITY_L.0 * 0.89..=CAPACITY_L.1 * 1.11).contains(&capacity_l), "{capacity_l}");
            }
            assert!(rig.vessel(Vessel::MashTun).element.is_none());
        }
        assert_eq!(text(3, 1), text(3, 1));
        assert_ne!(text(3, 1), text(4, 1));
        assert_ne!(text(3, 1), text(3, 2));
    }
}
