//! The serial link: frames through noise, sessions through replay and flood, and what no message can do.

use copperhold::plant::rng::Pcg;
use copperhold_core::fast::{FastReport, Switches};
use copperhold_core::heat::Demand;
use copperhold_core::probe::Reading;
use copperhold_core::sheet::{Sheet, Step};
use copperhold_core::supervisor::{Knowledge, Supervisor};
use copperhold_core::units::{Celsius, Duty, Instant, Litres, Span};
use copperhold_core::vessel::{PerVessel, Pumps, Vessel};
use copperhold_core::wire::frame::crc32;
use copperhold_core::wire::message::{DemandMessage, LONGEST_DEMAND_MS, PromptMessage, Refused, SheetAct, ToDevice};
use copperhold_core::wire::session::BURST;
use copperhold_core::wire::sheet::{EncodedSheet, StepMessage};
use copperhold_core::wire::{Drop, FrameError, Framer, MAX_MESSAGE, Session, VERSION, decode, encode};
use copperhold_firmware::remote::{Remote, Standing};
use copperhold_firmware::storage::safe_defaults;

const SESSION: u32 = 0xC0FF_EE00;

fn frame(session: u32, sequence: u32, message: &ToDevice) -> Vec<u8> {
    encode(session, sequence, &postcard::to_stdvec(message).expect("it encodes")).expect("it fits").to_vec()
}

fn hold(milli_c: i32, lasts_ms: u32) -> ToDevice {
    ToDevice::Demand { vessel: Vessel::LiquorTank, demand: DemandMessage::Hold(milli_c), lasts_ms }
}

fn take(session: &mut Session, now: Instant, bytes: &[u8]) -> Vec<Result<(u32, ToDevice), Drop>> {
    let mut framer = Framer::new();
    bytes.iter().filter_map(|&byte| framer.push(byte)).map(|frame| session.accept(now, frame)).collect()
}

#[test]
fn the_check_is_the_one_of_ieee_802_3() {
    // The check value that catalogues of CRCs give for this polynomial.
    assert_eq!(crc32(b"123456789"), 0xCBF4_3926);
}

#[test]
fn every_length_goes_there_and_back_and_holds_no_zero() {
    let mut rng = Pcg::new(1, 0);
    for length in 0..=MAX_MESSAGE {
        for fill in [0_u8, 1, 0xFF] {
            let message: Vec<u8> = (0..length).map(|_| if rng.uniform() < 0.2 { 0 } else { fill }).collect();
            let bytes = encode(7, 9, &message).expect("it fits");
            let (last, body) = bytes.split_last().expect("not empty");
            assert_eq!((*last, body.contains(&0)), (0, false));
            let frame = decode(body).expect("whole");
            assert_eq!((frame.session, frame.sequence, frame.message.as_slice()), (7, 9, message.as_slice()));
        }
    }
    assert!(encode(7, 9, &[0; MAX_MESSAGE + 1]).is_none());
}

#[test]
fn one_two_and_three_flipped_bits_are_caught() {
    let good = frame(SESSION, 1, &hold(60_000, 5_000));
    let body = &good[..good.len() - 1];
    let bits = body.len() * 8;
    let flip = |bytes: &mut Vec<u8>, bit: usize| bytes[bit / 8] ^= 1 << (bit % 8);
    let mut tried = 0_u32;
    for a in 0..bits {
        let mut one = body.to_vec();
        flip(&mut one, a);
        assert!(decode(&one).is_err(), "bit {a}");
        for b in a + 1..bits {
            let mut two = one.clone();
            flip(&mut two, b);
            assert!(decode(&two).is_err(), "bits {a}, {b}");
            // Three: a sample, to keep it short.
            let c = (a * 31 + b * 17) % bits;
            if c != a && c != b {
                flip(&mut two, c);
                assert!(decode(&two).is_err(), "bits {a}, {b}, {c}");
                tried += 1;
            }
        }
    }
    assert!(tried > 10_000);
}

