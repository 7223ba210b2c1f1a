//! Contacts that bounce, stick and are turned; and the one-wire bus with several thermometers on it, bit by bit.
use critical_section as _;

use copperhold_core::probe::{ProbeFault, RawReading, one_wire};
use copperhold_firmware::buttons::{Gesture, HOLD_TICKS, Knob, SafetyContact};
use copperhold_firmware::drivers::ds18b20::{Rom, convert_all, read, search};
use copperhold_firmware::drivers::one_wire::OneWire;
use copperhold_firmware::lines::{Line, never_two};
use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use std::cell::RefCell;
use std::convert::Infallible;

#[test]
fn a_safety_contact_opens_at_once_and_closes_after_it_has_settled() {
    let mut contact = SafetyContact::new();
    let seen: Vec<bool> = [true, true, true, true, true, false, true].into_iter().map(|closed| contact.sample(closed)).collect();
    assert_eq!(seen, [false, false, false, false, true, false, false]);
}

#[test]
fn levels_that_name_both_elements_become_none_and_all_others_stay() {
    for levels in 0..=u8::MAX {
        let two = levels & 2 != 0 && levels & 4 != 0;
        assert_eq!(never_two(levels), if two { 0 } else { levels });
    }
    assert_eq!((Line::TankElement.bit(), Line::KettleElement.bit()), (2, 4));
}

#[test]
fn a_bouncing_press_is_one_click() {
    let mut knob = Knob::new();
    knob.sample(false, false, false);
    let bounce = [true, false, true, true, false, true, true, true, true, true, false, true, false, false, false, false, false];
    let gestures: Vec<Gesture> = bounce.into_iter().filter_map(|push| knob.sample(false, false, push)).collect();
    assert_eq!(gestures, [Gesture::Click]);
}

#[test]
fn a_hold_comes_once_and_no_click_follows() {
    let mut knob = Knob::new();
    knob.sample(false, false, false);
    let gestures: Vec<Gesture> = (0..600).filter_map(|tick| knob.sample(false, false, tick < 500)).collect();
    assert_eq!(gestures, [Gesture::Hold]);
}

#[test]
fn a_knob_stuck_down_at_the_start_does_nothing_until_it_is_let_go() {
    let mut knob = Knob::new();
    assert!((0..u32::from(HOLD_TICKS) * 3).all(|_| knob.sample(false, false, true).is_none()));
    assert!((0..10).all(|_| knob.sample(false, false, false).is_none()));
    let gestures: Vec<Gesture> = (0..20).filter_map(|tick| knob.sample(false, false, tick < 10)).collect();
    assert_eq!(gestures, [Gesture::Click]);
}

#[test]
fn turning_counts_whole_clicks_and_forgets_half_ones() {
    let mut knob = Knob::new();
    let mut turn =
        |steps: &[(bool, bool)]| -> Vec<Gesture> { steps.iter().filter_map(|&(a, b)| knob.sample(a, b, false)).collect() };
    let right = [(true, false), (true, true), (false, true), (false, false)];
    let left = [(false, true), (true, true), (true, false), (false, false)];
    assert_eq!(turn(&right), [Gesture::Turn(1)]);
    assert_eq!(turn(&left), [Gesture::Turn(-1)]);
    assert_eq!(turn(&[(true, false), (false, false), (true, false), (false, false)]), [], "a contact that rattles at rest");
}

/// A bus with thermometers, in simulated microseconds.
#[derive(Default)]
struct Bus {
    now_us: f64,
    low: bool,
    fell_us: f64,
    held_until_us: f64,
    presence: Option<(f64, f64)>,
    devices: Vec<Device>,
    shorted: bool,
}

struct Device {
    rom: Rom,
    scratchpad: [u8; 9],
    state: State,
    bits: Vec<bool>,
    out: Vec<bool>,
    at: usize,
    converted: bool,
}

#[derive(PartialEq)]
enum State {
    Idle,
    Rom,
    Match,
    Search,
    Function,
}

fn bits_of(bytes: &[u8]) -> Vec<bool> {
    bytes.iter().flat_map(|byte| (0..8).map(move |bit| byte >> bit & 1 == 1)).collect()
}

impl Device {
    fn new(tail: [u8; 6], word: i16) -> Device {
        let mut rom = [0x28, tail[0], tail[1], tail[2], tail[3], tail[4], tail[5], 0];
        rom[7] = one_wire::crc8(&rom[..7]);
        let [low, high] = word.to_le_bytes();
        let mut scratchpad = [low, high, 0x4B, 0x46, 0x7F, 0xFF, 0x10, 0x10, 0];
        scratchpad[8] = one_wire::crc8(&scratchpad[..8]);
        Device { rom, scratchpad, state: State::Idle, bits: Vec::new(), out: Vec::new(), at: 0, converted: false }
    }

    fn slot(&mut self, bit: bool) {
        if !self.out.is_empty() {
            self.out.remove(0);
            return;
        }
        match self.state {
            State::Idle => {}
            State::Search => {
                let own = bits_of(&self.rom)[self.at];
                self.at += 1;
                if own != bit || self.at == 64 {
                    self.state = State::Idle;
                } else {
                    self.offer();
                }
            }
            State::Match => {
                self.bits.push(bit);
                if self.bits.len() == 64 {
                    self.state = if self.bits == bits_of(&self.rom) { State::Function } else { State::Idle };
                    self.bits.clear();
                }
            }
            State::Rom | State::Function => {
                self.bits.push(bit);
                if self.bits.len() == 8 {
                    let command = (0..8).filter(|&at| self.bits[at]).fold(0_u8, |byte, at| byte | 1 << at);
                    self.bits.clear();
                    self.command(command);
                }
            }
        }
    }

