use super::*;
use crate::units::Duty;
use std::vec::Vec;

extern crate std;

const TICK: Span = Span::from_millis(250);
const BOILING: Celsius = Celsius::from_milli(100_000);

fn c(milli: i32) -> Celsius {
    Celsius::from_milli(milli)
}

fn l(litres: i32) -> Litres {
    Litres::from_millilitres(litres * 1_000)
}

fn whole_day() -> Sheet {
    let mut sheet = Sheet::default();
    let additions = [Span::from_mins(60), Span::from_mins(15), Span::ZERO].into_iter().collect();
    for step in [
        Step::HeatStrike { fill: l(30), to: c(72_000) },
        Step::DoughIn { strike: l(15), refill: l(10) },
        Step::Rest { at: c(66_000), lasts: Span::from_mins(60) },
        Step::MashOut { at: c(76_000), lasts: Span::from_mins(10) },
        Step::Sparge { water: l(14), at: c(78_000), hold: false },
        Step::BringToBoil,
        Step::Boil { duty: Duty::from_basis_points(5_500), lasts: Span::from_mins(60), additions },
        Step::KnockOut,
        Step::Whirlpool { lasts: Span::from_mins(10) },
        Step::Chill { to: c(20_000) },
    ] {
        sheet.steps.push(step).unwrap();
    }
    sheet
}

/// A brewer at the panel, with the readings of the moment.
struct Bench {
    sequencer: Sequencer,
    seen: Seen,
    notes: Vec<Note>,
    last: Option<Directive>,
}

impl Bench {
    fn new(sheet: Sheet) -> Bench {
        let seen = Seen {
            elapsed: TICK,
            stands: false,
            readings: PerVessel::build(|_| Some(c(15_000))),
            boils: false,
            boiling: BOILING,
            recirculating: true,
        };
        Bench { sequencer: Sequencer::new(sheet), seen, notes: Vec::new(), last: None }
    }

    fn at(step: Step) -> Bench {
        let mut sheet = Sheet::default();
        sheet.steps.push(step).unwrap();
        Bench::new(sheet)
    }

    fn tick(&mut self) -> Option<Directive> {
        let notes = &mut self.notes;
        self.last = self.sequencer.tick(&self.seen, |note| notes.push(note));
        self.last
    }

    /// Ticks until the directive changes in more than its timer; panics if it does not.
    fn until_change(&mut self) -> Option<Directive> {
        let before = self.last.map(without_timer);
        for _ in 0..100_000 {
            let now = self.tick().map(without_timer);
            if now != before {
                return now;
            }
        }
        panic!("nothing changes: {before:?}");
    }

    fn stays(&mut self, what: &str) {
        let before = self.tick().map(without_timer);
        for _ in 0..20_000 {
            assert_eq!(self.tick().map(without_timer), before, "{what}");
        }
    }

    fn answer(&mut self) -> Option<Directive> {
        self.tick();
        if let Some(prompt) = self.sequencer.asked() {
            self.sequencer.answer(prompt);
        }
        self.tick().map(without_timer)
    }
}

fn without_timer(directive: Directive) -> Directive {
    Directive { timer_left: None, ..directive }
}

fn quiet() -> Directive {
    directive(&Stage::quiet(Until::Boils), Span::ZERO)
}

fn demanding(vessel: Vessel, demand: Demand) -> Directive {
    let mut directive = quiet();
    *directive.demands.get_mut(vessel) = demand;
    directive
}

fn asking(prompt: Prompt) -> Directive {
    Directive { prompt: Some(prompt), ..quiet() }
}

