//! A controller with settings for a small rig of three Pt100, and codes for temperatures.

use copperhold::plant::RawCode;
use copperhold::rig::ProbeKind;
use copperhold_core::probe::rtd::Pt100;
use copperhold_core::vessel::PerVessel;
use copperhold_firmware::drivers::max31865::Wires;
use copperhold_firmware::probes::Choice;
use copperhold_firmware::storage::{Store, Stored, safe_defaults};
use copperhold_tests::emulator::{Emulator, Report};
use copperhold_tests::memory_flash::MemoryFlash;
use serde_json::json;

/// Where the store begins in the Pico's flash.
pub const STORE_AT: u32 = 2 * 1024 * 1024 - 32 * 1024;

/// Settings of the bench rig: three Pt100 over 400 ohm.
pub fn bench() -> Stored {
    let rtd = Choice::Rtd { element: Pt100::R_REF_400, wires: Wires::Three };
    Stored { probes: PerVessel { liquor_tank: rtd, mash_tun: rtd, boil_kettle: rtd }, ..safe_defaults() }
}

/// What the store holds after these settings were saved.
pub fn flash_with(stored: &Stored) -> Vec<(u32, Vec<u8>)> {
    let mut flash = MemoryFlash::new(4 * 4096);
    Store::new(&mut flash, 0).save_settings(stored).expect("it fits");
    vec![(STORE_AT, flash.bytes().to_vec())]
}

/// The code of a Pt100's front end.
pub fn pt100(t_c: f64) -> u16 {
    match RawCode::encode(ProbeKind::Pt100, t_c) {
        RawCode::Pt100 { code } => code,
        RawCode::Ntc10k { .. } | RawCode::Ds18b20 { .. } => unreachable!("a Pt100 was asked for"),
    }
}

/// The bench, powered on, everything at 20 degrees, the stop loop closed.
pub fn powered() -> Emulator {
    let mut emulator = Emulator::boot(&flash_with(&bench()));
    let code = pt100(20.0);
    emulator.set(json!({"contacts": {"stop_loop": true}, "spi": {"liquor_tank": code, "mash_tun": code, "boil_kettle": code}}));
    emulator.run(1.0);
    emulator
}

/// The bench, armed, its tank at full power.
pub fn heating() -> (Emulator, Report) {
    let mut emulator = powered();
    let report = emulator.arm();
    assert!(report.telemetry().expect("telemetry").armed);
    hold(&mut emulator, 0);
    let report = emulator.run(1.0);
    assert!(report.line("contactor").level && report.line("tank_element").level, "{report:?}");
    (emulator, report)
}

/// From the home screen: the menu, a vessel's row of it, and held at the 60 C that stand there.
pub fn hold(emulator: &mut Emulator, row: i32) {
    emulator.press_knob(0.1);
    emulator.turn_knob(row);
    emulator.press_knob(0.1);
    emulator.press_knob(1.0);
}

/// From a vessel's screen back home.
pub fn home(emulator: &mut Emulator) {
    emulator.turn_knob(3);
    emulator.press_knob(0.1);
}
