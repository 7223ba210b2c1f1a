//! Every screen of the front panel, as pixels: compared with the pictures in `tests/reference/panel`, four dots per pixel.
//!
//! After a wanted change: `COPPERHOLD_BLESS=1 cargo test -p copperhold-tests --test panel`, and look at the pictures.

use copperhold_core::arming::Block;
use copperhold_core::fast::{FastReport, Outputs, Switches};
use copperhold_core::heat::Demand;
use copperhold_core::probe::{ProbeFault, Reading};
use copperhold_core::sheet::{Sheet, Step};
use copperhold_core::supervisor::{Knowledge, Supervisor};
use copperhold_core::units::{Celsius, Instant, Litres, Span};
use copperhold_core::vessel::{Element, PerVessel, Vessel};
use copperhold_firmware::buttons::Gesture;
use copperhold_firmware::drivers::oled::Canvas;
use copperhold_firmware::lines::Coil;
use copperhold_firmware::panel::{Action, Lost, Moment, Panel, View};
use copperhold_firmware::sense::{Fitted, Line};
use copperhold_firmware::storage::settings::Origin;
use copperhold_firmware::storage::{Stored, safe_defaults};
use std::path::{Path, PathBuf};

const SCALE: usize = 4;

struct Bench {
    supervisor: Supervisor,
    panel: Panel,
    canvas: Canvas,
    stored: Stored,
    moment: Moment,
    now: Instant,
    readings: PerVessel<Reading>,
}

fn c(milli: i32) -> Celsius {
    Celsius::from_milli(milli)
}

impl Bench {
    fn new() -> Bench {
        Bench {
            supervisor: Supervisor::new(safe_defaults().settings().expect("defaults"), Knowledge::default()),
            panel: Panel::new(),
            canvas: Canvas::new(),
            stored: safe_defaults(),
            moment: Moment {
                outputs: Outputs { armed: true, contactor: true, ..Outputs::default() },
                origin: Origin::Stored,
                sheet_steps: 2,
                key: true,
                ..Moment::default()
            },
            now: Instant::START,
            readings: PerVessel { liquor_tank: Ok(c(68_420)), mash_tun: Ok(c(66_730)), boil_kettle: Ok(c(19_260)) },
        }
    }

    fn ticks(&mut self, count: u32, report: FastReport) {
        for _ in 0..count {
            self.now = self.now.plus(Span::from_millis(250));
            let switches = Switches { stop_loop: true, key: true, ..Switches::default() };
            self.supervisor.tick(self.now, Span::from_millis(250), &self.readings, &switches, &report);
        }
    }

    fn armed(&mut self, count: u32) {
        self.ticks(count, FastReport { armed: true, ..FastReport::default() });
    }

    fn gesture(&mut self, gesture: Gesture) -> Option<Action> {
        self.panel.gesture(gesture, &View { supervisor: &self.supervisor, stored: &self.stored, now: self.moment })
    }

    fn turn(&mut self, clicks: i8) {
        for _ in 0..clicks.abs() {
            assert_eq!(self.gesture(Gesture::Turn(clicks.signum())), None, "turning only looks");
        }
    }

    fn click(&mut self) -> Option<Action> {
        self.gesture(Gesture::Click)
    }

    /// From home to a row of the menu.
    fn go(&mut self, row: i8) {
        self.click();
        self.turn(row);
        self.click();
    }

    /// With two ticks behind it, the settings' row `row`.
    fn setup(&mut self, row: i8) {
        self.armed(2);
        self.go(6);
        self.turn(row);
    }

    /// What a hold stores.
    #[track_caller]
    fn stores(&mut self) -> Stored {
        let Some(Action::Set(stored)) = self.gesture(Gesture::Hold) else { panic!("a hold stores") };
        stored
    }

    #[track_caller]
    fn shows(&mut self, name: &str) {
        let view = View { supervisor: &self.supervisor, stored: &self.stored, now: self.moment };
        // A drawing that is due; then nothing must change it.
        for _ in 0..5 {
            self.panel.draw(&mut self.canvas, &view);
        }
        compare(name, &self.canvas);
    }
}

fn picture(canvas: &Canvas) -> Vec<u8> {
    let (width, height) = (128 * SCALE, 64 * SCALE);
    let dots: Vec<u8> =
        (0..width * height).map(|at| if canvas.is_lit(at % width / SCALE, at / width / SCALE) { 0xFF } else { 0 }).collect();
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width as u32, height as u32);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.write_header().and_then(|mut writer| writer.write_image_data(&dots)).expect("a picture can be encoded");
    bytes
}

fn dots(path: &Path) -> Vec<u8> {
    let file = std::fs::File::open(path).unwrap_or_else(|error| panic!("{}: {error}; see the top of this file", path.display()));
    let mut reader = png::Decoder::new(std::io::BufReader::new(file)).read_info().expect("a picture");
    let mut dots = vec![0; reader.output_buffer_size().expect("a size")];
    reader.next_frame(&mut dots).expect("a frame");
    dots
}

