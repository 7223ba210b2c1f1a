//! Plausible days made without a simulator, for the tests of the reports.

use copperhold::day::{
    AdditionRecord, AdviceRecord, Day, Energy, HeatUp, PromptRecord, Sample, StepRecord, TripRecord, Units, Volumes,
};
use copperhold_core::vessel::{Element, PerElement, PerVessel, Vessel};

const SAMPLE_S: f64 = 5.0;
const WATER_J_PER_L_K: f64 = 4150.0;
const ROOM_C: f64 = 19.0;
const BOILING_C: f64 = 99.4;

/// One step of the story: who it is about, for how long, and what is asked of each vessel.
struct Part {
    name: &'static str,
    vessel: Option<Vessel>,
    minutes: f64,
    planned: bool,
    tank_c: Option<f64>,
    tun_c: Option<f64>,
    kettle_c: Option<f64>,
    kettle_duty: Option<f64>,
    move_l: PerVessel<f64>,
}

fn part(name: &'static str, vessel: Option<Vessel>, minutes: f64) -> Part {
    let move_l = PerVessel::default();
    Part { name, vessel, minutes, planned: false, tank_c: None, tun_c: None, kettle_c: None, kettle_duty: None, move_l }
}

fn story() -> Vec<Part> {
    use Vessel::{BoilKettle, LiquorTank, MashTun};
    let tank = Some(LiquorTank);
    let tun = Some(MashTun);
    let kettle = Some(BoilKettle);
    let rest =
        |name, minutes, tun_c, tank_c| Part { planned: true, tun_c: Some(tun_c), tank_c: Some(tank_c), ..part(name, tun, minutes) };
    let strike = Some(72.0);
    vec![
        Part { tank_c: strike, ..part("Heat strike water", tank, 27.0) },
        Part { tank_c: strike, ..part("Wait for the start", tank, 4.0) },
        Part {
            tank_c: strike,
            move_l: PerVessel { liquor_tank: -20.0, mash_tun: 20.0, boil_kettle: 0.0 },
            ..part("Run strike water to the tun", tun, 6.0)
        },
        Part { tank_c: strike, tun_c: Some(66.0), ..part("Stir in the grain", tun, 7.0) },
        rest("Saccharification rest", 50.0, 66.0, 68.0),
        Part { tun_c: Some(72.0), tank_c: Some(76.0), ..part("Step to 72", tun, 9.0) },
        rest("Dextrin rest", 15.0, 72.0, 74.0),
        Part { tun_c: Some(77.0), tank_c: Some(81.0), ..part("Step to mash-out", tun, 8.0) },
        rest("Mash-out", 10.0, 77.0, 79.0),
        Part {
            planned: true,
            tank_c: Some(77.0),
            kettle_c: Some(95.0),
            move_l: PerVessel { liquor_tank: -24.0, mash_tun: -8.0, boil_kettle: 32.0 },
            ..part("Sparge", kettle, 45.0)
        },
        Part { kettle_c: Some(98.8), ..part("Heat to the boil", kettle, 16.0) },
        Part { kettle_duty: Some(0.45), ..part("Hot break", kettle, 6.0) },
        Part { planned: true, kettle_duty: Some(0.62), ..part("Boil", kettle, 60.0) },
        part("Knock-out", kettle, 1.5),
        Part { planned: true, ..part("Whirlpool", kettle, 12.0) },
        Part {
            move_l: PerVessel { liquor_tank: 0.0, mash_tun: 0.0, boil_kettle: -20.0 },
            ..part("Chill into the fermenter", kettle, 28.0)
        },
        Part {
            tank_c: Some(60.0),
            move_l: PerVessel { liquor_tank: 15.0, mash_tun: 0.0, boil_kettle: 0.0 },
            ..part("Heat cleaning water", tank, 25.0)
        },
        part("Rinse and clean", None, 30.0),
    ]
}

/// Repeatable noise in -1 to 1.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as f64 / f64::from(1_u32 << 30) - 1.0
    }
}

struct State {
    temperature_c: PerVessel<f64>,
    volume_l: PerVessel<f64>,
    energy_kwh: PerElement<f64>,
    evaporated_kwh: f64,
    lost_kwh: f64,
}

