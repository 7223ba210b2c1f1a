//! Hands the board's memory map to the linker.

use std::path::PathBuf;
use std::{env, fs};

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    if env::var("CARGO_CFG_TARGET_OS").as_deref() != Ok("none") {
        return;
    }
    let boards =
        ["pico", "stm32f4"].into_iter().filter(|board| env::var(format!("CARGO_FEATURE_{}", board.to_uppercase())).is_ok());
    // With none the library is built; with two it refuses by itself.
    let [board] = boards.collect::<Vec<&str>>()[..] else { return };
    let map = format!("boards/{board}/memory.x");
    println!("cargo:rerun-if-changed={map}");
    let out = PathBuf::from(env::var("OUT_DIR").expect("cargo sets OUT_DIR"));
    fs::copy(&map, out.join("memory.x")).expect("the memory map can be copied");
    println!("cargo:rustc-link-search={}", out.display());
    for arg in ["--nmagic", "-Tlink.x", "-Tdefmt.x"] {
        println!("cargo:rustc-link-arg-bins={arg}");
    }
}
