//! The store through power cuts, damage and noise.

use copperhold::plant::rng::Pcg;
use copperhold_core::heat::Learned;
use copperhold_core::probe::rtd::Pt100;
use copperhold_core::probe::thermistor::{Curve, Divider};
use copperhold_core::units::{Kelvin, Slope, Span};
use copperhold_core::wire::sheet::{EncodedSheet, StepMessage};
use copperhold_firmware::drivers::max31865::Wires;
use copperhold_firmware::lines::Coil;
use copperhold_firmware::probes::Choice;
use copperhold_firmware::sense::Fitted;
use copperhold_firmware::storage::settings::Origin;
use copperhold_firmware::storage::two_slot::VERSION;
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

/// What version 2 of the layout holds for [`settings`] of a 3,500 W element: a change of the format that forgets the version's number
/// fails here.
const VERSION_2: &str = "00000000ac0d00007017000040420f0018790000c05d0000c20100007c1500007017000040420f00000000000000000000000000905f0100\
    00000000b08f060003000000905f01000200000028010203040506074096010000000000801a060004000000a086010070170000c8000000\
    c8000000e80300000000000000000000000000000000000001000000a4060000";

#[test]
fn the_format_is_that_of_its_version() {
    assert_eq!(VERSION, 2);
    let mut buffer = [0; 768];
    let bytes = settings(3_500).encode(&mut buffer).expect("it fits").to_vec();
    assert_eq!(bytes, unhex(VERSION_2));
    assert_eq!(Stored::decode(&bytes), Some(settings(3_500)));
    // Cut anywhere, or longer than it should be, it is in doubt.
    assert!((0..bytes.len()).all(|length| Stored::decode(&bytes[..length]).is_none()));
    assert_eq!(Stored::decode(&[&bytes[..], &[0; 4]].concat()), None);
    assert_eq!(Stored::decode(&[&bytes[..], &[0]].concat()), None);
    // And a buffer that is too short takes nothing.
    assert_eq!(settings(3_500).encode(&mut [0; 64]), None);
}

#[test]
fn every_way_of_wiring_is_stored_and_an_unknown_one_is_doubt() {
    for bits in 0..32 {
        for coil in [Coil::Level, Coil::Pulses] {
            let flow_per_litre = u16::from(bits);
            let stored = Stored { fitted: Fitted::from_bits(bits).expect("five lines"), coil, flow_per_litre, ..settings(2_000) };
            let mut buffer = [0; 768];
            let bytes = stored.encode(&mut buffer).expect("it fits").to_vec();
            assert_eq!(Stored::decode(&bytes), Some(stored));
            // The last six figures: display, sense lines, coil, pulses of the flow meter, whether an offset is known, the offset.
            let with = |figure: usize, value: u32| {
                let mut other = bytes.clone();
                let at = other.len() - 4 * figure;
                other[at..at + 4].copy_from_slice(&value.to_le_bytes());
                Stored::decode(&other)
            };
            assert!(with(6, 1).is_some() && with(6, 2).is_none());
            assert!(with(5, 31).is_some() && with(5, 32).is_none() && with(5, 256).is_none());
            assert!(with(4, 1).is_some() && with(4, 2).is_none());
            assert!(with(3, 10_000).is_some() && with(3, 10_001).is_none() && with(3, 65_536).is_none());
            assert!(with(2, 1).is_some() && with(2, 2).is_none());
        }
    }
}

#[test]
fn every_kind_of_probe_is_stored_and_an_unknown_one_is_doubt() {
    let divider = |ohm, curve| Choice::Thermistor { divider: Divider::new(ohm, curve).expect("in range") };
    let kinds = [
        Choice::Rtd { element: Pt100::R_REF_430, wires: Wires::Two },
        Choice::Rtd { element: Pt100::R_REF_400, wires: Wires::Four },
        Choice::OneWire { rom: None },
        Choice::OneWire { rom: Some([0; 8]) },
        Choice::OneWire { rom: Some([0x28, 255, 2, 3, 4, 5, 6, 128]) },
        divider(10_000, Curve::TenK3),
        divider(9_950, Curve::Beta3435),
    ];
    for probe in kinds {
        let mut stored = settings(2_000);
        stored.probes.mash_tun = probe;
        let mut buffer = [0; 768];
        let bytes = stored.encode(&mut buffer).expect("it fits").to_vec();
        assert_eq!(Stored::decode(&bytes), Some(stored));
        // The mash's kind is figure 18: after mains, twice six of an element, four of the tank, and the mash's limit.
        for kind in [4, u32::MAX] {
            let mut unknown = bytes.clone();
            unknown[72..76].copy_from_slice(&kind.to_le_bytes());
            assert_eq!(Stored::decode(&unknown), None, "{probe:?}");
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
