//! A whole brew day from the panel, on the image, against the same day with the controller on the host.
//!
//! Both days share the plant, the brewer and their seeds. What differs is what is compared: on one side the core is called from a loop in
//! this program, on the other the image runs it, with its own clock, drivers, panel and lines.

use crate::support::{STORE_AT, flash_with};
use copperhold::files::{self, RigFile, SheetFile};
use copperhold::fit;
use copperhold::plant::{Brewery, Drive, RawCode};
use copperhold::rehearse::brewer::Brewer;
use copperhold::rig::ProbeKind;
use copperhold_core::controller::{CONTROL_PERIOD, Controller, Inputs};
use copperhold_core::fast::{Outputs, Switches};
use copperhold_core::probe::rtd::Pt100;
use copperhold_core::probe::thermistor::Divider;
use copperhold_core::probe::{ProbeFault, ProbeSetup, Reading, convert};
use copperhold_core::sequencer::Prompt;
use copperhold_core::sheet::Sheet;
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::{Instant, Litres, Span};
use copperhold_core::vessel::{Element, PerElement, PerVessel, Pumps, Vessel};
use copperhold_core::wire::message::PromptMessage;
use copperhold_core::wire::sheet::EncodedSheet;
use copperhold_firmware::drivers::max31865::Wires;
use copperhold_firmware::fast_task::FAST_PERIOD;
use copperhold_firmware::probes::{Choice, ONE_WIRE_TICKS};
use copperhold_firmware::storage::{Store, Stored, safe_defaults};
use copperhold_tests::emulator::{Emulator, LineReport, Report};
use copperhold_tests::memory_flash::MemoryFlash;
use serde_json::json;
use std::path::Path;
use std::time::Instant as Stopwatch;

const PERIOD_S: f64 = 0.25;
/// Control periods from a brewer's decision to the knob having been held.
const HOLD_PERIODS: u32 = 4;
/// The control tick comes so long after the beginning of a control period, on the image as on the host.
/// In the middle between two fast ticks, so that no edge falls on the border of two periods.
const TICK_AT: Span = Span::from_millis(15);
/// The latest that a line may follow its fast tick.
const EDGE_S: f64 = 0.004;
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

/// The controller on the host, with thermometers as slow as the image's drivers.
struct OnHost {
    controller: Controller,
    setups: PerVessel<ProbeSetup>,
    now: Instant,
    /// The next fast tick.
    due: Instant,
    inputs: Inputs,
    outputs: Outputs,
    /// Control periods until the knob has been held long enough.
    holding: Option<u32>,
    count: u8,
    converting: PerVessel<Option<RawCode>>,
    latest: PerVessel<Reading>,
}

impl OnHost {
    /// Armed, the sheet started, after as many control ticks as the image has had. `phase`: control periods until the one-wire bus is next
    /// served.
    fn new(rig: &RigFile, sheet: Sheet, ticks: u64, phase: u8, cold: &PerVessel<RawCode>) -> OnHost {
        let settings = fit::settings(rig).expect("the rig is in order");
        let setups = fit::probes(&rig.rig);
        let latest = PerVessel::build(|vessel| convert(setups.get(vessel), fit::raw(*cold.get(vessel))));
        let mut host = OnHost {
            controller: Controller::new(settings, Knowledge::default()),
            setups,
            now: Instant::START,
            due: Instant::START,
            inputs: Inputs { probes: latest, switches: Switches { stop_loop: true, ..Switches::default() } },
            outputs: Outputs::default(),
            holding: None,
            count: ONE_WIRE_TICKS - phase,
            converting: PerVessel::build(|vessel| Some(*cold.get(vessel))),
            latest,
        };
        let arming = [(false, false, 2), (true, false, 2), (true, true, 6)];
        // One more comes with what is left of the period before the day.
        let rest =
            ticks.checked_sub(arming.iter().map(|&(_, _, ticks)| ticks).sum::<u64>() + 1).expect("the image took longer to arm");
        for (key, arm, ticks) in arming.into_iter().chain([(true, false, rest)]) {
            host.inputs.switches = Switches { key, arm, ..host.inputs.switches };
            for _ in 0..ticks {
                host.tick();
            }
        }
        assert!(host.outputs.armed);
        host.run(CONTROL_PERIOD.less(TICK_AT));
        host.controller.supervisor_mut().start(sheet);
        host
    }

    fn tick(&mut self) -> PerElement<u64> {
        self.run(CONTROL_PERIOD)
    }