#[test]
fn a_whole_day_goes_stage_by_stage_with_the_right_demand_pumps_and_prompt_in_each() {
    let mut day = Bench::new(whole_day());
    let tank = |at| demanding(Vessel::LiquorTank, Demand::Hold(c(at)));
    let mash = |at| Directive { pumps: MASH, ..demanding(Vessel::MashTun, Demand::Hold(c(at))) };

    assert_eq!(day.tick(), Some(asking(Prompt::FillTank(l(30)))));
    day.stays("no element before the brewer says that it is covered");
    assert_eq!(day.answer(), Some(tank(72_000)));
    day.stays("strike water is not hot yet");
    day.seen.readings.liquor_tank = Some(c(71_700));
    assert_eq!(day.until_change(), Some(Directive { prompt: Some(Prompt::ReadyToDoughIn), ..tank(72_000) }));
    day.stays("held hot until the brewer is ready");

    assert_eq!(day.answer(), Some(Directive { pumps: LIQUOR, ..asking(Prompt::RunStrike(l(15))) }));
    day.stays("the tank's element is off while its water leaves");
    assert_eq!(day.answer(), Some(asking(Prompt::StirInGrain)));
    day.stays("grain");
    assert_eq!(day.answer(), Some(asking(Prompt::RefillTank(l(10)))));
    day.stays("no element before the refill is confirmed");
    assert_eq!(day.answer(), Some(mash(66_000)));
    day.stays("mash too cold: the rest has not begun");
    day.seen.readings.mash_tun = Some(c(65_500));
    let began = core::iter::repeat_with(|| day.tick()).find_map(|directive| directive.unwrap().timer_left).unwrap();
    assert_eq!(began, Span::from_mins(60));
    assert_eq!(day.sequencer.step(), 2);
    assert_eq!(day.until_change(), Some(mash(76_000)));

    day.seen.readings.mash_tun = Some(c(75_500));
    assert_eq!(day.until_change(), Some(Directive { pumps: MASH, ..tank(78_000) }), "the mash goes round while the tank warms up");

    day.seen.readings.liquor_tank = Some(c(77_500));
    assert_eq!(day.until_change(), Some(Directive { prompt: Some(Prompt::SetSparge), ..tank(78_000) }));
    assert_eq!(day.answer(), Some(Directive { pumps: SPARGE, ..asking(Prompt::KettleCovered) }));
    day.stays("no kettle element before it is covered");
    let run_off = Directive {
        prompt: Some(Prompt::SpargeDone(l(14))),
        pumps: SPARGE,
        ..demanding(Vessel::BoilKettle, Demand::Hold(BOILING.less(RUN_OFF_HOLD)))
    };
    assert_eq!(day.answer(), Some(run_off));
    day.stays("run-off");

    assert_eq!(day.answer(), Some(Directive { to_the_boil: true, ..quiet() }));
    day.stays("not boiling yet");
    day.seen.boils = true;
    assert_eq!(day.until_change(), Some(demanding(Vessel::BoilKettle, Demand::Percent(Duty::from_basis_points(5_500)))));
    assert_eq!(day.until_change(), Some(asking(Prompt::ReadyWhirlpool)), "heat off at knock-out");
    assert_eq!(day.answer(), Some(Directive { pumps: WORT, ..quiet() }));
    assert_eq!(day.until_change(), Some(asking(Prompt::ReadyChiller)));
    day.seen.readings.boil_kettle = Some(c(90_000));
    assert_eq!(day.answer(), Some(Directive { pumps: WORT, ..quiet() }));
    day.stays("wort still warm");
    day.seen.readings.boil_kettle = Some(c(20_000));
    assert_eq!(day.until_change(), None);
    assert_eq!(day.tick(), None, "done is done");

    let steps: Vec<u8> = day.notes.iter().filter_map(|note| if let Note::Step(step) = note { Some(*step) } else { None }).collect();
    assert_eq!(steps, (0..10).collect::<Vec<u8>>());
    assert_eq!(day.notes.iter().filter(|note| **note == Note::Done).count(), 1);
    assert_eq!(day.notes.last(), Some(&Note::Done));
    assert_eq!(day.notes.iter().filter(|note| matches!(note, Note::Addition(_))).count(), 3);
}

#[test]
fn additions_are_called_at_their_time_on_the_boil_timer_and_once() {
    let additions = [Span::from_mins(10), Span::from_mins(10), Span::from_mins(1), Span::ZERO].into_iter().collect();
    let mut boil = Bench::at(Step::Boil { duty: Duty::FULL, lasts: Span::from_mins(10), additions });
    let mut called = Vec::new();
    let mut passed = Span::ZERO;
    let mut boils = true;
    while boils {
        boils = boil.tick().is_some();
        passed = passed.plus(TICK);
        called.extend(boil.notes.drain(..).filter_map(|note| if let Note::Addition(a) = note { Some((a, passed)) } else { None }));
    }
    let at = |mins| Span::from_mins(mins);
    assert_eq!(called, [(0, TICK), (1, TICK), (2, at(9)), (3, at(10))]);
}

#[test]
fn an_answer_counts_only_for_the_prompt_that_is_shown() {
    let mut day = Bench::new(whole_day());
    day.sequencer.answer(Prompt::FillTank(l(30)));
    assert_eq!(day.tick().unwrap().prompt, Some(Prompt::FillTank(l(30))), "nothing was shown yet: not answered");
    day.stays("an early answer must not cover an element that nobody looked at");
    // While the tank heats nothing is asked; an answer must not be kept for later.
    day.answer();
    day.sequencer.answer(Prompt::ReadyToDoughIn);
    day.seen.readings.liquor_tank = Some(c(72_000));
    assert_eq!(day.tick().unwrap().prompt, Some(Prompt::ReadyToDoughIn));
    day.stays("answered before it was asked");
    // Two answers in one tick are one, and the second does not answer what comes next.
    day.sequencer.answer(Prompt::ReadyToDoughIn);
    day.sequencer.answer(Prompt::ReadyToDoughIn);
    assert_eq!(day.tick().unwrap().prompt, Some(Prompt::RunStrike(l(15))));
    day.sequencer.answer(Prompt::ReadyToDoughIn);
    day.stays("the late press went nowhere");
}

