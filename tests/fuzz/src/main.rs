//! Feeds what libFuzzer invents to the parser that `COPPERHOLD_PARSER` names.

#![no_main]

use copperhold_tests::parsers::Parser;
use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;

static PARSER: LazyLock<Parser> = LazyLock::new(|| {
    let name = std::env::var("COPPERHOLD_PARSER").unwrap_or_default();
    let known = || Parser::ALL.map(Parser::name).join(", ");
    Parser::ALL
        .into_iter()
        .find(|parser| parser.name() == name)
        .unwrap_or_else(|| panic!("COPPERHOLD_PARSER is one of {}", known()))
});

fuzz_target!(|data: &[u8]| {
    PARSER.feed(data);
});
