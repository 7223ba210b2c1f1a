//! Everything that parses, each behind one door: the spoilt-input tests and the coverage-guided ones feed it the same way.
//!
//! A parser may refuse what it is fed, with a reason. What it must never do is panic, answer with nonsense, or heat; that is asserted here.

use copperhold::cosim::{self, Cosim};
use copperhold::files::{self, RigFile};
use copperhold::{fit, import};
use copperhold_core::probe::{self, HIGHEST, LOWEST, ProbeSetup, RawReading};
use copperhold_core::settings::Settings;
use copperhold_core::supervisor::Knowledge;
use copperhold_core::units::{Duty, Instant, Litres};
use copperhold_core::vessel::{PerVessel, Pumps, Vessel};
use copperhold_core::wire::message::{DemandMessage, SheetAct, ToDevice};
use copperhold_core::wire::sheet::EncodedSheet;
use copperhold_core::wire::{Framer, MAX_FRAME, MAX_MESSAGE, Session, encode};
use copperhold_firmware::storage::Stored;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

/// Something that parses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parser {
    /// Rig files.
    Rig,
    /// Sheet files, compiled for the demo rig.
    Sheet,
    /// Recipes in BeerXML or BeerJSON.
    Recipe,
    /// Lines of a co-simulation.
    Cosim,
    /// Frames of the link, byte by byte.
    Frame,
    /// Messages of the link, in sound frames.
    Message,
    /// What probes send.
    Probe,
    /// Settings and sheets as stored.
    Stored,
}

static DEMO: LazyLock<RigFile> = LazyLock::new(|| files::demo_rig().expect("the demo rig"));
static SETTINGS: LazyLock<Settings> = LazyLock::new(|| fit::settings(&DEMO).expect("its figures"));
static PROBES: LazyLock<PerVessel<ProbeSetup>> = LazyLock::new(|| fit::probes(&DEMO.rig));

/// Messages that the sound frames carry.
pub const MESSAGES: [ToDevice; 6] = [
    ToDevice::Hello,
    ToDevice::Stop,
    ToDevice::Pumps(Pumps { liquor: false, mash: false, wort: false }),
    ToDevice::Sheet { step: 3, act: SheetAct::Share(5_500) },
    ToDevice::Demand { vessel: Vessel::BoilKettle, demand: DemandMessage::Percent(6_000), lasts_ms: 5_000 },
    ToDevice::Demand { vessel: Vessel::LiquorTank, demand: DemandMessage::Hold(71_000), lasts_ms: 5_000 },
];

impl Parser {
    /// All of them.
    pub const ALL: [Parser; 8] =
        [Parser::Rig, Parser::Sheet, Parser::Recipe, Parser::Cosim, Parser::Frame, Parser::Message, Parser::Probe, Parser::Stored];

    /// Its name, and its folder in the corpus.
    pub const fn name(self) -> &'static str {
        match self {
            Parser::Rig => "rig",
            Parser::Sheet => "sheet",
            Parser::Recipe => "recipe",
            Parser::Cosim => "cosim",
            Parser::Frame => "frame",
            Parser::Message => "message",
            Parser::Probe => "probe",
            Parser::Stored => "stored",
        }
    }

    /// Its folder in the corpus.
    pub fn folder(self) -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus").join(self.name())
    }

    /// Sound inputs to begin with, then the corpus in the order of its names.
    ///
    /// # Panics
    /// The corpus cannot be read.
    pub fn seeds(self) -> Vec<Vec<u8>> {
        let mut paths: Vec<_> = fs::read_dir(self.folder())
            .map(|folder| folder.map(|entry| entry.expect("an entry of the corpus").path()).collect())
            .unwrap_or_default();
        paths.sort();
        let kept = paths.iter().map(|path| fs::read(path).expect("a file of the corpus"));
        self.sound().into_iter().chain(kept).collect()
    }

    /// Sound inputs.
    ///
    /// # Panics
    /// One of them cannot be made.
    pub fn sound(self) -> Vec<Vec<u8>> {
        let message = |message: &ToDevice| postcard::to_stdvec(message).expect("it encodes");
        match self {
            Parser::Rig => vec![files::DEMO_RIG.into()],
            Parser::Sheet => vec![files::DEMO_SHEET.into()],
            Parser::Recipe => vec![
                include_bytes!("../recipes/harbour-lane.json").to_vec(),
                include_bytes!("../recipes/harbour-lane.xml").to_vec(),
            ],
            Parser::Cosim => vec![b"{\"t\": 0.0}\n{\"t\": 0.25, \"temps\": {\"liquor_tank\": 20.0}}\n".to_vec()],
            Parser::Frame => MESSAGES.iter().map(|m| encode(7, 1, &message(m)).expect("it fits").to_vec()).collect(),
            Parser::Message => MESSAGES.iter().map(message).collect(),
            Parser::Probe => vec![
                vec![0xA0, 0x01, 0x4B, 0x46, 0x7F, 0xFF, 0x10, 0x10, 0x00],
                vec![0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10, 0x1C],
                vec![0x40, 0x00],
                vec![0x50, 0x02],
            ],
            Parser::Stored => {
                let mut buffer = [0; 512];
                let settings = copperhold_firmware::storage::safe_defaults();
                let sheet = files::demo_sheet().expect("the demo sheet").compile(&DEMO).expect("it suits the demo rig");
                let sheet = EncodedSheet::encode(&sheet).expect("it fits");
                let (of, steps) = sheet.parts();
                vec![settings.encode(&mut buffer).expect("it fits").to_vec(), [&[of], steps].concat()]
            }
        }
    }

    /// Feeds it; whether it was accepted.
    ///
    /// # Panics
    /// The parser did, or what it said is wrong.
    pub fn feed(self, bytes: &[u8]) -> bool {
        match self {
            Parser::Rig => rig(bytes),
            Parser::Sheet => sheet(bytes),
            Parser::Recipe => recipe(bytes),
            Parser::Cosim => cosim(bytes),
            Parser::Frame => !heard(bytes).is_empty(),
            Parser::Message => message(bytes),
            Parser::Probe => probe_codes(bytes),
            Parser::Stored => stored(bytes),
        }
    }
}

