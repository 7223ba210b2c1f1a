//! Everything that parses, fed with spoilt copies of sound inputs: rigs, sheets, co-simulation lines, wire frames, probe codes.
//!
//! Not guided by coverage: that needs a nightly compiler, which a fresh machine does not have. What once failed is kept in `tests/corpus` and
//! is replayed first, then spoilt with the rest. `COPPERHOLD_SEED` sets the seed; `COPPERHOLD_LONG=yes` tries a hundred times as much.

use copperhold::cosim::{self, Cosim};
use copperhold::files;
use copperhold::fit;
use copperhold::plant::rng::Pcg;
use copperhold_core::probe::{self, HIGHEST, LOWEST, RawReading};
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::Instant;
use copperhold_core::vessel::{Pumps, Vessel};
use copperhold_core::wire::message::{DemandMessage, SheetAct, ToDevice};
use copperhold_core::wire::{Framer, MAX_FRAME, Session, encode};
use std::fs;
use std::path::Path;

const TRIES: u32 = 4_000;

fn seed() -> u64 {
    let seed = std::env::var("COPPERHOLD_SEED").map_or(1, |text| text.parse().expect("COPPERHOLD_SEED is a number"));
    println!("COPPERHOLD_SEED={seed}");
    seed
}

fn tries() -> u32 {
    if std::env::var("COPPERHOLD_LONG").is_ok_and(|long| long == "yes") { TRIES * 100 } else { TRIES }
}

/// The files of one folder of the corpus, in the order of their names.
fn corpus(folder: &str) -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus").join(folder);
    let mut paths: Vec<_> =
        fs::read_dir(&folder).expect("a folder of the corpus").map(|entry| entry.expect("an entry").path()).collect();
    paths.sort();
    assert!(!paths.is_empty(), "{folder:?} is empty");
    paths.iter().map(|path| fs::read(path).expect("a file of the corpus")).collect()
}

fn below(rng: &mut Pcg, n: usize) -> usize {
    rng.next_u32() as usize % n.max(1)
}

/// Spoils bytes in one to four places: a bit, a byte, a stretch left out, doubled, or brought in from another input.
fn spoil(rng: &mut Pcg, bytes: &[u8], other: &[u8]) -> Vec<u8> {
    let mut out = bytes.to_vec();
    for _ in 0..=below(rng, 4) {
        let at = below(rng, out.len());
        let end = (at + 1 + below(rng, 24)).min(out.len());
        match rng.next_u32() % 6 {
            _ if out.is_empty() => out.extend_from_slice(other),
            0 => out[at] ^= 1 << (rng.next_u32() % 8),
            1 => out[at] = b"0-9.eE\"{}[],:=\n\0\xFF~nu"[below(rng, 20)],
            2 => drop(out.drain(at..end)),
            3 => out = [&out[..end], &out[at..]].concat(),
            4 => {
                let from = below(rng, other.len());
                let to = (from + 1 + below(rng, 24)).min(other.len());
                out = [&out[..at], &other[from..to], &out[at..]].concat();
            }
            _ => out.truncate(at),
        }
    }
    out
}

/// Feeds the inputs as they are, then spoilt copies; `feed` says whether one was accepted. Some must be, and some must not.
fn campaign(name: &str, stream: u64, inputs: &[Vec<u8>], mut feed: impl FnMut(&[u8]) -> bool) {
    let mut rng = Pcg::new(seed(), stream);
    let (mut accepted, mut refused) = (0_u32, 0_u32);
    let mut count = |ok: bool| if ok { accepted += 1 } else { refused += 1 };
    inputs.iter().for_each(|input| count(feed(input)));
    for _ in 0..tries() {
        let (one, other) = (below(&mut rng, inputs.len()), below(&mut rng, inputs.len()));
        count(feed(&spoil(&mut rng, &inputs[one], &inputs[other])));
    }
    println!("{name}: {accepted} accepted, {refused} refused");
    assert!(accepted > 0 && refused > tries() / 10, "{name}: {accepted} accepted, {refused} refused: nothing was tested");
}

#[test]
fn spoilt_rigs_and_sheets_end_in_a_value_or_a_diagnostic() {
    let rigs: Vec<_> = corpus("rig").into_iter().chain([files::DEMO_RIG.into()]).collect();
    campaign("rigs", 1, &rigs, |bytes| {
        let rig = files::parse_rig("r.toml", &String::from_utf8_lossy(bytes));
        rig.map_err(|found| assert!(found.render(false).contains("error"))).is_ok()
    });
    let demo = files::demo_rig().expect("the demo rig");
    let sheets: Vec<_> = corpus("sheet").into_iter().chain([files::DEMO_SHEET.into()]).collect();
    campaign("sheets", 2, &sheets, |bytes| {
        let sheet = files::parse_sheet("s.toml", &String::from_utf8_lossy(bytes));
        let compiled = sheet.and_then(|sheet| sheet.compile(&demo).map(drop));
        compiled.map_err(|found| assert!(found.render(false).contains("error"))).is_ok()
    });
}

