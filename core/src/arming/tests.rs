use super::*;

const TICK: Span = Span::from_millis(10);
const OFF: Panel = Panel { tripped: false, stop_loop: true, key: false, button: false };
const ON: Panel = Panel { key: true, ..OFF };
const DOWN: Panel = Panel { button: true, ..ON };

const STATES: [State; 5] =
    [State::Cold, State::KeySeenOff, State::Ready, State::Pressing { held: Span::from_millis(500) }, State::Armed];

fn for_a_while(arming: &mut Arming, panel: Panel, how_long: Span) -> bool {
    for _ in 0..how_long.as_millis() / TICK.as_millis() {
        arming.tick(TICK, panel);
    }
    arming.is_armed()
}

fn armed() -> Arming {
    let mut arming = Arming::new(PRESS);
    arming.tick(TICK, OFF);
    arming.tick(TICK, ON);
    assert!(for_a_while(&mut arming, DOWN, Span::from_secs(2)));
    arming
}

fn every_panel() -> impl Iterator<Item = Panel> {
    (0..16_u8).map(|bits| Panel { tripped: bits & 1 != 0, stop_loop: bits & 2 != 0, key: bits & 4 != 0, button: bits & 8 != 0 })
}

#[test]
fn the_full_sequence_arms_after_the_press_and_not_a_tick_earlier() {
    let mut arming = Arming::new(PRESS);
    for (panel, state, block) in [
        (ON, State::Cold, Some(Block::KeyNotCycled)),
        (OFF, State::KeySeenOff, Some(Block::KeyOff)),
        (ON, State::Ready, None),
        (DOWN, State::Pressing { held: Span::ZERO }, None),
    ] {
        arming.tick(TICK, panel);
        assert_eq!((arming.state(), arming.block(panel)), (state, block));
    }
    for _ in 0..99 {
        assert!(!arming.tick(TICK, DOWN));
    }
    assert_eq!(arming.state(), State::Pressing { held: Span::from_millis(990) });
    assert!(arming.tick(TICK, DOWN));
    assert_eq!((arming.block(DOWN), arming.block(ON)), (None, None));
}

#[test]
fn h28_power_that_returns_with_the_key_on_and_the_button_down_arms_nothing() {
    let mut arming = Arming::new(PRESS);
    assert!(!for_a_while(&mut arming, DOWN, Span::from_mins(10)));
    assert!(!for_a_while(&mut arming, ON, Span::from_secs(5)));
    assert!(!for_a_while(&mut arming, DOWN, Span::from_secs(5)));
    assert_eq!(arming.state(), State::Cold);
}

#[test]
fn h29_turning_the_key_off_disarms_at_once_and_turning_it_on_does_not_arm() {
    let mut arming = armed();
    assert!(!arming.tick(TICK, OFF));
    assert!(!for_a_while(&mut arming, ON, Span::from_mins(1)));
    assert_eq!(arming.state(), State::Ready);
}

#[test]
fn h30_releasing_the_stop_does_nothing_before_the_key_is_cycled() {
    let mut arming = armed();
    assert!(!arming.tick(TICK, Panel { stop_loop: false, ..ON }));
    assert_eq!(arming.block(Panel { stop_loop: false, ..ON }), Some(Block::StopLoopOpen));
    assert!(!for_a_while(&mut arming, ON, Span::from_mins(1)));
    assert!(!for_a_while(&mut arming, DOWN, Span::from_mins(1)));
    assert_eq!(arming.block(ON), Some(Block::KeyNotCycled));
}

#[test]
fn h27_a_trip_disarms_and_must_be_gone_before_the_key_turn_counts() {
    let mut arming = armed();
    assert!(!arming.tick(TICK, Panel { tripped: true, ..ON }));
    assert_eq!(arming.block(Panel { tripped: true, ..ON }), Some(Block::Tripped));
    // The key is turned while the trip is still latched: it does not count.
    arming.tick(TICK, Panel { tripped: true, ..OFF });
    arming.tick(TICK, ON);
    assert!(!for_a_while(&mut arming, DOWN, Span::from_secs(5)));
    assert_eq!(arming.block(ON), Some(Block::KeyNotCycled));
}