    fn run(&mut self, span: Span) -> PerElement<u64> {
        let end = self.now.plus(span);
        let mut on = PerElement::default();
        while self.now < end {
            if self.now == self.due {
                self.outputs = self.controller.tick(self.now, &self.inputs);
                self.due = self.now.plus(FAST_PERIOD);
            }
            let until = self.due.min(end);
            let span = until.since(self.now).expect("time moves on");
            if let Some(element) = self.outputs.element {
                *on.get_mut(element) += span.as_micros();
            }
            self.now = until;
        }
        on
    }
}

impl Controlled for OnHost {
    fn period(&mut self, codes: &PerVessel<RawCode>) -> Period {
        self.inputs.probes = PerVessel::build(|vessel| match self.setups.get(vessel) {
            ProbeSetup::OneWire => *self.latest.get(vessel),
            setup @ (ProbeSetup::Rtd(_) | ProbeSetup::Thermistor(_)) => convert(setup, fit::raw(*codes.get(vessel))),
        });
        let on = self.tick();
        if self.count == ONE_WIRE_TICKS {
            self.count = 0;
            for vessel in Vessel::ALL {
                let started = self.converting.get_mut(vessel).replace(*codes.get(vessel));
                let raw = started.map(fit::raw);
                *self.latest.get_mut(vessel) = raw.map_or(Err(ProbeFault::NotReady), |raw| convert(self.setups.get(vessel), raw));
            }
        }
        self.count += 1;
        let supervisor = self.controller.supervisor();
        let period = Period {
            on,
            pumps: self.outputs.pumps,
            step: supervisor.sequencer().map(copperhold_core::sequencer::Sequencer::step),
            prompt: supervisor.status().directive.and_then(|directive| directive.prompt),
        };
        self.holding = self.holding.map(|left| left - 1);
        if self.holding == Some(0) {
            self.holding = None;
            let sequencer = self.controller.supervisor_mut().sequencer_mut().expect("a sheet runs");
            let prompt = sequencer.asked().expect("it asks");
            sequencer.answer(prompt);
        }
        period
    }

    fn answer(&mut self) {
        self.holding = Some(HOLD_PERIODS);
    }
}

/// The image.
struct Emulated {
    emulator: Emulator,
    pressing: Option<u32>,
    conversions: u64,
    /// Control periods until the one-wire bus is next served, at the start of the day.
    phase: u8,
    /// Control ticks before the day.
    ticks: u64,
    /// Which element's line was high at the end of the last period.
    high: PerElement<bool>,
}

impl Emulated {
    fn new(rig: &RigFile, sheet: &Sheet, cold: &PerVessel<RawCode>) -> Emulated {
        let kinds = PerVessel::build(|vessel| rig.rig.vessel(vessel).probe.kind);
        let stored = Stored {
            draft: *fit::settings(rig).expect("the rig is in order").get(),
            probes: PerVessel::build(|vessel| choice(*kinds.get(vessel))),
            ..safe_defaults()
        };
        let mut flash = flash_with(&stored);
        let mut store = MemoryFlash::new(4 * 4096);
        Store::new(&mut store, 0).save_sheet(&EncodedSheet::encode(sheet).expect("it fits")).expect("it fits");
        flash.push((STORE_AT + 2 * 4096, store.bytes()[2 * 4096..].to_vec()));

        let emulator = Emulator::boot(&flash);
        let mut emulated = Emulated { emulator, pressing: None, conversions: 0, phase: 0, ticks: 0, high: PerElement::default() };
        let emulator = &mut emulated.emulator;
        emulator.set(seen(cold));
        assert!(emulator.arm().telemetry().expect("telemetry").armed);
        // Menu, fourth place, start.
        emulator.press_knob(0.1);
        emulator.turn_knob(3);
        emulator.press_knob(0.1);
        // A control period of this test shall begin so long before the image's control tick: see `TICK_AT`. The telemetry says when a tick
        // was, by the image's clock, which started with the emulator's.
        let report = emulator.run(2.0 * PERIOD_S);
        let tick_s = report.telemetry().expect("telemetry").at_ms as f64 * 1e-3;
        let wait_s = (tick_s - TICK_AT.as_micros() as f64 * 1e-6 - report.t_s).rem_euclid(PERIOD_S);
        emulator.run(wait_s);
        emulator.contact("knob_push", true);
        for _ in 0..HOLD_PERIODS {
            let report = emulated.emulator.run(PERIOD_S);
            // The bus is served every fourth control tick; how many remain until it is next?
            emulated.phase =
                if report.conversions > emulated.conversions { ONE_WIRE_TICKS - 1 } else { emulated.phase.saturating_sub(1) };
            emulated.conversions = report.conversions;
            let since_us = report.telemetry().expect("telemetry").at_ms * 1_000;
            emulated.ticks = (since_us + CONTROL_PERIOD.as_micros() / 2) / CONTROL_PERIOD.as_micros();
        }
        emulated.emulator.contact("knob_push", false);
        emulated
    }
}