fn is_told(found: &files::Diagnostic) {
    assert!(found.render(false).contains("error"), "a refusal says what is wrong");
}

fn rig(bytes: &[u8]) -> bool {
    files::parse_rig("r.toml", &String::from_utf8_lossy(bytes)).map_err(|found| is_told(&found)).is_ok()
}

fn sheet(bytes: &[u8]) -> bool {
    let sheet = files::parse_sheet("s.toml", &String::from_utf8_lossy(bytes));
    sheet.and_then(|sheet| sheet.compile(&DEMO).map(drop)).map_err(|found| is_told(&found)).is_ok()
}

fn recipe(bytes: &[u8]) -> bool {
    let recipes = import::recipes("r.json", &String::from_utf8_lossy(bytes));
    let sheets: Result<(), _> =
        recipes.and_then(|recipes| recipes.iter().try_for_each(|r| import::sheet("r.json", r, &DEMO).map(drop)));
    sheets.map_err(|found| is_told(&found)).is_ok()
}

fn cosim(bytes: &[u8]) -> bool {
    let mut cosim = Cosim::new(&SETTINGS, cosim::ANY_RIG_V, Knowledge::default());
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
}

/// The messages a device takes from a stretch of bytes. An ended run, however spoilt, leaves the line ready for the next frame.
///
/// # Panics
/// It does not.
pub fn heard(bytes: &[u8]) -> Vec<ToDevice> {
    let (mut framer, mut session) = (Framer::new(), Session::new(7));
    let heard: Vec<_> = bytes.iter().filter_map(|&byte| framer.push(byte)).collect();
    assert!(heard.len() <= bytes.len());
    let accepted = heard.into_iter().filter_map(|frame| session.accept(Instant::START, frame).ok()).map(|(_, message)| message);
    let accepted = accepted.collect();
    framer.push(0);
    let next = encode(7, 1, &[0]).expect("it fits");
    let next = next.iter().filter_map(|&byte| framer.push(byte)).last();
    assert!(matches!(next, Some(Ok(_))), "the next frame is not heard: {next:?}");
    accepted
}

/// What a message asks for is in range, and a sound frame brings what was put into it.
fn message(bytes: &[u8]) -> bool {
    let Some(frame) = encode(7, 1, bytes) else {
        assert!(bytes.len() > MAX_MESSAGE, "{} bytes do not fit", bytes.len());
        return false;
    };
    assert!(frame.len() <= MAX_FRAME);
    let mut framer = Framer::new();
    let heard = frame.iter().filter_map(|&byte| framer.push(byte)).last().expect("a whole frame").expect("a sound one");
    assert_eq!(&heard.message[..], bytes);
    let Ok((sequence, message)) = Session::new(7).accept(Instant::START, Ok(heard)) else { return false };
    assert_eq!(sequence, 1);
    match message {
        ToDevice::Demand { demand, .. } => {
            if let copperhold_core::heat::Demand::Percent(duty) = demand.demand() {
                assert!((Duty::ZERO..=Duty::FULL).contains(&duty), "{duty:?}");
            }
        }
        ToDevice::Step { index, of, step } => {
            let mut sheet = EncodedSheet::new();
            if sheet.take(index, of, &step).is_ok_and(|whole| whole) {
                assert_eq!(sheet.steps().count(), usize::from(of));
            }
        }
        ToDevice::Hello | ToDevice::Stop | ToDevice::Pumps(_) | ToDevice::Sheet { .. } => {}
    }
    true
}

fn probe_codes(bytes: &[u8]) -> bool {
    let word = u16::from_be_bytes([bytes.first().copied().unwrap_or(0), bytes.get(1).copied().unwrap_or(0)]);
    let mut scratchpad = [0; 9];
    scratchpad.iter_mut().zip(bytes).for_each(|(to, from)| *to = *from);
    let raws = [RawReading::from_rtd_registers(word), RawReading::Thermistor { code: word }, RawReading::OneWire { scratchpad }];
    let readings = raws.iter().flat_map(|raw| Vessel::ALL.map(|vessel| probe::convert(PROBES.get(vessel), *raw)));
    readings.flatten().inspect(|c| assert!((LOWEST..=HIGHEST).contains(c), "{c:?} from {bytes:?}")).count() > 0
}

/// Settings that are accepted are settings the core accepts; a sheet that is accepted comes back as the bytes it was.
fn stored(bytes: &[u8]) -> bool {
    let settings = Stored::decode(bytes).is_some_and(|stored| stored.settings().map(drop).is_ok());
    let sheet = EncodedSheet::from_bytes(bytes).is_some_and(|sheet| {
        assert_eq!(sheet.steps().count(), usize::from(sheet.len()));
        sheet.steps().all(|step| !matches!(step, copperhold_core::sheet::Step::HeatStrike { fill, .. } if fill < Litres::default()))
    });
    settings || sheet
}
