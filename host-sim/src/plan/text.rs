//! The plan as text for a terminal.

use super::{Begin, BoilOffBy, Plan, limits::Weight};
use crate::brewing::electric;
use crate::brewing::gravity::plato;
use crate::brewing::volumes::expansion;
use crate::logbook::dry_loss::DryLoss;
use crate::report::measure::{Measure, clock, duration, fixed, fixed_or_none, plain};
use crate::report::text::{COLUMNS, wrap};
use copperhold_core::vessel::Element;
use std::fmt::Write;
use unicode_width::UnicodeWidthStr;

/// The whole plan.
pub fn page(plan: &Plan) -> String {
    let mut page = Page { out: String::new() };
    page.line(&format!("{} on {}", plain(&plan.day.sheet), plain(&plan.day.rig)));
    when(&mut page, plan);
    cannot(&mut page, plan);
    volumes(&mut page, plan);
    mash(&mut page, plan);
    steps(&mut page, plan);
    energy(&mut page, plan);
    caution(&mut page, plan);
    page.out
}

struct Page {
    out: String,
}

impl Page {
    fn line(&mut self, text: &str) {
        let _ = writeln!(self.out, "{}", text.trim_end());
    }

    fn section(&mut self, title: &str) {
        self.line("");
        self.line(title);
    }

    fn paragraph(&mut self, lead: &str, text: &str) {
        let indent = " ".repeat(lead.width());
        for (index, piece) in wrap(text, COLUMNS - lead.width()).iter().enumerate() {
            self.line(&format!("{}{piece}", if index == 0 { lead } else { &indent }));
        }
    }

    fn figure(&mut self, name: &str, figure: &str, note: &str) {
        let gap = " ".repeat(38_usize.saturating_sub(name.width()));
        let lead = " ".repeat(10_usize.saturating_sub(figure.width()));
        self.line(&format!("  {name}{gap}{lead}{figure}  {note}"));
    }
}

/// A moment of the plan: of the clock where there is one, else since the beginning.
fn moment(plan: &Plan, t_s: f64) -> String {
    plan.begins.map_or_else(|| clock(t_s), |begins| begins.plus(t_s).to_string())
}

fn when(page: &mut Page, plan: &Plan) {
    let end_s = plan.day.steps.last().map_or(0.0, |step| step.ended_s);
    if let (Some(begins), Some(boil_s)) = (plan.begins, plan.boil_begins_s) {
        page.paragraph("", &format!("Begin at {begins}. The boil starts at about {}.", begins.plus(boil_s)));
    } else if let Some(begins) = plan.begins {
        page.paragraph("", &format!("Begin at {begins}."));
    }
    if plan.boil_begins_s.is_none() && matches!(plan.wishes.begin, Some(Begin::BoilAt(_))) {
        page.paragraph("", "The sheet has no boil: the time given is taken as the beginning.");
    }
    let spread = plan.boil_s.map_or_else(String::new, |(first, last)| {
        format!(" Over the rehearsed paces of the brewer the boil starts {} to {} into the day.", duration(first), duration(last))
    });
    page.paragraph("", &format!("The day takes about {}, by rehearsal.{spread}", duration(end_s)));
}

fn cannot(page: &mut Page, plan: &Plan) {
    let mut list = |title: &str, weight: Weight| {
        let texts: Vec<&str> = plan.limits.iter().filter(|l| l.weight == weight).map(|l| l.text.as_str()).collect();
        if !texts.is_empty() {
            page.section(title);
        }
        for text in &texts {
            page.paragraph("  - ", &plain(text));
        }
        texts.len()
    };
    let found = list("What this rig cannot do", Weight::Cannot);
    list("Good to know", Weight::Note);
    if found == 0 {
        page.section("Nothing on this sheet is beyond this rig.");
    }
}

fn volumes(page: &mut Page, plan: &Plan) {
    let units = Measure(plan.day.units);
    let process = &plan.process;
    page.section("Volumes (cold, unless it says hot)");
    page.figure("water to draw", &units.volume_text(plan.tap_l), "for strike and sparge");
    page.figure("strike water", &units.volume_text(process.strike_l), "");
    page.figure("mash, grain and water", &units.volume_text(process.mash_l()), "room in the tun");
    page.figure("kept by the grain", &units.volume_text(process.absorbed_l()), "");
    page.figure("sparge water", &units.volume_text(process.sparge_l), "");
    if process.pre_boil_l() > 0.0 && plan.boil_begins_s.is_some() {
        page.figure("wort to the kettle", &units.volume_text(process.pre_boil_l()), "");
        let hot_l = process.pre_boil_l() * expansion(plan.day.boiling_c);
        page.figure("  hot, before the boil", &units.volume_text(hot_l), "as it stands in the kettle");
        page.figure("gone as steam", &units.volume_text(process.boil_off_l), &rate(plan));
        page.figure("wort after the boil", &units.volume_text(process.post_boil_l()), "");
        let hot_l = process.post_boil_l() * expansion(plan.day.boiling_c);
        page.figure("  hot, at knock-out", &units.volume_text(hot_l), "");
        let stays = process.trub_l + process.kettle_dead_l;
        page.figure("stays in the kettle", &units.volume_text(stays), "trub (3 %, common practice) and dead space");
        page.figure("to the fermenter", &units.volume_text(process.fermenter_l()), "");
    }
    if plan.cooling_l > 0.0 {
        page.figure("cooling water", &units.volume_text(plan.cooling_l), "");
    }
}

