//! The store through power cuts, damage and noise.

use copperhold::plant::rng::Pcg;
use copperhold_core::heat::Learned;
use copperhold_core::probe::rtd::Pt100;
use copperhold_core::units::{Kelvin, Slope, Span};
use copperhold_core::wire::sheet::{EncodedSheet, StepMessage};
use copperhold_firmware::drivers::max31865::Wires;
use copperhold_firmware::lines::Coil;
use copperhold_firmware::probes::Choice;
use copperhold_firmware::sense::Fitted;
use copperhold_firmware::storage::settings::Origin;
use copperhold_firmware::storage::{Store, Stored, safe_defaults};
use copperhold_tests::emulator::unhex;
use copperhold_tests::memory_flash::MemoryFlash;

const SIZE: usize = 4 * 4096;

fn settings(tank_w: u32) -> Stored {
    let mut stored = safe_defaults();
    stored.draft.element_power.liquor_tank = Some(copperhold_core::units::Watts::new(tank_w));
    stored.probes.mash_tun = Choice::OneWire { rom: Some([0x28, 1, 2, 3, 4, 5, 6, 7]) };
    stored.probes.boil_kettle = Choice::Rtd { element: Pt100::R_REF_400, wires: Wires::Four };
    stored.knowledge.vessels.liquor_tank =
        Some(Learned::new(Slope::from_micro(31_000), Span::from_secs(24), Slope::from_micro(450)));
    stored.knowledge.mash_offset = Some(Kelvin::from_milli(1_700));
    stored
}

#[test]
fn the_defaults_are_settings_that_the_core_accepts() {
    assert!(safe_defaults().settings().is_ok());
}

#[test]
fn what_was_stored_comes_back_and_the_newer_wins() {
    let mut flash = MemoryFlash::new(SIZE);
    let mut store = Store::new(&mut flash, 0);
    assert_eq!(store.load_settings(), (safe_defaults(), Origin::Blank));
    for watts in (1_000..3_000).step_by(100) {
        store.save_settings(&settings(watts)).expect("it fits");
        let (stored, origin) = store.load_settings();
        assert_eq!(origin, Origin::Stored);
        assert_eq!(stored.draft.element_power.liquor_tank, settings(watts).draft.element_power.liquor_tank);
        assert_eq!(stored.probes, settings(watts).probes);
        assert_eq!(stored.knowledge.mash_offset.map(Kelvin::milli), Some(1_700));
        let learned = stored.knowledge.vessels.liquor_tank.expect("learned");
        assert_eq!((learned.lag(), learned.loss()), (Span::from_secs(24), Slope::from_micro(450)));
        assert_eq!(learned.slope(), Slope::from_micro(31_000));
    }
}

/// A record as version 0.1.0 wrote it before sense lines could be set.
const BEFORE_SENSE_LINES: &str = "0001ac1b01fc2af02ef02ec0843dc0843da0fe0aa0fe0a80d90cc09a0ce05dc801c801e80700b09f1a0300b09f1a0300b09f1a\
    030001b0e403c0bb0184070001c81a";

#[test]
fn settings_stored_by_an_older_image_survive_the_update() {
    let stored = Stored::decode(&unhex(BEFORE_SENSE_LINES)).expect("it is read");
    assert_eq!(stored.draft.element_power.liquor_tank.map(copperhold_core::units::Watts::get), Some(3_500));
    let learned = stored.knowledge.vessels.liquor_tank.expect("learned");
    assert_eq!((learned.slope(), learned.lag()), (Slope::from_micro(31_000), Span::from_secs(24)));
    assert_eq!((stored.fitted, stored.coil), (Fitted::default(), Coil::Level), "what it did not know is not fitted");
    // Cut anywhere, it is in doubt.
    let whole = unhex(BEFORE_SENSE_LINES);
    assert!((0..whole.len()).all(|length| Stored::decode(&whole[..length]).is_none()));
}

#[test]
fn every_way_of_wiring_is_stored_and_an_unknown_one_is_doubt() {
    for bits in 0..32 {
        for coil in [Coil::Level, Coil::Pulses] {
            let flow_per_litre = u16::from(bits);
            let stored = Stored { fitted: Fitted::from_bits(bits).expect("five lines"), coil, flow_per_litre, ..settings(2_000) };
            let mut buffer = [0; 768];
            let bytes = stored.encode(&mut buffer).expect("it fits").to_vec();
            let read = Stored::decode(&bytes).expect("it is read");
            assert_eq!((read.fitted, read.coil, read.flow_per_litre), (stored.fitted, coil, flow_per_litre));
            let mut unknown = bytes.clone();
            let at = unknown.len() - 3;
            unknown[at] |= 32;
            assert_eq!(Stored::decode(&unknown), None);
            // The coil's byte cut off is no older record.
            assert_eq!(Stored::decode(&bytes[..bytes.len() - 2]), None);
            // One of before the flow meter is, and has none.
            let older = Stored::decode(&bytes[..bytes.len() - 1]).expect("it is read");
            assert_eq!((older.coil, older.flow_per_litre), (coil, 0));
            // And more pulses than there can be are doubt.
            let absurd = [&bytes[..bytes.len() - 1], &[0xFF, 0x7F]].concat();
            assert_eq!(Stored::decode(&absurd), None);
        }
    }
}

