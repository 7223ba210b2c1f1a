//! The serial link: frames through noise, sessions through replay and flood, and what no message can do.

use copperhold::plant::rng::Pcg;
use copperhold_core::fast::{FastReport, Switches};
use copperhold_core::heat::Demand;
use copperhold_core::probe::Reading;
use copperhold_core::supervisor::{Knowledge, Supervisor};
use copperhold_core::units::{Celsius, Instant, Span};
use copperhold_core::vessel::{PerVessel, Pumps, Vessel};
use copperhold_core::wire::frame::crc32;
use copperhold_core::wire::message::{DemandMessage, LONGEST_DEMAND_MS, Refused, ToDevice};
use copperhold_core::wire::session::BURST;
use copperhold_core::wire::sheet::{EncodedSheet, StepMessage};
use copperhold_core::wire::{Drop, FrameError, Framer, MAX_MESSAGE, Session, decode, encode};
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
    let mut plain = vec![2];
    plain.extend([0; 8]);
    plain.push(0);
    plain.extend(crc32(&plain).to_le_bytes());
    // Stuffed by hand: each run between zeros is led by its length plus one.
    let mut stuffed = Vec::new();
    for run in plain.split(|&byte| byte == 0) {
        stuffed.push(run.len() as u8 + 1);
        stuffed.extend(run);
    }
    assert_eq!(decode(&stuffed), Err(FrameError::Version(2)));
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
        self.now = self.now.plus(Span::from_millis(250));
        self.remote.expire(self.now, &mut self.supervisor);
        let readings: PerVessel<Reading> = PerVessel::build(|_| Ok(Celsius::from_milli(20_000)));
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
    all
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