#[test]
fn noise_is_no_message_and_the_next_frame_is_heard() {
    let mut rng = Pcg::new(2, 0);
    let mut session = Session::new(SESSION);
    let mut framer = Framer::new();
    let mut heard = 0;
    for _ in 0..1_000_000 {
        if let Some(result) = framer.push((rng.uniform() * 256.0) as u8)
            && session.accept(Instant::START, result).is_ok()
        {
            heard += 1;
        }
    }
    assert_eq!(heard, 0);
    assert!(session.dropped() > 1_000);
    framer.push(0);
    let good = frame(SESSION, 1, &ToDevice::Stop);
    let result = good.iter().find_map(|&byte| framer.push(byte)).expect("a frame");
    assert_eq!(session.accept(Instant::START, result), Ok((1, ToDevice::Stop)));
}

#[test]
fn a_replayed_or_reordered_frame_and_one_of_another_session_do_nothing() {
    let mut session = Session::new(SESSION);
    let now = Instant::START;
    let captured = frame(SESSION, 5, &hold(60_000, 5_000));
    assert!(matches!(take(&mut session, now, &captured)[..], [Ok((5, _))]));
    assert_eq!(take(&mut session, now, &captured), [Err(Drop::Replayed)]);
    assert_eq!(take(&mut session, now, &frame(SESSION, 4, &hold(60_000, 5_000))), [Err(Drop::Replayed)]);
    assert_eq!(take(&mut session, now, &frame(SESSION ^ 1, 6, &hold(60_000, 5_000))), [Err(Drop::Session)]);
    let mut next_start = Session::new(SESSION + 1);
    assert_eq!(take(&mut next_start, now, &captured), [Err(Drop::Session)]);
}

#[test]
fn another_version_is_refused_by_name() {
    let other = VERSION + 1;
    let mut plain = vec![other];
    plain.extend([0; 8]);
    plain.push(0);
    plain.extend(crc32(&plain).to_le_bytes());
    // Stuffed by hand: each run between zeros is led by its length plus one.
    let mut stuffed = Vec::new();
    for run in plain.split(|&byte| byte == 0) {
        stuffed.push(run.len() as u8 + 1);
        stuffed.extend(run);
    }
    assert_eq!(decode(&stuffed), Err(FrameError::Version(other)));
}

#[test]
fn a_flood_is_thinned_out_and_stop_still_passes() {
    let mut session = Session::new(SESSION);
    let mut passed = 0;
    for sequence in 1..=10_000 {
        let now = Instant::from_micros(u64::from(sequence) * 1_000);
        passed += u32::from(take(&mut session, now, &frame(SESSION, sequence, &hold(60_000, 5_000)))[0].is_ok());
        assert!(take(&mut session, now, &frame(0, 0, &ToDevice::Stop))[0].is_ok(), "stop is never limited");
    }
    // Ten seconds at ten a second, and what may come at once.
    assert!((100..=100 + BURST + 1).contains(&passed), "{passed}");
}

/// A supervisor that sees 20 degrees everywhere.
struct Bench {
    supervisor: Supervisor,
    remote: Remote,
    sheet: EncodedSheet,
    now: Instant,
    armed: bool,
}

impl Bench {
    fn new() -> Bench {
        let supervisor = Supervisor::new(safe_defaults().settings().expect("defaults"), Knowledge::default());
        Bench { supervisor, remote: Remote::new(), sheet: EncodedSheet::new(), now: Instant::START, armed: false }
    }

    fn send(&mut self, message: &ToDevice) -> Result<(), Refused> {
        let standing = Standing { armed: self.armed, sheet: &mut self.sheet };
        self.remote.take(self.now, message, &mut self.supervisor, standing)
    }

    /// A control tick; gives whether heat was allowed.
    fn tick(&mut self) -> bool {
        self.warm(20_000)
    }

