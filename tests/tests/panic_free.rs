//! The core links without a panic handler: `tests/panic_free` calls an undefined symbol from its own, so a panic that can be reached is an
//! error of the linker. Overflow is not a panic in a release build; tests run with overflow checks for that.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Links the program for the microcontroller, `with` a feature; the program's path, or what the linker said.
fn link(with: Option<&str>) -> Result<PathBuf, String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("panic_free");
    let target = Path::new(env!("CARGO_TARGET_TMPDIR")).join("panic_free");
    let output = Command::new(env!("CARGO"))
        .args(["build", "--release", "--locked", "--target", "thumbv6m-none-eabi", "--features", with.unwrap_or("")])
        .arg("--target-dir")
        .arg(&target)
        .current_dir(&folder)
        .env_remove("RUSTFLAGS")
        .env_remove("CARGO_ENCODED_RUSTFLAGS")
        .output()
        .expect("cargo can be run");
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    if output.status.success() { Ok(target.join("thumbv6m-none-eabi/release/copperhold-panic-free")) } else { Err(said) }
}

#[test]
fn no_panic_can_be_reached_from_the_core_and_one_that_can_is_noticed() {
    let program =
        link(None).unwrap_or_else(|said| panic!("a panic can be reached in core, or the program does not build:\n{said}"));
    let bytes = std::fs::read(&program).expect("the linked program can be read");
    let has = |name: &str| bytes.windows(name.len()).any(|window| window == name.as_bytes());
    // An empty program has no panic either: the names of what must be in it. The guard's functions are all inlined; a trip's words are there.
    for name in [
        "\0tick\0",
        "\0start\0",
        "\0demand\0",
        "\0sheet\0",
        "\0hear\0",
        "\0convert\0",
        " passed its temperature limit",
        "HeatControl",
        "FastPath",
    ] {
        assert!(has(name), "{name:?} is not in the linked program");
    }
    assert!(!has("panicking"), "a function of core::panicking was linked");

    let said = link(Some("panic")).expect_err("an index out of bounds must not link");
    assert!(said.contains("undefined symbol: a_panic_can_be_reached"), "{said}");
}