/// What the front ends see.
fn seen(codes: &PerVessel<RawCode>) -> serde_json::Value {
    let mut spi = serde_json::Map::new();
    let mut one_wire = serde_json::Map::new();
    let mut adc = serde_json::Map::new();
    for (index, vessel) in Vessel::ALL.into_iter().enumerate() {
        match *codes.get(vessel) {
            RawCode::Pt100 { code } => drop(spi.insert(vessel.key().into(), code.into())),
            RawCode::Ntc10k { code } => drop(adc.insert(index.to_string(), code.into())),
            RawCode::Ds18b20 { word } => drop(one_wire.insert("0".into(), word.into())),
        }
    }
    json!({"spi": spi, "one_wire": one_wire, "adc": adc})
}

fn choice(kind: ProbeKind) -> Choice {
    match kind {
        ProbeKind::Pt100 => Choice::Rtd { element: Pt100::R_REF_400, wires: Wires::Three },
        ProbeKind::Ntc10k => Choice::Thermistor { divider: Divider::TEN_K3 },
        ProbeKind::Ds18b20 => Choice::OneWire { rom: None },
    }
}

impl Controlled for Emulated {
    fn period(&mut self, codes: &PerVessel<RawCode>) -> Period {
        let report = self.emulator.set_and_run(&seen(codes), PERIOD_S);
        assert_eq!((report.both, report.resets), (0, 0), "at {} s", report.t_s);
        self.conversions = report.conversions;
        if let Some(left) = &mut self.pressing {
            *left -= 1;
            if *left == 0 {
                self.pressing = None;
                self.emulator.contact("knob_push", false);
            }
        }
        let telemetry = report.telemetry().unwrap_or_else(|| panic!("no telemetry at {} s: {report:?}", report.t_s));
        assert_eq!(telemetry.trip, None, "at {} s", report.t_s);
        Period {
            on: PerElement {
                liquor_tank: conducted(&report, "tank_element", &mut self.high.liquor_tank),
                boil_kettle: conducted(&report, "kettle_element", &mut self.high.boil_kettle),
            },
            pumps: Pumps {
                liquor: report.line("liquor_pump").level,
                mash: report.line("mash_pump").level,
                wort: report.line("wort_pump").level,
            },
            step: telemetry.step,
            prompt: telemetry.prompt.map(prompt),
        }
    }

    fn answer(&mut self) {
        self.emulator.contact("knob_push", true);
        self.pressing = Some(HOLD_PERIODS);
    }
}

/// How long a line was high, in us, with edges on fast ticks: what a relay makes of it that switches when the mains cross zero. An edge may
/// come a little after its tick, for a control tick takes its time, but no more than [`EDGE_S`]. `was`: high at the beginning.
fn conducted(report: &Report, line: &str, was: &mut bool) -> u64 {
    let (tick_us, into_us) = (FAST_PERIOD.as_micros(), TICK_AT.as_micros() % FAST_PERIOD.as_micros());
    let LineReport { on_s, level, .. } = report.line(line);
    // From the beginning to the first tick, and from the last one to the end.
    let rest_us = if *was { into_us } else { 0 } + if level { tick_us - into_us } else { 0 };
    let ticks = ((on_s * 1e6 - rest_us as f64) / tick_us as f64).round().max(0.0);
    let on_us = ticks as u64 * tick_us + rest_us;
    assert!((on_s - on_us as f64 * 1e-6).abs() < EDGE_S, "{line} was high for {on_s} s, up to {} s", report.t_s);
    *was = level;
    on_us
}

fn prompt(message: PromptMessage) -> Prompt {
    let litres = Litres::from_millilitres;
    match message {
        PromptMessage::FillTank(ml) => Prompt::FillTank(litres(ml)),
        PromptMessage::ReadyToDoughIn => Prompt::ReadyToDoughIn,
        PromptMessage::RunStrike(ml) => Prompt::RunStrike(litres(ml)),
        PromptMessage::StirInGrain => Prompt::StirInGrain,
        PromptMessage::RefillTank(ml) => Prompt::RefillTank(litres(ml)),
        PromptMessage::SetSparge => Prompt::SetSparge,
        PromptMessage::KettleCovered => Prompt::KettleCovered,
        PromptMessage::SpargeDone(ml) => Prompt::SpargeDone(litres(ml)),
        PromptMessage::ReadyWhirlpool => Prompt::ReadyWhirlpool,
        PromptMessage::ReadyChiller => Prompt::ReadyChiller,
    }
}

/// The day that runs: every kind of step in an hour and a half, with NTC and one-wire thermometers on 50 Hz; with `tests/run --long` the
/// built-in day instead, six hours with Pt100 and one-wire on 60 Hz.
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