fn rate(plan: &Plan) -> String {
    let units = Measure(plan.day.units);
    let rate = units.rate_text(plan.boil_off.0);
    match plan.boil_off.1 {
        BoilOffBy::Rehearsal => format!("{rate} in the boil, by rehearsal"),
        BoilOffBy::RigFile => format!("{rate} in the boil, by the rig's boil_loss"),
        BoilOffBy::Logbook(DryLoss { by_hand: false, .. }) => format!("{rate} in the boil, as the last day's record has it"),
        BoilOffBy::Logbook(DryLoss { days: 1, .. }) => format!("{rate} in the boil, as measured on one day"),
        BoilOffBy::Logbook(DryLoss { days, .. }) => format!("{rate} in the boil, as measured on {days} days"),
    }
}

fn mash(page: &mut Page, plan: &Plan) {
    if plan.strike.is_none() && plan.gravity.is_none() {
        return;
    }
    let units = Measure(plan.day.units);
    page.section("Mash");
    if let Some(strike) = &plan.strike {
        page.figure("strike water on the sheet", &units.degrees_text(strike.sheet_c), "");
        page.figure("  lands the mash at", &units.degrees_text(strike.lands_c), "heat balance, tun and slaking included");
        page.figure(
            "  for the first rest it takes",
            &units.degrees_text(strike.wanted_c),
            &format!("to land at {}", units.degrees_text(strike.rest_c)),
        );
        page.figure("water per grain", &format!("{} L/kg", fixed(strike.l_per_kg, 2)), "");
    }
    if let Some(gravity) = plan.gravity {
        let assumed = format!("at {} % mash efficiency (--efficiency)", fixed(plan.wishes.efficiency * 100.0, 0));
        let figure = |sg: f64| (fixed(sg, 3), format!("{} P", fixed(plato(sg), 1)));
        let (pre, pre_p) = figure(gravity.pre_boil);
        page.figure("gravity before the boil", &pre, &format!("{pre_p}, {assumed}"));
        let (original, original_p) = figure(gravity.original);
        page.figure("original gravity", &original, &original_p);
    }
}

fn steps(page: &mut Page, plan: &Plan) {
    let units = Measure(plan.day.units);
    let head = if plan.begins.is_some() { "o'clock" } else { "from start" };
    page.section(&format!("Steps (times {head}; targets in {})", units.degrees()));
    let width = plan.day.steps.iter().map(|step| plain(&step.name).width()).max().unwrap_or(0).min(40);
    for step in &plan.day.steps {
        let name = plain(&step.name);
        let gap = " ".repeat(width.saturating_sub(name.width()));
        let target = fixed_or_none(step.target_c.map(|c| units.temperature(c)), 1);
        let took = duration(step.ended_s - step.started_s);
        page.line(&format!(
            "  {:>6}  {name}{gap}  {target:>6}  {took:>11}  {:>5} kWh",
            moment(plan, step.started_s),
            fixed(step.energy_kwh, 2)
        ));
    }
    if let Some(last) = plan.day.steps.last() {
        page.line(&format!("  {:>6}  done", moment(plan, last.ended_s)));
    }
    for addition in &plan.day.additions {
        let left = fixed(addition.minutes_left, 0);
        page.paragraph(&format!("  {:>6}    ", moment(plan, addition.t_s)), &format!("{}, {left} min left", plain(&addition.name)));
    }
}

fn energy(page: &mut Page, plan: &Plan) {
    page.section("Energy");
    for element in Element::ALL {
        if plan.draws.get(element).is_some() {
            page.figure(element.vessel().label(), &format!("{} kWh", fixed(*plan.day.energy.element_kwh.get(element), 2)), "");
        }
    }
    page.figure("both", &format!("{} kWh", fixed(plan.day.energy.total_kwh(), 2)), "pumps not counted");
    if let (Some(cost), Some(price)) = (plan.cost(), plan.wishes.price_per_kwh) {
        page.figure("cost", &fixed(cost, 2), &format!("at {price} per kWh"));
    }
}

fn caution(page: &mut Page, plan: &Plan) {
    page.section("CAUTION, information only: what the elements draw");
    let mut most: f64 = 0.0;
    for element in Element::ALL {
        if let Some((watts, amperes)) = *plan.draws.get(element) {
            most = most.max(amperes);
            page.figure(element.vessel().label(), &format!("{} A", fixed(amperes, 1)), &format!("{} W", fixed(watts, 0)));
        }
    }
    let mut text = "One element at a time is what the controller grants.".to_owned();
    if plan.hertz == 60 {
        let reckoned = electric::continuous_a(most);
        let _ = write!(text, " North American rules reckon a load of three hours or more at 125 %: {} A", fixed(reckoned, 1));
        if let Some(rating) = electric::next_standard_a(reckoned) {
            let _ = write!(text, ", next standard rating {} A", fixed(rating, 0));
        }
        text.push('.');
    }
    text.push_str(
        " Pumps and panel come on top. This is arithmetic, not wiring advice: local code and a licensed electrician decide.",
    );
    page.paragraph("  ", &text);
}
