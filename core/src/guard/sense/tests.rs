use super::*;
use Element::{BoilKettle, LiquorTank};

const TICK: Span = Span::from_millis(250);

/// A rig with every line, all of them telling that nothing is wrong while the tank heats at full power.
fn heating_tank() -> SenseFacts {
    SenseFacts {
        elapsed: TICK,
        sense: Sense {
            contactor: Some(true),
            current: PerElement { liquor_tank: Some(true), boil_kettle: Some(false) },
            covered: PerElement { liquor_tank: Some(true), boil_kettle: Some(true) },
            flow: None,
        },
        contactor: true,
        off: PerElement { liquor_tank: false, boil_kettle: true },
        full: PerElement { liquor_tank: true, boil_kettle: false },
        armed: true,
        attended: true,
    }
}

/// Ticks until it trips; what tripped. `None` if it does not within an hour.
fn trips(facts: &SenseFacts) -> Option<(Span, Trip)> {
    let mut watch = SenseWatch::default();
    (1..=14_400).find_map(|n| watch.tick(facts).trip.map(|trip| (TICK.times(n), trip)))
}

#[test]
fn lines_that_agree_and_lines_that_are_not_there_say_nothing() {
    assert_eq!(trips(&heating_tank()), None);
    assert_eq!(trips(&SenseFacts { sense: Sense::NONE, ..heating_tank() }), None);
    assert_eq!(Sense::default(), Sense::NONE);
}

#[test]
fn h7_h8_a_contact_that_contradicts_its_coil_trips_after_half_a_second() {
    let mut facts = heating_tank();
    facts.sense.contactor = Some(false);
    assert_eq!(trips(&facts), Some((CONTACT_PATIENCE, Trip::ContactorOpen)));
    facts.sense.contactor = Some(true);
    facts.contactor = false;
    assert_eq!(trips(&facts), Some((CONTACT_PATIENCE, Trip::ContactorStuck)));
}

#[test]
fn h6_current_in_an_element_that_is_off_trips_after_half_a_second() {
    for element in Element::ALL {
        let mut facts = heating_tank();
        (*facts.off.get_mut(element), *facts.full.get_mut(element)) = (true, false);
        *facts.sense.current.get_mut(element) = Some(true);
        *facts.sense.current.get_mut(element.other()) = None;
        assert_eq!(trips(&facts), Some((UNASKED_CURRENT_PATIENCE, Trip::UnaskedCurrent(element))));
    }
}

#[test]
fn h32_no_current_in_an_element_that_is_fully_on_trips_after_three_seconds_and_in_a_burst_never() {
    let mut facts = heating_tank();
    facts.sense.current.liquor_tank = Some(false);
    assert_eq!(trips(&facts), Some((NO_CURRENT_PATIENCE, Trip::NoCurrent(LiquorTank))));
    facts.full.liquor_tank = false;
    assert_eq!(trips(&facts), None);
}

#[test]
fn h2_an_uncovered_element_holds_at_once_and_trips_after_two_seconds() {
    let mut facts = heating_tank();
    facts.sense.covered.liquor_tank = Some(false);
    let first = SenseWatch::default().tick(&facts);
    assert_eq!((first.hold, first.trip), (true, None));
    assert_eq!(trips(&facts), Some((UNCOVERED_PATIENCE, Trip::Uncovered(LiquorTank))));
}

#[test]
fn h2_the_hold_does_not_make_a_dry_element_look_idle() {
    let mut watch = SenseWatch::default();
    let mut facts = heating_tank();
    facts.sense.covered.liquor_tank = Some(false);
    watch.tick(&facts);
    // The hold has taken the heat away; the element is still dry.
    (facts.off.liquor_tank, facts.full.liquor_tank, facts.sense.current.liquor_tank) = (true, false, Some(false));
    let later = (0..7).map(|_| watch.tick(&facts)).last().unwrap();
    assert_eq!((later.hold, later.trip), (true, Some(Trip::Uncovered(LiquorTank))));
    facts.sense.covered.liquor_tank = Some(true);
    assert_eq!(watch.tick(&facts), SenseFinding::default(), "covered again: nothing is remembered");
}

#[test]
fn a_dry_vessel_that_nobody_heats_is_nobodys_business() {
    let mut facts = heating_tank();
    facts.sense.covered.boil_kettle = Some(false);
    assert_eq!(trips(&facts), None, "the empty kettle while the tank heats");
    facts.armed = false;
    facts.sense.covered.liquor_tank = Some(false);
    assert!(!SenseWatch::default().tick(&facts).hold);
}

#[test]
fn a_line_that_chatters_trips_nothing_and_starts_its_patience_anew() {
    let mut watch = SenseWatch::default();
    for n in 0..10_000 {
        let mut facts = heating_tank();
        if n % 2 == 0 {
            facts.sense.contactor = Some(false);
            facts.sense.current = PerElement { liquor_tank: Some(false), boil_kettle: Some(true) };
        }
        assert_eq!(watch.tick(&facts).trip, None, "tick {n}");
    }
}

#[test]
fn h3_a_brewery_left_alone_asks_after_four_hours_and_ends_the_heat_after_six() {
    let mut watch = SenseWatch::default();
    let facts = SenseFacts { elapsed: Span::from_secs(1), attended: false, ..heating_tank() };
    let mut asked_at = None;
    let tripped_at = (1..=30_000_u64).find(|&s| {
        let finding = watch.tick(&facts);
        if finding.ask && asked_at.is_none() {
            asked_at = Some(s);
        }
        finding.trip == Some(Trip::Alone)
    });
    assert_eq!((asked_at, tripped_at), (Some(4 * 3_600), Some(6 * 3_600)));
    assert_eq!(watch.tick(&SenseFacts { attended: true, ..facts }), SenseFinding::default(), "any act will do");
    let mut idle = SenseWatch::default();
    for _ in 0..30_000 {
        assert_eq!(idle.tick(&SenseFacts { armed: false, ..facts }), SenseFinding::default(), "nobody has armed");
    }
}

#[test]
fn the_contact_is_named_before_the_current_and_the_tank_before_the_kettle() {
    let mut facts = heating_tank();
    (facts.contactor, facts.off) = (false, PerElement::build(|_| true));
    facts.sense.current = PerElement::build(|_| Some(true));
    let mut watch = SenseWatch::default();
    watch.tick(&facts);
    assert_eq!(watch.tick(&facts).trip, Some(Trip::ContactorStuck));
    facts.sense.contactor = None;
    assert_eq!(watch.tick(&facts).trip, Some(Trip::UnaskedCurrent(LiquorTank)));
    facts.sense.current.liquor_tank = None;
    assert_eq!(watch.tick(&facts).trip, Some(Trip::UnaskedCurrent(BoilKettle)));
}