fn advance(state: &mut State, part: &Part, element_w: &PerElement<f64>, phase: usize) -> (Option<Element>, PerElement<f64>) {
    let hours = SAMPLE_S / 3600.0;
    let holds = PerElement { liquor_tank: part.tank_c, boil_kettle: part.kettle_c };
    let wanted = PerElement::build(|element| {
        let litres = *state.volume_l.get(element.vessel());
        let c = *state.temperature_c.get(element.vessel());
        let hold = holds.get(element).map_or(0.0, |target| ((target - c) * 2.0 + 0.06).clamp(0.0, 1.0));
        let percent = if element == Element::BoilKettle { part.kettle_duty.unwrap_or(0.0) } else { 0.0 };
        if litres > 5.0 { hold.max(percent) } else { 0.0 }
    });
    let grant = match (wanted.liquor_tank > 0.0, wanted.boil_kettle > 0.0) {
        (true, true) if phase % 24 < 10 => Some(Element::LiquorTank),
        (true, true) | (false, true) => Some(Element::BoilKettle),
        (true, false) => Some(Element::LiquorTank),
        (false, false) => None,
    };
    let duty = PerElement::build(|element| if grant == Some(element) { *wanted.get(element) } else { 0.0 });
    for element in Element::ALL {
        let watts = duty.get(element) * element_w.get(element);
        *state.energy_kwh.get_mut(element) += watts * hours / 1000.0;
        let litres = state.volume_l.get(element.vessel()).max(3.0);
        let c = state.temperature_c.get_mut(element.vessel());
        let loss_w = 6.0 * (*c - ROOM_C);
        state.lost_kwh += loss_w * hours / 1000.0;
        *c += (watts - loss_w) * SAMPLE_S / (litres * WATER_J_PER_L_K);
        if *c > BOILING_C {
            let vapour_kwh = (*c - BOILING_C) * litres * WATER_J_PER_L_K / 3.6e6;
            state.evaporated_kwh += vapour_kwh;
            let vessel_l = state.volume_l.get_mut(element.vessel());
            *vessel_l -= vapour_kwh / 0.627;
            *c = BOILING_C;
        }
    }
    (grant, duty)
}

fn move_liquid(state: &mut State, part: &Part) {
    let share = SAMPLE_S / (part.minutes * 60.0);
    let tank_c = state.temperature_c.liquor_tank;
    let tun_c = state.temperature_c.mash_tun;
    let mix = |c: &mut f64, litres: f64, added_l: f64, added_c: f64| {
        if added_l > 0.0 {
            *c += (added_c - *c) * added_l / (litres + added_l);
        }
    };
    mix(&mut state.temperature_c.mash_tun, state.volume_l.mash_tun, part.move_l.mash_tun * share, tank_c);
    mix(&mut state.temperature_c.boil_kettle, state.volume_l.boil_kettle, part.move_l.boil_kettle * share, tun_c);
    mix(&mut state.temperature_c.liquor_tank, state.volume_l.liquor_tank, part.move_l.liquor_tank * share, 14.0);
    for vessel in Vessel::ALL {
        let litres = state.volume_l.get_mut(vessel);
        *litres = (*litres + part.move_l.get(vessel) * share).max(0.0);
    }
    if part.name == "Chill into the fermenter" {
        state.temperature_c.boil_kettle += (20.0 - state.temperature_c.boil_kettle) * SAMPLE_S / 500.0;
    }
    if let Some(target) = part.tun_c {
        let rate = if part.planned { 150.0 } else { 130.0 };
        state.temperature_c.mash_tun += (target - state.temperature_c.mash_tun) * SAMPLE_S / rate;
    } else if part.name == "Sparge" {
        state.temperature_c.mash_tun += (75.5 - state.temperature_c.mash_tun) * SAMPLE_S / 900.0;
    }
}

/// A day of about six hours on which all went well.
pub fn good_day() -> Day {
    let element_w = PerElement { liquor_tank: 5500.0, boil_kettle: 5500.0 };
    let mut day = Day {
        sheet: "Amber ale, two rests".to_owned(),
        rig: "Garage rig, 40 L".to_owned(),
        seed: 7,
        element_w,
        boiling_c: BOILING_C,
        sample_s: SAMPLE_S,
        ..Day::default()
    };
    let mut noise = Noise(7);
    let mut state = State {
        temperature_c: PerVessel { liquor_tank: 14.0, mash_tun: ROOM_C, boil_kettle: ROOM_C },
        volume_l: PerVessel { liquor_tank: 38.0, mash_tun: 0.0, boil_kettle: 0.0 },
        energy_kwh: PerElement::default(),
        evaporated_kwh: 0.0,
        lost_kwh: 0.0,
    };
    let mut t_s = 0.0;
    for part in story() {
        let started_s = t_s;
        let before = state.energy_kwh;
        let from_c = part.vessel.map(|vessel| *state.temperature_c.get(vessel));
        for phase in 0..(part.minutes * 60.0 / SAMPLE_S) as usize {
            let (grant, duty) = advance(&mut state, &part, &element_w, phase);
            move_liquid(&mut state, &part);
            let reading =
                PerVessel::build(|vessel| Some(((state.temperature_c.get(vessel) + 0.03 * noise.next()) * 32.0).round() / 32.0));
            let kettle_holds = state.volume_l.boil_kettle > 5.0;
            let setpoint_c =
                PerVessel { liquor_tank: part.tank_c, mash_tun: part.tun_c, boil_kettle: part.kettle_c.filter(|_| kettle_holds) };
            day.samples.push(Sample { t_s, reading_c: reading, setpoint_c, grant, duty, volume_l: state.volume_l });
            t_s += SAMPLE_S;
        }
        day.steps.push(step(&part, started_s, t_s, from_c, &state, &before));
    }
    account(&mut day, &state);
    story_events(&mut day);
    day
}