    /// The same with every vessel at this many thousandths of a degree.
    fn warm(&mut self, milli: i32) -> bool {
        self.now = self.now.plus(Span::from_millis(250));
        self.remote.expire(self.now, &mut self.supervisor);
        let readings: PerVessel<Reading> = PerVessel::build(|_| Ok(Celsius::from_milli(milli)));
        let switches = Switches { stop_loop: true, key: true, ..Switches::default() };
        let report = FastReport { armed: self.armed, ..FastReport::default() };
        self.supervisor.tick(self.now, Span::from_millis(250), &readings, &switches, &report).heat.is_some()
    }
}

fn every_message() -> Vec<ToDevice> {
    let mut all = vec![ToDevice::Hello, ToDevice::Stop, ToDevice::Pumps(Pumps { liquor: true, mash: true, wort: true })];
    for vessel in Vessel::ALL {
        for demand in
            [DemandMessage::Off, DemandMessage::Hold(60_000), DemandMessage::Hold(200_000), DemandMessage::Percent(10_000)]
        {
            for lasts_ms in [0, 1, LONGEST_DEMAND_MS, u32::MAX] {
                all.push(ToDevice::Demand { vessel, demand, lasts_ms });
            }
        }
    }
    all.push(ToDevice::Step { index: 0, of: 1, step: StepMessage::BringToBoil });
    let prompts = [
        PromptMessage::FillTank(30_000),
        PromptMessage::ReadyToDoughIn,
        PromptMessage::RunStrike(20_000),
        PromptMessage::StirInGrain,
        PromptMessage::RefillTank(10_000),
        PromptMessage::SetSparge,
        PromptMessage::KettleCovered,
        PromptMessage::SpargeDone(15_000),
        PromptMessage::ReadyWhirlpool,
        PromptMessage::ReadyChiller,
    ];
    let figures = [SheetAct::Target(60_000), SheetAct::Target(200_000), SheetAct::Share(10_000), SheetAct::Share(u16::MAX)];
    let acts = prompts.map(SheetAct::Answer).into_iter().chain(figures);
    for act in acts.chain([SheetAct::Hold(true), SheetAct::Hold(false), SheetAct::StepOn]) {
        for step in [0, 1, u8::MAX] {
            all.push(ToDevice::Sheet { step, act });
        }
    }
    all
}

/// A sheet with every step, so that each can be reached.
fn whole_day() -> Sheet {
    let (at, lasts) = (Celsius::from_milli(66_000), Span::from_mins(10));
    let litres = Litres::from_millilitres;
    let boil = Step::Boil { duty: Duty::from_basis_points(6_000), lasts, additions: Default::default() };
    let steps = [
        Step::HeatStrike { fill: litres(30_000), to: Celsius::from_milli(71_000) },
        Step::DoughIn { strike: litres(20_000), refill: litres(10_000) },
        Step::Rest { at, lasts },
        Step::MashOut { at, lasts },
        Step::Sparge { water: litres(15_000), at, hold: false },
        Step::BringToBoil,
        boil,
        Step::KnockOut,
        Step::Whirlpool { lasts },
        Step::Chill { to: Celsius::from_milli(20_000) },
    ];
    Sheet { steps: steps.into_iter().collect() }
}

/// A bench in this step of the day.
fn in_step(step: u8) -> Bench {
    let mut bench = Bench::new();
    bench.supervisor.start(whole_day());
    bench.armed = true;
    bench.tick();
    while bench.supervisor.sequencer().expect("a sheet runs").step() < step {
        bench.supervisor.sequencer_mut().expect("a sheet runs").skip();
        bench.tick();
    }
    bench
}

