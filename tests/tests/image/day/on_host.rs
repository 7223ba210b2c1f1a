//! The day with the core called from a loop in this program.

use super::{Controlled, HOLD_PERIODS, Period, TICK_AT};
use copperhold::files::RigFile;
use copperhold::fit;
use copperhold::plant::RawCode;
use copperhold_core::controller::{CONTROL_PERIOD, Controller, Inputs};
use copperhold_core::fast::{Outputs, Switches};
use copperhold_core::probe::{ProbeFault, ProbeSetup, Reading, convert};
use copperhold_core::sheet::Sheet;
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::{Instant, Span};
use copperhold_core::vessel::{PerElement, PerVessel, Vessel};
use copperhold_firmware::fast_task::FAST_PERIOD;
use copperhold_firmware::probes::ONE_WIRE_TICKS;

/// The controller on the host, with thermometers as slow as the image's drivers.
pub struct OnHost {
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
    pub fn new(rig: &RigFile, sheet: Sheet, ticks: u64, phase: u8, cold: &PerVessel<RawCode>) -> OnHost {
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
        // A front end for RTD is set up by the first tick, and has no sample for it.
        host.inputs.probes = PerVessel::build(|vessel| match setups.get(vessel) {
            ProbeSetup::Rtd(_) => Err(ProbeFault::NotReady),
            ProbeSetup::OneWire | ProbeSetup::Thermistor(_) => *latest.get(vessel),
        });
        host.tick();
        host.inputs.probes = latest;
        let arming = [(false, false, 1), (true, false, 2), (true, true, 6)];
        // One is past, and one more comes with what is left of the period before the day.
        let rest =
            ticks.checked_sub(arming.iter().map(|&(_, _, ticks)| ticks).sum::<u64>() + 2).expect("the image took longer to arm");
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