    fn command(&mut self, command: u8) {
        match (command, self.state == State::Rom) {
            (0xCC, true) => self.state = State::Function,
            (0x55, true) => self.state = State::Match,
            (0xF0, true) => {
                (self.state, self.at) = (State::Search, 0);
                self.offer();
            }
            (0x44, false) => (self.state, self.converted) = (State::Idle, true),
            (0xBE, false) => (self.state, self.out) = (State::Idle, bits_of(&self.scratchpad)),
            other => panic!("command {other:?}"),
        }
    }

    fn offer(&mut self) {
        let own = bits_of(&self.rom)[self.at];
        self.out = vec![own, !own];
    }
}

impl Bus {
    fn line_is_low(&self) -> bool {
        let present = self.presence.is_some_and(|(from, to)| (from..to).contains(&self.now_us));
        self.low || self.shorted || present || self.now_us < self.held_until_us
    }

    fn drive(&mut self, low: bool) {
        if low == self.low {
            return;
        }
        self.low = low;
        if low {
            self.fell_us = self.now_us;
            if self.devices.iter().any(|device| device.out.first() == Some(&false)) {
                self.held_until_us = self.now_us + 30.0;
            }
            return;
        }
        let width = self.now_us - self.fell_us;
        if width >= 480.0 {
            for device in &mut self.devices {
                (device.state, device.bits, device.out) = (State::Rom, Vec::new(), Vec::new());
            }
            self.presence = (!self.devices.is_empty()).then_some((self.now_us + 30.0, self.now_us + 150.0));
            return;
        }
        assert!(width <= 15.0 || (60.0..=120.0).contains(&width), "a slot of {width} us is neither a one nor a zero");
        self.devices.iter_mut().for_each(|device| device.slot(width <= 15.0));
    }
}

/// The pin and the delay share the bus; each step of the pin takes a microsecond.
struct Wire<'a>(&'a RefCell<Bus>);

impl ErrorType for Wire<'_> {
    type Error = Infallible;
}

impl OutputPin for Wire<'_> {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.borrow_mut().now_us += 1.0;
        self.0.borrow_mut().drive(true);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.0.borrow_mut().now_us += 1.0;
        self.0.borrow_mut().drive(false);
        Ok(())
    }
}

impl InputPin for Wire<'_> {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.borrow().line_is_low())
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.borrow().line_is_low())
    }
}

impl DelayNs for Wire<'_> {
    fn delay_ns(&mut self, ns: u32) {
        self.0.borrow_mut().now_us += f64::from(ns) * 1e-3;
    }
}

fn on_bus<R>(devices: Vec<Device>, work: impl FnOnce(&RefCell<Bus>, &mut OneWire<Wire<'_>, Wire<'_>>) -> R) -> R {
    let bus = RefCell::new(Bus { devices, ..Bus::default() });
    let mut wire = OneWire::new(Wire(&bus), Wire(&bus));
    work(&bus, &mut wire)
}

fn three() -> Vec<Device> {
    // Codes that part at the first bit after the family, at the last one before the check byte, and in between.
    vec![Device::new([0; 6], 0x0100), Device::new([0, 0, 0, 0, 0, 0x80], 0x0200), Device::new([1, 0, 0, 0, 0, 0], 0x0300)]
}

#[test]
fn the_search_finds_every_thermometer_and_each_is_read_by_its_own_code() {
    on_bus(three(), |bus, wire| {
        let found = search(wire).expect("a sound bus");
        let mut codes: Vec<Rom> = found.iter().copied().collect();
        codes.sort_unstable();
        let mut wanted: Vec<Rom> = bus.borrow().devices.iter().map(|device| device.rom).collect();
        wanted.sort_unstable();
        assert_eq!(codes, wanted);
        assert_eq!(convert_all(wire), Ok(()));
        assert!(bus.borrow().devices.iter().all(|device| device.converted));
        for at in 0..3 {
            let (rom, scratchpad) = (bus.borrow().devices[at].rom, bus.borrow().devices[at].scratchpad);
            assert_eq!(read(wire, Some(&rom)), RawReading::OneWire { scratchpad });
        }
    });
}

#[test]
fn a_single_thermometer_needs_no_code() {
    on_bus(vec![Device::new([9; 6], 0x0440)], |bus, wire| {
        let scratchpad = bus.borrow().devices[0].scratchpad;
        assert_eq!(read(wire, None), RawReading::OneWire { scratchpad });
    });
}

#[test]
fn several_that_answer_at_once_are_damaged_data_not_a_temperature() {
    on_bus(three(), |_, wire| {
        let RawReading::OneWire { scratchpad } = read(wire, None) else { panic!("something answered") };
        assert_eq!(one_wire::convert(scratchpad), Err(ProbeFault::Checksum));
    });
}

#[test]
fn an_empty_bus_is_open_and_a_bridged_one_shorted() {
    on_bus(Vec::new(), |_, wire| {
        assert_eq!(convert_all(wire), Err(ProbeFault::Open));
        assert_eq!(search(wire), Err(ProbeFault::Open));
    });
    on_bus(three(), |bus, wire| {
        bus.borrow_mut().shorted = true;
        assert_eq!(convert_all(wire), Err(ProbeFault::Shorted));
        assert_eq!(read(wire, None), RawReading::Fault(ProbeFault::Shorted));
    });
}