#[test]
fn a_running_sheet_takes_other_figures_within_the_limits_and_only_for_the_step_under_way() {
    let mut bench = in_step(2);
    let act = |step, act| ToDevice::Sheet { step, act };
    assert_eq!(bench.send(&act(2, SheetAct::Target(65_000))), Ok(()));
    bench.tick();
    assert_eq!(bench.supervisor.status().setpoints.mash_tun, Some(Celsius::from_milli(65_000)));
    assert_eq!(bench.send(&act(2, SheetAct::Target(95_000))), Err(Refused::NotPossible), "above the limit");
    assert_eq!(bench.send(&act(2, SheetAct::Share(5_000))), Err(Refused::MovedOn), "a rest has no share");
    assert_eq!(bench.send(&act(3, SheetAct::Target(65_000))), Err(Refused::MovedOn), "not under way");
    let mut bench = in_step(6);
    assert_eq!(bench.send(&act(6, SheetAct::Share(4_500))), Ok(()));
    bench.tick();
    assert_eq!(bench.supervisor.status().wanted.boil_kettle, Duty::from_basis_points(4_500));
    assert_eq!(bench.send(&act(6, SheetAct::Share(10_001))), Err(Refused::NotPossible));
    bench.armed = false;
    assert_eq!(bench.send(&act(6, SheetAct::Share(4_500))), Err(Refused::NotArmed));
}

#[test]
fn a_step_that_uncovers_an_element_is_not_ended_from_afar() {
    for step in 0..10 {
        let mut bench = in_step(step);
        let outcome = bench.send(&ToDevice::Sheet { step, act: SheetAct::StepOn });
        let harmless = matches!(step, 2 | 3 | 5 | 6 | 8);
        assert_eq!(outcome.is_ok(), harmless, "step {step}");
        bench.tick();
        let now = bench.supervisor.sequencer().map(copperhold_core::sequencer::Sequencer::step);
        assert_eq!(now, Some(if harmless { step + 1 } else { step }));
    }
}

#[test]
fn only_the_prompt_that_is_shown_can_be_answered_and_a_held_timer_stands() {
    let mut bench = in_step(0);
    let answer = |prompt| ToDevice::Sheet { step: 0, act: SheetAct::Answer(prompt) };
    assert_eq!(bench.send(&answer(PromptMessage::StirInGrain)), Err(Refused::MovedOn));
    assert_eq!(bench.send(&answer(PromptMessage::FillTank(1))), Err(Refused::MovedOn), "another volume, another prompt");
    assert_eq!(bench.send(&answer(PromptMessage::FillTank(30_000))), Ok(()));
    assert!(bench.tick(), "the tank heats");
    let mut bench = in_step(8);
    let left = |bench: &Bench| bench.supervisor.status().directive.and_then(|directive| directive.timer_left);
    let before = left(&bench);
    assert_eq!(bench.send(&ToDevice::Sheet { step: 8, act: SheetAct::Hold(true) }), Ok(()));
    bench.tick();
    bench.tick();
    assert_eq!(left(&bench), before);
    assert_eq!(bench.send(&ToDevice::Sheet { step: 8, act: SheetAct::Hold(false) }), Ok(()));
    bench.tick();
    assert!(left(&bench) < before);
}

#[test]
fn h3_a_demand_that_is_only_repeated_is_no_sign_of_a_person() {
    let mut bench = Bench::new();
    bench.armed = true;
    let mut tripped = None;
    for tick in 0..7_u32 * 3600 * 4 {
        if tick.is_multiple_of(8) {
            let _ = bench.send(&hold(60_000, 5_000));
        }
        // Warm enough for the guard to see a tank that holds.
        bench.warm(60_000);
        if let Some(latch) = bench.supervisor.guard().latch() {
            tripped = Some((latch.trip, tick / 4));
            break;
        }
    }
    assert_eq!(tripped.map(|(trip, _)| trip), Some(copperhold_core::guard::Trip::Alone));
    assert!(tripped.is_some_and(|(_, at_s)| at_s.abs_diff(6 * 3600) < 60), "{tripped:?}");
}

