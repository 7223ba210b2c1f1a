//! `./tests/cost`: that every workload it counts runs, and that the mark between two ticks is in the program. The counting itself needs callgrind
//! and a release build, and is run by hand.

use copperhold_tests::watched::root;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The program whose instructions are counted.
fn program() -> PathBuf {
    let built = Command::new(env!("CARGO"))
        .args(["build", "--locked", "--quiet", "-p", "copperhold-tests", "--example", "cost"])
        .current_dir(root())
        .status();
    assert!(built.expect("cargo runs").success());
    let test = std::env::current_exe().expect("a path");
    test.ancestors().nth(2).expect("a folder").join("examples/cost")
}

fn run(program: &Path, workload: &str, ticks: u32) -> Output {
    Command::new(program).args([workload, &ticks.to_string()]).output().expect("it starts")
}

#[test]
fn every_workload_of_the_script_runs_and_its_ticks_are_marked() {
    let script = std::fs::read_to_string(root().join("tests/cost")).expect("the script");
    // `row "what it is"   workload from to`, and the one that is taken off the others.
    let rows = script.lines().filter_map(|line| line.strip_prefix("row \"")).filter_map(|row| row.split('"').nth(1));
    let mut workloads: BTreeSet<String> = rows.filter_map(|rest| rest.split_whitespace().next()).map(str::to_owned).collect();
    assert!(script.contains("ticks nothing ") && workloads.insert("nothing".to_owned()));
    assert_eq!(workloads.len(), 8, "{workloads:?}");
    let program = program();
    for workload in &workloads {
        let (some, more) = (run(&program, workload, 50), run(&program, workload, 51));
        for output in [&some, &more] {
            let sum = String::from_utf8_lossy(&output.stdout);
            assert!(output.status.success() && sum.trim().parse::<u64>().is_ok(), "{workload}: {output:?}");
        }
    }
    let unknown = run(&program, "never-heard-of", 50);
    assert!(!unknown.status.success() && String::from_utf8_lossy(&unknown.stderr).contains("never-heard-of"), "{unknown:?}");

    let mark = "cost::next_tick";
    assert!(script.contains(&format!("--dump-before='{mark}*'")));
    let code = std::fs::read(&program).expect("readable");
    // The linker's names hold a path as lengths and words, whichever scheme it is.
    let name = b"4cost9next_tick";
    assert!(code.windows(name.len()).any(|part| part == name), "{mark} is not in the program: inlined or renamed");
}