#[test]
fn a_cut_at_every_byte_leaves_the_old_record_or_the_new_one() {
    let mut before = MemoryFlash::new(SIZE);
    for watts in [1_000, 1_100] {
        Store::new(&mut before, 0).save_settings(&settings(watts)).expect("it fits");
    }
    let mut whole = before.clone();
    Store::new(&mut whole, 0).save_settings(&settings(1_200)).expect("it fits");
    let steps = whole.changed() - before.changed();
    assert!(steps > 4_096, "an erased sector and at least a page");

    let (mut old, mut new) = (0, 0);
    for cut in 0..steps {
        let mut flash = before.clone();
        flash.cut_after(cut);
        let result = Store::new(&mut flash, 0).save_settings(&settings(1_200));
        assert!(result.is_err(), "the supply went at byte {cut}");
        flash.power();
        let (stored, origin) = Store::new(&mut flash, 0).load_settings();
        assert_eq!(origin, Origin::Stored, "cut at {cut}");
        match stored.draft.element_power.liquor_tank.map(copperhold_core::units::Watts::get) {
            Some(1_100) => old += 1,
            Some(1_200) => new += 1,
            other => panic!("cut at {cut}: {other:?}"),
        }
        // And the next store works.
        Store::new(&mut flash, 0).save_settings(&settings(1_300)).expect("after the cut");
        let (stored, _) = Store::new(&mut flash, 0).load_settings();
        assert_eq!(stored.draft.element_power.liquor_tank.map(copperhold_core::units::Watts::get), Some(1_300));
    }
    assert!(old > 4_096 && new > 0, "{old} {new}");
}

#[test]
fn a_sector_left_half_erased_is_noise_and_harms_nothing() {
    let mut rng = Pcg::new(7, 0);
    let mut flash = MemoryFlash::new(SIZE);
    for watts in [1_000, 1_100] {
        Store::new(&mut flash, 0).save_settings(&settings(watts)).expect("it fits");
    }
    for slot in [0, 1] {
        for _ in 0..500 {
            let mut torn = flash.clone();
            // An interrupted erase leaves some bits up and some down.
            for byte in &mut torn.bytes_mut()[slot * 4096..(slot + 1) * 4096] {
                *byte |= (rng.uniform() * 256.0) as u8;
            }
            let (stored, origin) = Store::new(&mut torn, 0).load_settings();
            assert_eq!(origin, Origin::Stored);
            let watts = stored.draft.element_power.liquor_tank.map(copperhold_core::units::Watts::get);
            assert!(watts == Some(1_000) || watts == Some(1_100), "{watts:?}");
        }
    }
}

#[test]
fn two_damaged_slots_mean_doubt() {
    let mut flash = MemoryFlash::new(SIZE);
    for watts in [1_000, 1_100] {
        Store::new(&mut flash, 0).save_settings(&settings(watts)).expect("it fits");
    }
    for bit in 0..8 * 64 {
        let mut damaged = flash.clone();
        for slot in [0, 4096] {
            damaged.bytes_mut()[slot + bit / 8] ^= 1 << (bit % 8);
        }
        let (stored, origin) = Store::new(&mut damaged, 0).load_settings();
        assert_eq!((stored, origin), (safe_defaults(), Origin::Damaged), "bit {bit}");
    }
}

#[test]
fn a_hundred_thousand_mutated_contents_are_refused_or_in_range() {
    let mut buffer = [0; 768];
    let good = settings(1_500).encode(&mut buffer).expect("it fits").to_vec();
    assert!(Stored::decode(&good).is_some());
    let mut rng = Pcg::new(3, 1);
    let mut accepted = 0;
    for _ in 0..100_000 {
        let mut bytes = good.clone();
        for _ in 0..1 + (rng.uniform() * 3.0) as usize {
            let at = (rng.uniform() * bytes.len() as f64) as usize;
            bytes[at] = (rng.uniform() * 256.0) as u8;
        }
        if let Some(stored) = Stored::decode(&bytes) {
            accepted += 1;
            assert!(stored.settings().is_ok());
        }
    }
    assert!(accepted > 0 && accepted < 100_000, "{accepted}");
}

#[test]
fn a_sheet_comes_back_whole_or_not_at_all() {
    let mut sheet = EncodedSheet::new();
    let steps = [
        StepMessage::HeatStrike { fill_ml: 30_000, to_milli_c: 71_000 },
        StepMessage::Boil { duty: 6_000, lasts_s: 3_600, additions_left_s: [3_600, 900, 0].into_iter().collect() },
    ];
    for (index, step) in steps.iter().enumerate() {
        sheet.take(index as u8, 2, step).expect("in order");
    }
    let mut flash = MemoryFlash::new(SIZE);
    Store::new(&mut flash, 0).save_sheet(&sheet).expect("it fits");
    assert_eq!(Store::new(&mut flash, 0).load_sheet(), sheet);
    assert_eq!(sheet.steps().count(), 2);
    flash.bytes_mut()[2 * 4096 + 12] ^= 4;
    assert!(Store::new(&mut flash, 0).load_sheet().is_empty());
}
