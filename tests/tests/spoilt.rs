//! Everything that parses, fed with spoilt copies of sound inputs: rigs, sheets, co-simulation lines, wire frames, probe codes.
//!
//! What once failed or led somewhere new is kept in `tests/corpus` and is replayed first, then spoilt with the rest. `fuzz.rs` does the same
//! guided by coverage. `COPPERHOLD_SEED` sets the seed; `COPPERHOLD_LONG=yes` tries a hundred times as much.

use copperhold::plant::rng::Pcg;
use copperhold_tests::parsers::{MESSAGES, Parser, heard};

const TRIES: u32 = 4_000;

fn seed() -> u64 {
    let seed = std::env::var("COPPERHOLD_SEED").map_or(1, |text| text.parse().expect("COPPERHOLD_SEED is a number"));
    println!("COPPERHOLD_SEED={seed}");
    seed
}

fn tries() -> u32 {
    if std::env::var("COPPERHOLD_LONG").is_ok_and(|long| long == "yes") { TRIES * 100 } else { TRIES }
}

fn below(rng: &mut Pcg, n: usize) -> usize {
    rng.next_u32() as usize % n.max(1)
}

/// Spoils bytes in one to four places: a bit, a byte, a stretch left out, doubled, or brought in from another input.
fn spoil(rng: &mut Pcg, bytes: &[u8], other: &[u8]) -> Vec<u8> {
    let mut out = bytes.to_vec();
    for _ in 0..=below(rng, 4) {
        let at = below(rng, out.len());
        let end = (at + 1 + below(rng, 24)).min(out.len());
        match rng.next_u32() % 6 {
            _ if out.is_empty() => out.extend_from_slice(other),
            0 => out[at] ^= 1 << (rng.next_u32() % 8),
            1 => out[at] = b"0-9.eE\"{}[],:=\n\0\xFF~nu"[below(rng, 20)],
            2 => drop(out.drain(at..end)),
            3 => out = [&out[..end], &out[at..]].concat(),
            4 => {
                let from = below(rng, other.len());
                let to = (from + 1 + below(rng, 24)).min(other.len());
                out = [&out[..at], &other[from..to], &out[at..]].concat();
            }
            _ => out.truncate(at),
        }
    }
    out
}

/// Feeds the inputs as they are, then spoilt copies. Some must be accepted, and some must not.
fn campaign(parser: Parser) {
    let (inputs, mut rng) = (parser.seeds(), Pcg::new(seed(), parser as u64));
    let (mut accepted, mut refused) = (0_u32, 0_u32);
    let mut count = |ok: bool| if ok { accepted += 1 } else { refused += 1 };
    let nothing_else = |input: &[u8]| {
        if parser == Parser::Frame {
            heard(input).iter().for_each(|message| assert!(MESSAGES.contains(message), "{message:?} was never sent"));
        }
    };
    for input in &inputs {
        nothing_else(input);
        count(parser.feed(input));
    }
    for _ in 0..tries() {
        let (one, other) = (below(&mut rng, inputs.len()), below(&mut rng, inputs.len()));
        let input = spoil(&mut rng, &inputs[one], &inputs[other]);
        nothing_else(&input);
        count(parser.feed(&input));
    }
    println!("{}: {accepted} accepted, {refused} refused", parser.name());
    assert!(accepted > 0 && refused > tries() / 10, "{parser:?}: {accepted} accepted, {refused} refused: nothing was tested");
}

#[test]
fn spoilt_rigs_sheets_and_recipes_end_in_a_value_or_a_diagnostic() {
    [Parser::Rig, Parser::Sheet, Parser::Recipe].into_iter().for_each(campaign);
}

#[test]
fn spoilt_lines_of_a_co_simulation_are_answered_in_one_line_and_heat_nothing_unless_armed() {
    campaign(Parser::Cosim);
}

#[test]
fn spoilt_frames_and_messages_are_dropped_or_are_what_was_sent() {
    [Parser::Frame, Parser::Message].into_iter().for_each(campaign);
}

#[test]
fn any_code_of_any_probe_is_a_temperature_in_the_working_range_or_a_fault() {
    campaign(Parser::Probe);
}

#[test]
fn spoilt_settings_and_sheets_in_store_are_refused_or_in_range() {
    campaign(Parser::Stored);
}