#[test]
fn no_message_heats_or_pumps_while_nobody_has_armed() {
    for message in every_message() {
        let mut bench = Bench::new();
        let outcome = bench.send(&message);
        assert!(!bench.tick(), "{message:?}");
        let harmless =
            matches!(message, ToDevice::Stop | ToDevice::Step { .. } | ToDevice::Demand { demand: DemandMessage::Off, .. });
        assert_eq!(outcome.is_ok(), harmless, "{message:?}");
        assert!(bench.supervisor.sequencer().is_none(), "a sheet is started at the panel only");
    }
}

#[test]
fn no_message_acknowledges_a_trip_or_heats_past_one() {
    for message in every_message() {
        let mut bench = Bench::new();
        bench.armed = true;
        let report = FastReport { armed: true, stopped: true, ..FastReport::default() };
        let readings: PerVessel<Reading> = PerVessel::build(|_| Ok(Celsius::from_milli(20_000)));
        bench.supervisor.tick(bench.now, Span::from_millis(250), &readings, &Switches::default(), &report);
        let trip = bench.supervisor.guard().latch();
        assert!(trip.is_some());
        let _ = bench.send(&message);
        assert!(!bench.tick(), "{message:?}");
        assert_eq!(bench.supervisor.guard().latch().map(|latch| latch.trip), trip.map(|latch| latch.trip), "{message:?}");
    }
}

#[test]
fn no_message_raises_a_limit_or_passes_one() {
    let mut bench = Bench::new();
    bench.armed = true;
    let limits = bench.supervisor.settings().get().limit;
    for message in every_message() {
        let _ = bench.send(&message);
    }
    assert_eq!(bench.supervisor.settings().get().limit, limits);
    assert_eq!(bench.send(&hold(90_000, 5_000)), Err(Refused::NotPossible), "at the limit");
    assert_eq!(bench.supervisor.demand(Vessel::LiquorTank, Demand::Off), Ok(()));
}

#[test]
fn a_demand_over_the_link_ends_unless_it_is_repeated() {
    let mut bench = Bench::new();
    bench.armed = true;
    bench.tick();
    assert_eq!(bench.send(&hold(60_000, 2_000)), Ok(()));
    let heated = (0..20).filter(|_| bench.tick()).count();
    assert_eq!(heated, 7, "less than two seconds of control ticks");
    for _ in 0..40 {
        assert_eq!(bench.send(&hold(60_000, 2_000)), Ok(()));
        assert!(bench.tick());
    }
    assert_eq!(bench.send(&ToDevice::Stop), Ok(()));
    assert!(!bench.tick());
    assert_eq!(bench.send(&hold(60_000, LONGEST_DEMAND_MS + 1)), Err(Refused::Duration));
}

#[test]
fn a_sheet_arrives_in_order_and_in_range_or_not_at_all() {
    let mut bench = Bench::new();
    let step = |index, step| ToDevice::Step { index, of: 2, step };
    let strike = StepMessage::HeatStrike { fill_ml: 30_000, to_milli_c: 71_000 };
    assert_eq!(bench.send(&step(0, strike.clone())), Ok(()));
    assert!(bench.sheet.is_empty());
    assert_eq!(bench.send(&step(1, StepMessage::BringToBoil)), Ok(()));
    assert_eq!(bench.sheet.len(), 2);
    assert_eq!(bench.send(&step(1, StepMessage::BringToBoil)), Err(Refused::Step), "out of order");
    assert!(bench.sheet.is_empty());
    let hot = StepMessage::HeatStrike { fill_ml: 30_000, to_milli_c: 500_000 };
    assert_eq!(bench.send(&step(0, hot)), Err(Refused::Step));
    let unsorted = StepMessage::Boil { duty: 6_000, lasts_s: 60, additions_left_s: [0, 60].into_iter().collect() };
    assert_eq!(bench.send(&step(0, unsorted)), Err(Refused::Step));
    let endless = StepMessage::Rest { at_milli_c: 66_000, lasts_s: u32::MAX };
    assert_eq!(bench.send(&step(0, endless)), Err(Refused::Step));
}