#[track_caller]
fn compare(name: &str, canvas: &Canvas) {
    let folder: PathBuf = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/panel");
    let kept = folder.join(format!("{name}.png"));
    let seen = picture(canvas);
    if std::env::var_os("COPPERHOLD_BLESS").is_some() {
        std::fs::create_dir_all(&folder).and_then(|()| std::fs::write(&kept, &seen)).expect("pictures can be kept");
        return;
    }
    let out = Path::new(env!("CARGO_MANIFEST_DIR")).join("out");
    std::fs::create_dir_all(&out).expect("a folder for what was seen");
    let now = out.join(format!("panel-{name}.png"));
    std::fs::write(&now, &seen).expect("a picture can be written");
    assert!(dots(&kept) == dots(&now), "{name} has changed: compare {} with {}", now.display(), kept.display());
}

#[test]
fn home_shows_grant_temperatures_targets_and_duty() {
    let mut bench = Bench::new();
    bench.readings.liquor_tank = Ok(c(67_760));
    bench.armed(4);
    bench.supervisor.demand(Vessel::MashTun, Demand::Hold(c(67_000))).expect("possible");
    bench.armed(2);
    bench.moment.outputs.grant = Some(Element::LiquorTank);
    bench.shows("home");
    bench.readings.boil_kettle = Err(ProbeFault::Open);
    bench.armed(8);
    bench.shows("home-probe-fault");
}

#[test]
fn home_shows_the_step_and_its_time() {
    let mut bench = Bench::new();
    bench.armed(1);
    let mut sheet = Sheet::default();
    sheet.steps.push(Step::Rest { at: c(66_700), lasts: Span::from_mins(40) }).expect("room");
    bench.supervisor.start(sheet);
    bench.armed(300);
    bench.moment.outputs.grant = Some(Element::LiquorTank);
    bench.shows("home-rest");
}

#[test]
fn a_prompt_fills_the_screen_and_only_a_hold_answers_it() {
    let mut bench = Bench::new();
    let mut sheet = Sheet::default();
    sheet.steps.push(Step::HeatStrike { fill: Litres::from_millilitres(36_000), to: c(71_000) }).expect("room");
    bench.supervisor.start(sheet);
    bench.armed(2);
    bench.shows("prompt");
    assert_eq!(bench.click(), None, "one click sets it aside");
    bench.shows("prompt-set-aside");
    bench.click();
    assert_eq!(bench.gesture(Gesture::Hold), Some(Action::Answer));
}

#[test]
fn every_list_and_page() {
    let mut bench = Bench::new();
    bench.armed(2);
    bench.click();
    bench.shows("menu");
    bench.turn(7);
    bench.shows("menu-end");
    for (row, name) in [(0, "tank"), (1, "mash"), (3, "sheet"), (4, "pumps"), (5, "arming-armed"), (6, "setup")] {
        let mut bench = Bench::new();
        bench.armed(2);
        bench.go(row);
        bench.shows(name);
    }
}

#[test]
fn a_target_is_turned_and_takes_a_hold_to_apply() {
    let mut bench = Bench::new();
    bench.armed(2);
    bench.go(0);
    assert_eq!(bench.click(), None);
    bench.turn(14);
    bench.shows("tank-editing");
    assert_eq!(bench.click(), None, "a click ends the turning and applies nothing");
    bench.panel.set_held(60);
    bench.shows("tank-holding");
    assert_eq!(bench.gesture(Gesture::Hold), Some(Action::Demand(Vessel::LiquorTank, Demand::Hold(c(67_000)))));
}

#[test]
fn one_click_never_adds_heat_starts_a_pump_or_answers() {
    for row in 0..8 {
        for inner in 0..22 {
            let mut bench = Bench::new();
            bench.armed(2);
            bench.go(row);
            bench.turn(inner);
            let action = bench.click();
            let harmless = matches!(action, None | Some(Action::Demand(_, Demand::Off)));
            assert!(harmless, "row {row}, {inner}: {action:?}");
        }
    }
}

#[test]
fn what_stands_in_the_way_of_arming() {
    let mut bench = Bench::new();
    bench.moment.outputs = Outputs::default();
    for (block, name) in [(Some(Block::KeyNotCycled), "arming-key"), (None, "arming-ready")] {
        bench.moment.block = block;
        bench.panel = Panel::new();
        bench.go(5);
        bench.shows(name);
    }
    bench.panel = Panel::new();
    bench.moment.block = Some(Block::KeyOff);
    bench.shows("home-safe");
}

