//! The survey as comma-separated values: one line per rig.

use super::{RigResult, Survey};
use crate::rig::ProbeKind;
use std::fmt::Write;

const RIG: [&str; 27] = [
    "rig",
    "litres",
    "capacity_l",
    "rated_w",
    "mains_v",
    "power_w",
    "sheath_s",
    "mixing_s",
    "delay_s",
    "probe_s",
    "probe_kind",
    "noise_k",
    "diameter_m",
    "insulation",
    "emissivity",
    "lid",
    "air_c",
    "humidity",
    "start_c",
    "target_c",
    "true_climb_k_per_s",
    "true_lag_s",
    "standing_duty",
    "least_s",
    "learned_climb_k_per_s",
    "learned_lag_s",
    "oracle_gain",
];

/// The table, with a head line. The same survey gives the same bytes.
pub fn csv(survey: &Survey) -> String {
    let mut out = RIG.join(",");
    out.push_str(",oracle_integral,trips");
    for contender in survey.contenders() {
        for figure in ["ratio", "settled", "overshoot_k", "hold_rms_k"] {
            let _ = write!(out, ",{}_{figure}", contender.key());
        }
    }
    out.push('\n');
    for rig in &survey.rigs {
        out.push_str(&line(survey, rig));
        out.push('\n');
    }
    out
}

fn line(survey: &Survey, rig: &RigResult) -> String {
    let (draw, plant, tank) = (&rig.draw, &rig.plant, rig.draw.tank());
    let site = &draw.file.rig.site;
    let kind = match tank.probe.kind {
        ProbeKind::Pt100 => "pt100",
        ProbeKind::Ntc10k => "ntc10k",
        ProbeKind::Ds18b20 => "ds18b20",
    };
    let learned = |of: fn(&copperhold_core::heat::Learned) -> f64, decimals: usize| {
        rig.learned.as_ref().map_or_else(String::new, |learned| format!("{:.decimals$}", of(learned)))
    };
    let mut cells = vec![
        rig.number.to_string(),
        format!("{:.2}", draw.litres),
        format!("{:.2}", tank.capacity_l),
        format!("{:.0}", tank.element.map_or(0.0, |element| element.power_w)),
        format!("{:.1}", draw.volts),
        format!("{:.0}", plant.power_w),
        format!("{:.2}", draw.sheath_s()),
        format!("{:.2}", tank.mixing_s),
        format!("{:.2}", tank.probe.delay_s),
        format!("{:.2}", tank.probe.lag_s),
        kind.to_owned(),
        format!("{:.4}", tank.probe.noise_k),
        format!("{:.3}", tank.diameter_m),
        format!("{:.3}", tank.insulation),
        format!("{:.3}", tank.emissivity),
        u8::from(tank.lid).to_string(),
        format!("{:.1}", site.air_c),
        format!("{:.2}", site.humidity),
        format!("{:.2}", draw.start_c),
        format!("{:.2}", draw.target_c),
        format!("{:.6}", plant.climb_k_per_s),
        format!("{:.2}", plant.lag_s),
        format!("{:.4}", plant.standing_duty),
        format!("{:.2}", rig.least_s),
        learned(|l| f64::from(l.slope().micro()) * 1e-6, 6),
        learned(|l| l.lag().as_millis() as f64 * 1e-3, 2),
        rig.oracle.map_or_else(String::new, |tuned| format!("{:.3}", tuned.gain)),
        rig.oracle.map_or_else(String::new, |tuned| format!("{:.2}", tuned.integral)),
        rig.trips.iter().flatten().count().to_string(),
    ];
    for outcome in survey.contenders().filter_map(|contender| rig.outcomes.get(contender)) {
        cells.push(format!("{:.4}", outcome.ratio));
        cells.push(u8::from(outcome.settled).to_string());
        cells.push(format!("{:.4}", outcome.overshoot_k));
        cells.push(format!("{:.4}", outcome.hold_rms_k));
    }
    cells.join(",")
}
