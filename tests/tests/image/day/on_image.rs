//! The day with the image in the emulator.

use super::{Controlled, HOLD_PERIODS, PERIOD_S, Period, TICK_AT};
use crate::support::{STORE_AT, flash_with};
use copperhold::files::RigFile;
use copperhold::fit;
use copperhold::plant::RawCode;
use copperhold::rig::ProbeKind;
use copperhold_core::controller::CONTROL_PERIOD;
use copperhold_core::probe::rtd::Pt100;
use copperhold_core::probe::thermistor::Divider;
use copperhold_core::sequencer::Prompt;
use copperhold_core::sheet::Sheet;
use copperhold_core::units::Litres;
use copperhold_core::vessel::{PerElement, PerVessel, Pumps, Vessel};
use copperhold_core::wire::message::PromptMessage;
use copperhold_core::wire::sheet::EncodedSheet;
use copperhold_firmware::drivers::max31865::Wires;
use copperhold_firmware::fast_task::FAST_PERIOD;
use copperhold_firmware::probes::{Choice, ONE_WIRE_TICKS};
use copperhold_firmware::storage::{Store, Stored, safe_defaults};
use copperhold_tests::emulator::{Emulator, LineReport, Report};
use copperhold_tests::memory_flash::MemoryFlash;
use serde_json::json;

/// The latest that a line may follow its fast tick.
const EDGE_S: f64 = 0.004;

/// The image.
pub struct Emulated {
    emulator: Emulator,
    pressing: Option<u32>,
    pub conversions: u64,
    /// Control periods until the one-wire bus is next served, at the start of the day.
    pub phase: u8,
    /// Control ticks before the day.
    pub ticks: u64,
    /// Which element's line was high at the end of the last period.
    high: PerElement<bool>,
}

impl Emulated {
    pub fn new(rig: &RigFile, sheet: &Sheet, cold: &PerVessel<RawCode>) -> Emulated {
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
