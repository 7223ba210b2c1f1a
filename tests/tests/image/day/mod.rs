//! A whole brew day from the panel, on the image, against the same day with the controller on the host.
//!
//! Both days share the plant, the brewer and their seeds. What differs is what is compared: on one side the core is called from a loop in
//! this program, on the other the image runs it, with its own clock, drivers, panel and lines.

mod on_host;
mod on_image;

use copperhold::files::{self, RigFile, SheetFile};
use copperhold::plant::{Brewery, Drive, RawCode};
use copperhold::rehearse::brewer::Brewer;
use copperhold_core::sequencer::Prompt;
use copperhold_core::units::Span;
use copperhold_core::vessel::{Element, PerElement, PerVessel, Pumps, Vessel};
use on_host::OnHost;
use on_image::Emulated;
use std::path::Path;
use std::time::Instant as Stopwatch;

const PERIOD_S: f64 = 0.25;
/// Control periods from a brewer's decision to the knob having been held.
const HOLD_PERIODS: u32 = 4;
/// The control tick comes so long after the beginning of a control period, on the image as on the host.
/// In the middle between two fast ticks, so that no edge falls on the border of two periods.
const TICK_AT: Span = Span::from_millis(15);
const LONGEST_S: f64 = 12.0 * 3600.0;

/// What a controller did in one control period.
struct Period {
    /// Time each element conducted, us.
    on: PerElement<u64>,
    pumps: Pumps,
    step: Option<u8>,
    prompt: Option<Prompt>,
}

trait Controlled {
    fn period(&mut self, codes: &PerVessel<RawCode>) -> Period;
    fn answer(&mut self);
}

/// A day, written down.
#[derive(Default)]
struct Trace {
    bulk_c: Vec<PerVessel<f64>>,
    /// What the controller got and did, in words.
    did: Vec<String>,
    steps: Vec<f64>,
    kwh: f64,
}

fn run_day(rig: &RigFile, sheet: &SheetFile, seed: u64, device: &mut dyn Controlled) -> Trace {
    let mut brewery = Brewery::new(&rig.rig, seed);
    let mut brewer = Brewer::new(rig, sheet, seed);
    let mut trace = Trace::default();
    let mut answered: Option<Prompt> = None;
    let mut t_s = 0.0;
    loop {
        let codes = PerVessel::build(|vessel| brewery.sample(vessel).code);
        let period = device.period(&codes);
        let share = |element: Element| *period.on.get(element) as f64 * 1e-6 / PERIOD_S;
        brewery.step(PERIOD_S, &Drive { element_on: PerElement::build(share), pumps: period.pumps });
        trace.bulk_c.push(brewery.truth().bulk_c);
        let Period { on, pumps, step, prompt } = &period;
        trace.did.push(format!("{codes:?} {} us {} us {pumps:?} {step:?} {prompt:?}", on.liquor_tank, on.boil_kettle));
        let Some(step) = period.step else { break };
        if usize::from(step) == trace.steps.len() {
            println!("step {step} at {t_s:.2} s");
            trace.steps.push(t_s);
        }
        if answered.is_some() && answered != period.prompt {
            answered = None;
        }
        t_s += PERIOD_S;
        if answered.is_none() && brewer.attend(t_s, period.prompt, &mut brewery) {
            answered = period.prompt;
            device.answer();
        }
        assert!(t_s < LONGEST_S, "the day does not end; step {step}, {:?}", period.prompt);
    }
    trace.steps.push(t_s);
    trace.kwh = brewery.energy().element_j.liquor_tank / 3.6e6 + brewery.energy().element_j.boil_kettle / 3.6e6;
    trace
}

/// The day that runs: every kind of step in an hour and a half, with NTC and one-wire thermometers on 50 Hz; with `tests/run --long` the
/// built-in day instead, five hours with Pt100 and one-wire on 60 Hz.
fn day() -> (RigFile, SheetFile) {
    if std::env::var("COPPERHOLD_LONG").as_deref() == Ok("yes") {
        return (files::demo_rig().expect("the demo rig"), files::demo_sheet().expect("the demo sheet"));
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let rig = files::load_rig(&root.join("../host-sim/rigs/small-230v.toml")).expect("the small rig");
    (rig, files::load_sheet(&root.join("tests/image/short-day.toml")).expect("the short day"))
}

#[test]
fn a_brew_day_from_the_panel_agrees_with_the_host_within_a_tenth_of_a_kelvin_and_a_second() {
    let (rig, sheet) = day();
    let compiled = sheet.compile(&rig).expect("they suit each other");
    let cold = PerVessel::build(|vessel| RawCode::encode(rig.rig.vessel(vessel).probe.kind, rig.rig.site.air_c));

    let mut emulated = Emulated::new(&rig, &compiled, &cold);
    let before = emulated.conversions;
    let watch = Stopwatch::now();
    let on_image = run_day(&rig, &sheet, 1, &mut emulated);
    let wall_s = watch.elapsed().as_secs_f64();
    let day_s = on_image.bulk_c.len() as f64 * PERIOD_S;
    println!("image: {day_s:.0} s in {wall_s:.0} s, {:.0} times real time, {:.3} kWh", day_s / wall_s, on_image.kwh);
    assert!(emulated.conversions > before, "the one-wire bus was served");

    let mut on_host = OnHost::new(&rig, compiled, emulated.ticks, emulated.phase, &cold);
    let on_host = run_day(&rig, &sheet, 1, &mut on_host);

    let apart = on_image.did.iter().zip(&on_host.did).enumerate().filter(|(_, (a, b))| a != b);
    for (at, (image, host)) in apart.take(3) {
        println!("apart at {} s:\n  image {image}\n  host  {host}", at as f64 * PERIOD_S);
    }

    let mut worst: (f64, f64, Option<Vessel>) = (0.0, 0.0, None);
    for (at, (a, b)) in on_image.bulk_c.iter().zip(&on_host.bulk_c).enumerate() {
        for vessel in Vessel::ALL {
            let apart = (a.get(vessel) - b.get(vessel)).abs();
            if apart > worst.0 {
                worst = (apart, at as f64 * PERIOD_S, Some(vessel));
            }
        }
    }
    println!("worst difference {:.3} K at {:.0} s in {:?}", worst.0, worst.1, worst.2);
    for (index, (a, b)) in on_image.steps.iter().zip(&on_host.steps).enumerate() {
        println!("step {index}: {a:.2} s on the image, {b:.2} s on the host");
    }
    println!("energy: {:.4} and {:.4} kWh", on_image.kwh, on_host.kwh);
    assert_eq!(on_image.steps.len(), on_host.steps.len());
    assert_eq!(on_image.steps.len(), sheet.steps.len() + 1, "every step ran");
    for (a, b) in on_image.steps.iter().zip(&on_host.steps) {
        assert!((a - b).abs() <= 1.0, "{a} {b}");
    }
    assert!(worst.0 <= 0.1, "{worst:?}");
}