#[test]
fn a_trip_takes_the_screen_with_cause_and_remedy() {
    let mut bench = Bench::new();
    bench.armed(2);
    bench.ticks(1, FastReport { armed: true, stopped: true, ..FastReport::default() });
    bench.moment.outputs = Outputs::default();
    bench.shows("trip");
    bench.turn(3);
    bench.shows("trip-scrolled");
    assert_eq!(bench.click(), None);
    assert_eq!(bench.gesture(Gesture::Hold), None, "the knob acknowledges nothing");
}

#[test]
fn settings_in_doubt_take_the_screen_until_confirmed() {
    for (origin, name) in [(Origin::Blank, "doubt-blank"), (Origin::Damaged, "doubt-damaged")] {
        let mut bench = Bench::new();
        bench.moment.origin = origin;
        bench.shows(name);
        assert_eq!(bench.click(), None);
        assert_eq!(bench.gesture(Gesture::Hold), Some(Action::ConfirmDefaults));
    }
}

#[test]
fn a_setting_is_turned_and_takes_a_hold_to_store() {
    let mut bench = Bench::new();
    bench.setup(4);
    assert_eq!(bench.click(), None);
    bench.turn(-10);
    bench.shows("setup-editing");
    let stored = bench.stores();
    assert_eq!(stored.draft.element_power.liquor_tank.map(copperhold_core::units::Watts::get), Some(4_500));
}

#[test]
fn the_brimful_volume_is_unknown_until_it_is_told_and_never_less_than_the_least() {
    let mut bench = Bench::new();
    bench.setup(8);
    bench.shows("setup-brimful-unknown");
    let unknown = bench.stored.settings().expect("in range").slowest(Element::LiquorTank).expect("an element");
    assert_eq!(bench.click(), None);
    bench.turn(-20);
    bench.shows("setup-brimful");
    let stored = bench.stores();
    assert_eq!((stored.draft.greatest_ml.liquor_tank, stored.draft.greatest_ml.boil_kettle), (30_000, 1_000_000));
    // It bounds what is believed: 30 L climb as many times faster as they are fewer than 1,000 L.
    let told = stored.settings().expect("in range").slowest(Element::LiquorTank).expect("an element");
    let times = f64::from(told.micro()) / f64::from(unknown.micro());
    assert!((28.0..=34.0).contains(&times), "{times}");
    // The record holds it.
    let mut buffer = [0; 512];
    let bytes = stored.encode(&mut buffer).expect("it fits");
    assert_eq!(copperhold_firmware::storage::Stored::decode(bytes).as_ref(), Some(&stored));

    // Turned far down it stops at the least volume, and a greater least takes it along, so that the settings stay sound.
    bench.stored = stored;
    assert_eq!(bench.click(), None);
    bench.turn(-100);
    let stored = bench.stores();
    assert_eq!(stored.draft.greatest_ml.liquor_tank, stored.draft.least_ml.liquor_tank);
    bench.stored = stored;
    bench.turn(-2);
    assert_eq!(bench.click(), None);
    bench.turn(8);
    let stored = bench.stores();
    assert_eq!((stored.draft.least_ml.liquor_tank, stored.draft.greatest_ml.liquor_tank), (10_000, 10_000));
    assert!(stored.settings().is_ok());
}

#[test]
fn sense_lines_are_switched_on_one_by_one_and_say_what_they_read() {
    let mut bench = Bench::new();
    bench.setup(16);
    bench.shows("setup-sense-none");
    assert_eq!(bench.click(), None);
    bench.turn(1);
    let stored = bench.stores();
    let mut wanted = Fitted::default();
    wanted.set(Line::Contactor, true);
    assert_eq!((stored.fitted, stored.coil), (wanted, Coil::Level));

    // In force after the next start: then each says what it reads.
    bench.stored = stored;
    bench.stored.fitted.set(Line::Level(Element::BoilKettle), true);
    bench.moment.sense.contactor = Some(false);
    bench.moment.sense.covered.boil_kettle = Some(true);
    bench.turn(4);
    bench.shows("setup-sense");
    // Past the flow meter.
    bench.turn(2);
    assert_eq!(bench.click(), None);
    bench.turn(1);
    let stored = bench.stores();
    assert_eq!(stored.coil, Coil::Pulses);
}

#[test]
fn the_flow_meter_is_told_its_pulses_and_says_what_flows() {
    let mut bench = Bench::new();
    bench.setup(21);
    bench.shows("setup-flow-none");
    assert_eq!(bench.click(), None);
    bench.turn(45);
    bench.moment.flow_ml_per_min = 4_260;
    bench.shows("setup-flow");
    let stored = bench.stores();
    assert_eq!(stored.flow_per_litre, 450);
}

#[test]
fn home_says_which_expander_does_not_answer() {
    for (lost, name) in [(Lost::Selector, "home-selector-lost"), (Lost::Sense, "home-sense-lost")] {
        let mut bench = Bench::new();
        bench.armed(2);
        bench.moment.lost = Some(lost);
        bench.shows(name);
    }
}