#[test]
fn h31_a_button_that_is_stuck_never_arms_and_is_named() {
    let mut arming = Arming::new(PRESS);
    arming.tick(TICK, Panel { button: true, ..OFF });
    assert!(!for_a_while(&mut arming, DOWN, Span::from_mins(10)));
    assert_eq!((arming.state(), arming.block(DOWN)), (State::KeySeenOff, Some(Block::ButtonHeld)));
    arming.tick(TICK, ON);
    assert_eq!(arming.state(), State::Ready, "released: a fresh press counts");
}

#[test]
fn h31_a_bouncing_button_starts_the_press_anew_each_time() {
    let mut arming = Arming::new(PRESS);
    arming.tick(TICK, OFF);
    arming.tick(TICK, ON);
    for _ in 0..1_000 {
        assert!(!for_a_while(&mut arming, DOWN, Span::from_millis(990)));
        arming.tick(TICK, ON);
    }
    assert_eq!(arming.state(), State::Ready);
}

#[test]
fn a_press_that_nobody_watched_does_not_count() {
    let mut arming = Arming::new(PRESS);
    arming.tick(TICK, OFF);
    arming.tick(TICK, ON);
    arming.tick(TICK, DOWN);
    assert!(!arming.tick(WATCHED.plus(Span::from_micros(1)), DOWN), "a moment too long");
    assert!(!arming.tick(Span::from_mins(1), DOWN), "the button may have been up for most of that minute");
    assert!(!arming.tick(Span::from_millis(999), DOWN));
    assert!(arming.tick(TICK, DOWN));
}

#[test]
fn a_press_seen_at_both_ends_of_the_longest_step_counts() {
    let mut arming = Arming::new(PRESS);
    for panel in [OFF, ON, DOWN] {
        arming.tick(WATCHED, panel);
    }
    assert!(arming.tick(WATCHED, DOWN), "a co-simulation steps by up to a second");
}

#[test]
fn disarming_goes_back_to_the_state_after_a_reset() {
    let mut arming = armed();
    arming.disarm();
    assert_eq!(arming.state(), Arming::new(PRESS).state());
    assert!(!for_a_while(&mut arming, DOWN, Span::from_secs(5)));
}

#[test]
fn every_state_under_every_panel_has_one_answer_and_only_a_held_press_or_being_armed_leads_to_armed() {
    let mut armings = 0;
    for state in STATES {
        for panel in every_panel() {
            let to = next(state, TICK, panel, PRESS);
            let expected = match (panel.tripped || !panel.stop_loop, panel.key, state, panel.button) {
                (true, _, _, _) => State::Cold,
                (false, false, _, _) => State::KeySeenOff,
                (false, true, State::Cold, _) => State::Cold,
                (false, true, State::KeySeenOff, true) => State::KeySeenOff,
                (false, true, State::KeySeenOff | State::Ready | State::Pressing { .. }, false) => State::Ready,
                (false, true, State::Ready, true) => State::Pressing { held: Span::ZERO },
                (false, true, State::Pressing { held }, true) => State::Pressing { held: held.plus(TICK) },
                (false, true, State::Armed, _) => State::Armed,
            };
            assert_eq!(to, expected, "{state:?} {panel:?}");
            armings += u32::from(to == State::Armed);
        }
    }
    assert_eq!(armings, 2, "armed stays armed with the button up or down, and nothing else arms within a tick");
}

#[test]
fn a_block_is_named_exactly_while_the_sequence_cannot_go_on() {
    for state in STATES {
        for panel in every_panel() {
            let arming = Arming { state, press: PRESS };
            let expected = if panel.tripped {
                Some(Block::Tripped)
            } else if !panel.stop_loop {
                Some(Block::StopLoopOpen)
            } else if !panel.key {
                Some(Block::KeyOff)
            } else if state == State::Cold {
                Some(Block::KeyNotCycled)
            } else if state == State::KeySeenOff && panel.button {
                Some(Block::ButtonHeld)
            } else {
                None
            };
            assert_eq!(arming.block(panel), expected, "{state:?} {panel:?}");
        }
    }
}

#[test]
fn every_block_has_its_own_remedy() {
    let all = [Block::Tripped, Block::StopLoopOpen, Block::KeyOff, Block::KeyNotCycled, Block::ButtonHeld];
    for (at, block) in all.iter().enumerate() {
        assert!(!block.remedy().is_empty());
        assert!(all.iter().skip(at + 1).all(|other| other.remedy() != block.remedy()));
        assert!(all.iter().skip(at + 1).all(|other| other > block), "declared worst first");
    }
}