#[test]
fn a_probe_without_a_reading_ends_no_stage() {
    for step in [Step::Rest { at: c(66_000), lasts: Span::ZERO }, Step::Sparge { water: l(1), at: c(70_000), hold: false }] {
        let mut bench = Bench::at(step);
        bench.seen.readings = PerVessel::build(|_| None);
        bench.stays("blind");
    }
    let mut chill = Bench::at(Step::Chill { to: c(20_000) });
    chill.answer();
    chill.seen.readings.boil_kettle = None;
    chill.stays("blind while chilling");
}

#[test]
fn a_paused_timer_stands_and_goes_on_where_it_stood() {
    let mut whirlpool = Bench::at(Step::Whirlpool { lasts: Span::from_secs(60) });
    whirlpool.tick();
    whirlpool.sequencer.pause(true);
    let left = whirlpool.tick().unwrap().timer_left;
    for _ in 0..1_000 {
        assert_eq!(whirlpool.tick().unwrap().timer_left, left);
    }
    whirlpool.sequencer.pause(false);
    assert_eq!(whirlpool.tick().unwrap().timer_left, left.map(|left| left.less(TICK)));
}

#[test]
fn a_sheet_stands_while_nothing_may_heat_and_says_afterwards_for_how_long() {
    let lasts = Span::from_mins(10);
    for (step, warm) in [
        (Step::Whirlpool { lasts }, 15_000),
        (Step::Boil { duty: Duty::from_basis_points(5_000), lasts, additions: [Span::from_mins(9)].into_iter().collect() }, 15_000),
        (Step::Rest { at: c(66_000), lasts }, 66_000),
        (Step::BringToBoil, 100_000),
        (Step::Sparge { water: l(3), at: c(78_000), hold: false }, 78_000),
    ] {
        let mut day = Bench::at(step.clone());
        let before = day.tick().unwrap();
        assert!(!before.stands);
        day.seen.stands = true;
        day.seen.boils = true;
        day.seen.readings = PerVessel::build(|_| Some(c(warm)));
        for _ in 0..4 * 3_600 {
            assert_eq!(day.tick(), Some(Directive { stands: true, ..before }), "{step:?}");
        }
        assert_eq!(day.notes, [Note::Step(0)], "{step:?}: nothing is called and nothing ends");
        day.seen.stands = false;
        day.tick();
        assert_eq!(day.notes.get(1), Some(&Note::Stood(Span::from_mins(60))), "{step:?}");
    }
}

#[test]
fn a_person_still_moves_a_sheet_that_stands_and_one_that_never_went_only_waits() {
    let mut day = Bench::new(whole_day());
    day.seen.stands = true;
    day.answer();
    assert_eq!(day.last.unwrap().demands.liquor_tank, Demand::Hold(c(72_000)), "the answer was a person's");
    day.sequencer.skip();
    assert_eq!((day.tick().unwrap().prompt, day.sequencer.step()), (Some(Prompt::RunStrike(l(15))), 1));
    day.seen.stands = false;
    day.tick();
    assert!(!day.notes.iter().any(|note| matches!(note, Note::Stood(_))), "{:?}", day.notes);
}

#[test]
fn skipping_goes_to_the_start_of_the_next_step_and_past_the_last_is_done() {
    let mut day = Bench::new(whole_day());
    day.answer();
    day.sequencer.skip();
    assert_eq!((day.tick().unwrap().prompt, day.sequencer.step()), (Some(Prompt::RunStrike(l(15))), 1));
    for _ in 0..300 {
        day.sequencer.skip();
    }
    assert_eq!((day.tick(), day.sequencer.step(), day.sequencer.present()), (None, 10, None));
    assert_eq!(day.notes.last(), Some(&Note::Done));
}

#[test]
fn an_empty_sheet_is_done_at_once() {
    let mut empty = Bench::new(Sheet::default());
    assert_eq!((empty.tick(), empty.notes), (None, std::vec![Note::Done]));
}

#[test]
fn dough_in_without_a_refill_asks_for_none() {
    let mut bench = Bench::at(Step::DoughIn { strike: l(15), refill: l(0) });
    bench.answer();
    assert_eq!(bench.answer(), None);
}

#[test]
fn every_prompt_asks_in_its_own_words_and_names_its_volume() {
    let all = [
        (Prompt::FillTank(l(3)), true),
        (Prompt::ReadyToDoughIn, false),
        (Prompt::RunStrike(l(3)), true),
        (Prompt::StirInGrain, false),
        (Prompt::RefillTank(l(3)), true),
        (Prompt::SetSparge, false),
        (Prompt::KettleCovered, false),
        (Prompt::SpargeDone(l(3)), true),
        (Prompt::ReadyWhirlpool, false),
        (Prompt::ReadyChiller, false),
    ];
    for (at, (prompt, has_volume)) in all.iter().enumerate() {
        assert_eq!(prompt.volume(), has_volume.then_some(l(3)));
        assert!(!prompt.ask().is_empty() && all.iter().skip(at + 1).all(|(other, _)| other.ask() != prompt.ask()));
    }
}