fn step(part: &Part, started_s: f64, ended_s: f64, from_c: Option<f64>, state: &State, before: &PerElement<f64>) -> StepRecord {
    let target_c = part.vessel.and_then(|vessel| match vessel {
        Vessel::LiquorTank => part.tank_c,
        Vessel::MashTun => part.tun_c,
        Vessel::BoilKettle => part.kettle_c,
    });
    let energy = |of: &PerElement<f64>| of.liquor_tank + of.boil_kettle;
    StepRecord {
        name: part.name.to_owned(),
        started_s,
        ended_s,
        planned_s: part.planned.then_some(part.minutes * 60.0),
        vessel: part.vessel,
        from_c,
        target_c,
        to_c: part.vessel.map(|vessel| *state.temperature_c.get(vessel)),
        overshoot_k: target_c.map(|_| 0.04),
        hold_rms_k: target_c.filter(|_| part.planned && part.tun_c.is_some()).map(|_| 0.06),
        energy_kwh: energy(&state.energy_kwh) - energy(before),
    }
}

fn account(day: &mut Day, state: &State) {
    let total = state.energy_kwh.liquor_tank + state.energy_kwh.boil_kettle;
    let stored_kwh = 0.74;
    day.energy = Energy {
        element_kwh: state.energy_kwh,
        stored_kwh,
        lost_kwh: state.lost_kwh,
        evaporated_kwh: state.evaporated_kwh,
        carried_kwh: total - stored_kwh - state.lost_kwh - state.evaporated_kwh,
    };
    let boil_off_l = state.evaporated_kwh / 0.627;
    day.volumes = Volumes {
        strike_l: 20.0,
        sparge_l: 24.0,
        pre_boil_l: 32.0,
        post_boil_l: 32.0 - boil_off_l,
        boil_off_l_per_h: boil_off_l,
        dry_loss_w: None,
    };
}

fn story_events(day: &mut Day) {
    let start = |day: &Day, name: &str| day.steps.iter().find(|step| step.name == name).map_or(0.0, |step| step.started_s);
    let boil_s = start(day, "Boil");
    let boil_end_s = boil_s + 3600.0;
    let additions = [("Magnum, 20 g", 60.0), ("Finings, half a tablet", 15.0), ("Saphir, 15 g", 10.0), ("Saphir, 30 g", 0.0)];
    for (name, minutes_left) in additions {
        day.additions.push(AdditionRecord { t_s: boil_end_s - minutes_left * 60.0, name: name.to_owned(), minutes_left });
    }
    let prompts = [
        (start(day, "Wait for the start"), 240.0, "The strike water is ready. Start the mash?"),
        (start(day, "Stir in the grain"), 300.0, "Stir in the grain, then say so."),
        (start(day, "Sparge"), 20.0, "Turn the tun's valve to the kettle."),
    ];
    for (asked_s, waited_s, text) in prompts {
        day.prompts.push(PromptRecord { asked_s, answered_s: asked_s + waited_s, text: text.to_owned() });
    }
    day.heat_ups.liquor_tank = vec![
        HeatUp { from_c: 14.0, to_c: 72.0, seconds: 1561.0, least_seconds: 1552.0, overshoot_c: 0.06 },
        HeatUp { from_c: 68.0, to_c: 77.0, seconds: 201.0, least_seconds: 188.0, overshoot_c: 0.11 },
    ];
    day.heat_ups.boil_kettle = vec![HeatUp { from_c: 75.4, to_c: 98.8, seconds: 902.0, least_seconds: 893.0, overshoot_c: 0.05 }];
}

/// The same day in US units.
pub fn us_day() -> Day {
    Day { units: Units::Us, ..good_day() }
}

/// The same day with a probe that failed, two trips close together, and a piece of advice.
pub fn tripped_day() -> Day {
    let mut day = good_day();
    let failed_s = 7350.0;
    for sample in &mut day.samples {
        if (failed_s..failed_s + 900.0).contains(&sample.t_s) {
            sample.reading_c.liquor_tank = None;
            sample.grant = None;
            sample.duty = PerElement::default();
        }
    }
    day.trips = vec![
        TripRecord {
            t_s: failed_s,
            cause: "The liquor tank's thermometer gave no reading for 2 s.".to_owned(),
            remedy: "Check its plug and cable, then acknowledge at the panel.".to_owned(),
        },
        TripRecord {
            t_s: failed_s + 40.0,
            cause: "The liquor tank's element still drew current 1 s after it was switched off.".to_owned(),
            remedy: "Switch off at the breaker and replace the relay.".to_owned(),
        },
    ];
    day.advice = vec![AdviceRecord { t_s: 3000.0, text: "The mash pump's flow has fallen by a third.".to_owned() }];
    day
}

/// A day that ended as it began: one step, no samples.
pub fn short_day() -> Day {
    let step = StepRecord {
        name: "Heat strike water".to_owned(),
        started_s: 0.0,
        ended_s: 0.0,
        planned_s: None,
        vessel: Some(Vessel::LiquorTank),
        from_c: None,
        target_c: Some(72.0),
        to_c: None,
        overshoot_k: None,
        hold_rms_k: None,
        energy_kwh: 0.0,
    };
    Day { sheet: "Short".to_owned(), rig: "Bench".to_owned(), steps: vec![step], ..Day::default() }
}