#[test]
fn spoilt_lines_of_a_co_simulation_are_answered_in_one_line_and_heat_nothing_unless_armed() {
    let settings = fit::settings(&files::demo_rig().expect("the demo rig")).expect("its figures");
    campaign("co-simulation", 3, &corpus("cosim"), |bytes| {
        let mut cosim = Cosim::new(&settings, cosim::ANY_RIG_V, Knowledge::default());
        let mut well = false;
        for line in bytes.split(|&byte| byte == b'\n').filter(|line| !line.trim_ascii().is_empty()) {
            let answer = cosim.exchange(&String::from_utf8_lossy(line));
            assert!(!answer.contains('\n'), "{answer}");
            let answer: serde_json::Value = serde_json::from_str(&answer).expect("an answer in JSON");
            well |= answer.get("error").is_none();
            let armed = answer.get("armed").and_then(serde_json::Value::as_bool).unwrap_or(false);
            assert!(armed || answer.get("element").is_none_or(serde_json::Value::is_null), "{answer}");
        }
        well
    });
}

#[test]
fn spoilt_frames_are_dropped_or_are_what_was_sent() {
    let messages = [
        ToDevice::Hello,
        ToDevice::Stop,
        ToDevice::Pumps(Pumps::default()),
        ToDevice::Sheet { step: 3, act: SheetAct::Share(5_500) },
        ToDevice::Demand { vessel: Vessel::BoilKettle, demand: DemandMessage::Percent(6_000), lasts_ms: 5_000 },
        ToDevice::Demand { vessel: Vessel::LiquorTank, demand: DemandMessage::Hold(71_000), lasts_ms: 5_000 },
    ];
    let frames: Vec<Vec<u8>> = messages
        .iter()
        .map(|message| encode(7, 1, &postcard::to_stdvec(message).expect("it encodes")).expect("it fits").to_vec())
        .collect();
    campaign("frames", 4, &frames, |bytes| {
        let (mut framer, mut session) = (Framer::new(), Session::new(7));
        // An ended run, however spoilt, leaves the line ready for the next frame.
        let heard: Vec<_> = bytes.iter().filter_map(|&byte| framer.push(byte)).collect();
        assert!(heard.len() <= bytes.len() && bytes.len() < 4 * MAX_FRAME);
        let mut accepted = false;
        for (_, message) in heard.into_iter().filter_map(|frame| session.accept(Instant::START, frame).ok()) {
            assert!(messages.contains(&message), "{message:?} was never sent");
            accepted = true;
        }
        framer.push(0);
        let next = frames[0].iter().filter_map(|&byte| framer.push(byte)).collect::<Vec<_>>().pop();
        assert!(matches!(next, Some(Ok(_))), "the next frame is not heard: {next:?}");
        accepted
    });
}

#[test]
fn any_code_of_any_probe_is_a_temperature_in_the_working_range_or_a_fault() {
    let setups = fit::probes(&files::demo_rig().expect("the demo rig").rig);
    let sound = [[0xA0, 0x01, 0x4B, 0x46, 0x7F, 0xFF, 0x10, 0x10, 0x00], [0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10, 0x1C]];
    let inputs: Vec<Vec<u8>> = sound.iter().map(|bytes| bytes.to_vec()).chain([vec![0x40, 0x00], vec![0x50, 0x02]]).collect();
    campaign("probe codes", 5, &inputs, |bytes| {
        let word = u16::from_be_bytes([bytes.first().copied().unwrap_or(0), bytes.get(1).copied().unwrap_or(0)]);
        let mut scratchpad = [0; 9];
        scratchpad.iter_mut().zip(bytes).for_each(|(to, from)| *to = *from);
        let raws =
            [RawReading::from_rtd_registers(word), RawReading::Thermistor { code: word }, RawReading::OneWire { scratchpad }];
        let readings = raws.iter().flat_map(|raw| Vessel::ALL.map(|vessel| probe::convert(setups.get(vessel), *raw)));
        readings.flatten().inspect(|c| assert!((LOWEST..=HIGHEST).contains(c), "{c:?} from {bytes:?}")).count() > 0
    });
}
