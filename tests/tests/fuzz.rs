//! Everything that parses, fuzzed with libFuzzer and guided by coverage, on the stable compiler.
//!
//! The program in `tests/fuzz` is built with counters in our own crates. Each parser first starts from one sound input and must find new
//! edges: without feedback it would find none, and all that follows would be blind. Then it starts from the whole corpus. What fails is
//! written to the target folder, with its path in the message: put it into `tests/corpus`, where every run replays it.
//!
//! `COPPERHOLD_LONG=yes` runs half an hour for each parser. `COPPERHOLD_KEEP=yes` adds to the corpus what led somewhere new.

use copperhold_tests::parsers::Parser;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Seconds for each parser, from one input and from all.
const SHORT: (u32, u32) = (4, 12);
const LONG: (u32, u32) = (30, 1_800);

fn says_yes(variable: &str) -> bool {
    std::env::var(variable).is_ok_and(|value| value == "yes")
}

fn scratch() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("fuzz")
}

/// Builds the program; its path.
fn build() -> PathBuf {
    let wrapper = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/rustc-with-counters");
    let target = scratch().join("target");
    let output = Command::new(env!("CARGO"))
        .args(["build", "-p", "copperhold-fuzz", "--locked", "--target-dir"])
        .arg(&target)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env("RUSTC_WORKSPACE_WRAPPER", wrapper)
        .env_remove("RUSTFLAGS")
        .env_remove("CARGO_ENCODED_RUSTFLAGS")
        .output()
        .expect("cargo can be run");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    target.join("debug/copperhold-fuzz")
}

/// Edges and features known at the start and at the end, and inputs tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Coverage {
    first: (u64, u64),
    last: (u64, u64),
    tried: u64,
}

/// The figures of a line such as `#16384  pulse  cov: 92 ft: 121 corp: ...`.
fn figures(line: &str) -> Option<(u64, (u64, u64))> {
    let mut words = line.split_whitespace();
    let tried = words.next()?.strip_prefix('#')?.parse().ok()?;
    let rest: Vec<&str> = words.collect();
    let after = |key: &str| rest.iter().position(|word| *word == key).and_then(|at| rest.get(at + 1)?.parse().ok());
    Some((tried, (after("cov:")?, after("ft:")?)))
}

fn coverage(log: &str) -> Option<Coverage> {
    let mut lines = log.lines().filter_map(figures);
    let (_, first) = lines.next()?;
    let (tried, last) = lines.next_back()?;
    Some(Coverage { first, last, tried })
}

/// Runs it for some seconds on the inputs of a folder.
fn run(program: &Path, parser: Parser, inputs: &Path, seconds: u32) -> Coverage {
    let output = Command::new(program)
        .env("COPPERHOLD_PARSER", parser.name())
        .env("RUST_BACKTRACE", "0")
        .args([format!("-max_total_time={seconds}"), "-timeout=20".to_owned(), "-rss_limit_mb=4096".to_owned()])
        .args(["-max_len=4096", "-use_value_profile=1", "-print_final_stats=1", "-seed=1"])
        .arg(format!("-artifact_prefix={}/{}-", scratch().display(), parser.name()))
        .arg(inputs)
        .output()
        .expect("the fuzzed program can be run");
    let log = String::from_utf8_lossy(&output.stderr);
    let end: String = log.lines().rev().take(40).collect::<Vec<_>>().into_iter().rev().collect::<Vec<_>>().join("\n");
    assert!(output.status.success(), "{parser:?}:\n{end}");
    coverage(&log).unwrap_or_else(|| panic!("{parser:?}: no figures in its log:\n{end}"))
}

/// A fresh folder with these inputs.
fn folder(name: &str, inputs: &[Vec<u8>]) -> PathBuf {
    let folder = scratch().join(name);
    let _nothing_there = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder under the target folder");
    for (n, input) in inputs.iter().enumerate() {
        fs::write(folder.join(format!("seed-{n}")), input).expect("a file in it");
    }
    folder
}

/// Keeps what led to a new edge: the fewest inputs that reach all edges the found ones reach. Counters and compared values steer a run, but
/// would keep ten times as many.
fn keep(program: &Path, parser: Parser, found: &Path) {
    let status = Command::new(program)
        .env("COPPERHOLD_PARSER", parser.name())
        .args(["-set_cover_merge=1", "-use_counters=0", "-max_len=4096"])
        .args([&parser.folder(), found])
        .output()
        .expect("the fuzzed program can be run")
        .status;
    assert!(status.success(), "{parser:?}: the corpus cannot be merged");
}

#[test]
fn coverage_guided_fuzzing_finds_no_panic_and_no_nonsense_in_anything_that_parses() {
    let program = build();
    let (from_one, from_all) = if says_yes("COPPERHOLD_LONG") { LONG } else { SHORT };
    for parser in Parser::ALL {
        let one = folder(&format!("{}-one", parser.name()), &parser.sound()[..1]);
        let alone = run(&program, parser, &one, from_one);
        println!("{:8} from one input: {alone:?}", parser.name());
        assert!(alone.last.0 > alone.first.0 && alone.last.1 > alone.first.1, "{parser:?} found nothing new: {alone:?}");
        let mut inputs = parser.seeds();
        inputs
            .extend(fs::read_dir(&one).expect("its folder").map(|file| fs::read(file.expect("an entry").path()).expect("a file")));
        let all = folder(&format!("{}-all", parser.name()), &inputs);
        let guided = run(&program, parser, &all, from_all);
        println!("{:8} from the corpus: {guided:?}", parser.name());
        assert!(guided.last.0 >= alone.last.0 && guided.tried > 100, "{parser:?}: {guided:?} after {alone:?}");
        if says_yes("COPPERHOLD_KEEP") {
            fs::create_dir_all(parser.folder()).expect("the corpus");
            keep(&program, parser, &all);
        }
    }
}

#[test]
fn figures_are_read_from_the_log() {
    let log = "INFO: Seed: 1\n#2\tINITED cov: 7 ft: 9 corp: 1/1b\n#14\tNEW    cov: 8 ft: 11 corp: 2/5b\n#99\tDONE   cov: 8 ft: 12 corp: 5/21b";
    assert_eq!(coverage(log), Some(Coverage { first: (7, 9), last: (8, 12), tried: 99 }));
    assert_eq!(coverage("INFO: nothing"), None);
}
