//! Torn writes and flipped bits: H24, H23.

use super::{Campaign, Phase, many};
use crate::support::{STORE_AT, powered};
use copperhold_core::units::Watts;
use copperhold_core::wire::message::ToHost;
use copperhold_firmware::storage::Store;
use copperhold_firmware::storage::settings::Origin;
use copperhold_tests::emulator::{Emulator, image, unhex};
use copperhold_tests::flash::symbols;
use copperhold_tests::memory_flash::MemoryFlash;
use serde_json::json;
use std::collections::BTreeMap;

/// Two sectors of settings, and how many bytes were ever changed.
fn store(emulator: &mut Emulator) -> (MemoryFlash, u32) {
    let answer = emulator.call(json!({"cmd": "flash", "at": STORE_AT, "length": 4 * 4096}));
    let mut flash = MemoryFlash::new(4 * 4096);
    flash.bytes_mut().copy_from_slice(&unhex(answer["hex"].as_str().expect("text")));
    (flash, answer["changed"].as_u64().expect("a count") as u32)
}

#[test]
fn h24_a_power_cut_at_every_page_of_a_store_leaves_the_old_settings_or_the_new() {
    let mut emulator = powered();
    // Menu, settings, fifth row: the tank's power, one step up; then hold to store.
    emulator.press_knob(0.1);
    emulator.turn_knob(6);
    emulator.press_knob(0.1);
    emulator.turn_knob(4);
    emulator.press_knob(0.1);
    emulator.turn_knob(1);
    emulator.press_knob(0.1);
    let before = emulator.save("before");
    let watts = |emulator: &mut Emulator| {
        let (mut flash, changed) = store(emulator);
        let (stored, origin) = Store::new(&mut flash, 0).load_settings();
        (stored.draft.element_power.liquor_tank.map_or(0, Watts::get), origin, changed)
    };
    let (old, _, at_first) = watts(&mut emulator);
    emulator.press_knob(1.5);
    let (new, origin, at_last) = watts(&mut emulator);
    let bytes = at_last - at_first;
    assert!(new == old + 100 && origin == Origin::Stored && bytes >= 4096 + 256, "{old} {new} {bytes}");
    // Before, in and after each page; every sixteenth byte with `--long`.
    let step = 256 / many(1).clamp(1, 16);
    let cuts: Vec<u32> =
        (0..bytes).step_by(step as usize).flat_map(|at| [at, at + 1, at + step - 1]).filter(|&at| at < bytes).collect();
    let mut found: BTreeMap<u32, u32> = BTreeMap::new();
    for &cut in &cuts {
        emulator.restore(&before);
        emulator.set(json!({"fault": {"cut_flash_after": cut}}));
        emulator.contact("knob_push", true);
        let report = emulator.run(1.6);
        let (watts, origin, changed) = watts(&mut emulator);
        assert_eq!(changed - at_first, cut, "the cut came where it was set");
        assert!(origin == Origin::Stored && (watts == old || watts == new), "cut after {cut}: {watts} W, {origin:?}");
        *found.entry(watts).or_default() += 1;
        // It has started again, says so, and works with what it found.
        let says = |message: &ToHost| matches!(message, ToHost::Hello { restarted, .. } if restarted.as_str() == "power on");
        assert!(report.all_low() && report.messages.iter().any(says), "cut after {cut}");
    }
    println!("H24 cut: {} cuts in a store of {bytes} bytes; {found:?} W afterwards", cuts.len());
    assert!(cuts.len() >= 40 && found.len() == 2, "old and new were both seen");
}

/// What became of a flipped bit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Outcome {
    /// It heats on, and a stop is heard.
    WentOn,
    /// No element, by itself; a stop is heard.
    HeatOff,
    /// The processor left its path: on hardware a fault, and a reset.
    Fault,
    /// Reset by the watchdog.
    Reset,
    /// A line is high although the stop loop is open.
    Deaf,
}

#[test]
fn h23_flipped_bits_in_what_the_interrupts_own_never_give_two_elements() {
    let elf = std::fs::read(&image().elf).expect("the image was built");
    let symbols = symbols(&elf).expect("symbols");
    let shared = symbols.iter().find(|symbol| symbol.name.contains("interrupts6SHARED")).expect("the interrupts' own");
    let bits = shared.size * 8;
    assert!(bits > 1_000, "{bits}");
    let mut campaign = Campaign::new("H23 bit flip", 23);
    let mut outcomes: BTreeMap<Outcome, u32> = BTreeMap::new();
    let mut deaf = Vec::new();
    let count = if many(1) > 1 { bits } else { 120 };
    for index in 0..count {
        // Every bit with `--long`, else some of them.
        let bit = if count == bits { index } else { campaign.below(bits) };
        let place = campaign.somewhere(&[Phase::Full]);
        let before = campaign.emulator.run(0.0);
        campaign.emulator.set(json!({"fault": {"flip": {"at": shared.at + bit / 8, "bit": bit % 8}}}));
        let outcome = match campaign.emulator.try_run(1.0) {
            Err(_) => Outcome::Fault,
            Ok(report) => {
                assert_eq!(report.both, before.both, "bit {bit}");
                campaign.emulator.contact("stop_loop", false);
                match campaign.emulator.try_run(0.7) {
                    Err(_) => Outcome::Fault,
                    Ok(stopped) if !stopped.all_low() => Outcome::Deaf,
                    Ok(stopped) if stopped.resets > before.resets => Outcome::Reset,
                    Ok(_) if report.line("tank_element").level => Outcome::WentOn,
                    Ok(_) => Outcome::HeatOff,
                }
            }
        };
        if outcome == Outcome::Deaf {
            deaf.push(bit);
        }
        *outcomes.entry(outcome).or_default() += 1;
        campaign.took(&place, 0.0, 0.0);
    }
    let unreadable = campaign.emulator.unreadable();
    println!("  of {bits} bits: {outcomes:?}; deaf to the stop: {deaf:?}; {unreadable} frames were sound and held no message");
    assert!(deaf.is_empty(), "a stop was not heard with one of these bits flipped: {deaf:?}");
    campaign.done(20, "flipped bits: never two elements, and a stop is always heard");
}
