//! Two days step by step: which steps belong together, and what differed.

use super::StoredDay;
use super::measure::Kind;
use crate::brewing::grain::EXTRACT_DRY_BASIS;
use crate::day::{Day, StepRecord};
use crate::report::measure::{Measure, duration, fixed};

/// Differences in time below this are the brewer's pace, s.
const TIME_S: f64 = 60.0;
/// And below this share of the longer one.
const TIME_SHARE: f64 = 0.03;
/// Differences in temperature below this are the thermometers', K.
const DEGREES_K: f64 = 0.15;
/// Differences in energy below this do not matter, kWh.
const ENERGY_KWH: f64 = 0.05;
/// Differences in boil-off below this share are within a reading of the kettle's mark.
const BOIL_OFF_SHARE: f64 = 0.03;
/// Differences in volume below this are within such a reading, L.
const VOLUME_L: f64 = 0.2;
/// Differences in efficiency below this are within a hydrometer's division, share of 1.
const EFFICIENCY: f64 = 0.01;
/// Differences in gravity below this are within a hydrometer's division.
const GRAVITY: f64 = 0.0015;

/// A step of one day with the same one of the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair<'a> {
    /// The earlier day's.
    pub first: Option<&'a StepRecord>,
    /// The other day's.
    pub second: Option<&'a StepRecord>,
}

impl Pair<'_> {
    /// Its name.
    pub fn name(&self) -> &str {
        self.first.or(self.second).map_or("", |step| step.name.as_str())
    }

    /// Time the longer of the two took, s.
    pub fn longest_s(&self) -> f64 {
        let took = |step: Option<&StepRecord>| step.map_or(0.0, |s| s.ended_s - s.started_s);
        took(self.first).max(took(self.second))
    }
}

/// Two days.
#[derive(Debug, Clone, Copy)]
pub struct Comparison<'a> {
    /// The one named first.
    pub first: &'a StoredDay,
    /// The one named second.
    pub second: &'a StoredDay,
}

/// A figure of both days, as text; `None` where a day has none.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// What it is.
    pub name: &'static str,
    /// Of the first day.
    pub first: Option<String>,
    /// Of the second day.
    pub second: Option<String>,
}

impl<'a> Comparison<'a> {
    /// Steps that belong together: the same name in the same order. A step that only one day has stands alone.
    pub fn pairs(&self) -> Vec<Pair<'a>> {
        let (first, second) = (&self.first.day.steps, &self.second.day.steps);
        let mut pairs = Vec::new();
        let mut next = 0;
        for step in first {
            let rest = second.get(next..).unwrap_or(&[]);
            match rest.iter().position(|other| other.name == step.name) {
                Some(skipped) => {
                    pairs.extend(rest.iter().take(skipped).map(|alone| Pair { first: None, second: Some(alone) }));
                    pairs.push(Pair { first: Some(step), second: rest.get(skipped) });
                    next += skipped + 1;
                }
                None => pairs.push(Pair { first: Some(step), second: None }),
            }
        }
        pairs.extend(second.get(next..).unwrap_or(&[]).iter().map(|alone| Pair { first: None, second: Some(alone) }));
        pairs
    }

    /// Figures of the days as a whole, only those that at least one day has.
    pub fn figures(&self) -> Vec<Figure> {
        let units = Measure(self.first.day.units);
        let percent = |share: f64| format!("{} %", fixed(share * 100.0, 1));
        let stages = |day: &StoredDay| day.stages(EXTRACT_DRY_BASIS);
        let mut list = Vec::new();
        let mut add = |name: &'static str, of: &dyn Fn(&StoredDay) -> Option<String>| {
            let (first, second) = (of(self.first), of(self.second));
            if first.is_some() || second.is_some() {
                list.push(Figure { name, first, second });
            }
        };
        add("length of the day", &|d| Some(duration(length_s(&d.day))));
        add("energy", &|d| Some(format!("{} kWh", fixed(d.day.energy.total_kwh(), 2))));
        add("boil-off", &|d| boil_off(d).map(|rate| units.rate_text(rate)));
        add("before the boil", &|d| volume(d, Kind::PreBoilVolume).map(|l| units.volume_text(l)));
        add("after the boil", &|d| volume(d, Kind::PostBoilVolume).map(|l| units.volume_text(l)));
        add("to the fermenter", &|d| d.measured(Kind::FermenterVolume).map(|l| units.volume_text(l)));
        add("original gravity", &|d| d.measured(Kind::OriginalGravity).map(|sg| fixed(sg, 3)));
        add("final gravity", &|d| d.measured(Kind::FinalGravity).map(|sg| fixed(sg, 3)));
        add("alcohol by volume", &|d| d.alcohol().map(|abv| format!("{} %", fixed(abv, 1))));
        add("conversion in the mash", &|d| stages(d).conversion.map(percent));
        add("efficiency into the kettle", &|d| stages(d).mash.map(percent));
        add("efficiency after the boil", &|d| stages(d).kettle.map(percent));
        add("efficiency into the fermenter", &|d| stages(d).brewhouse.map(percent));
        add("worst overshoot", &|d| worst_overshoot(&d.day).map(|k| units.difference_text(k)));
        add("trips", &|d| Some(d.day.trips.len().to_string()));
        list
    }

    /// What differed, in words, in the order of the day. Empty when nothing did, beyond what pace and thermometers explain.
    pub fn words(&self) -> Vec<String> {
        let mut words = Vec::new();
        self.settings(&mut words);
        for pair in self.pairs() {
            self.step(&pair, &mut words);
        }
        self.totals(&mut words);
        words
    }

    /// The days' names in sentences.
    fn names(&self) -> (String, String) {
        (format!("day {}", self.first.number), format!("day {}", self.second.number))
    }

    fn settings(&self, words: &mut Vec<String>) {
        let (first, second) = self.names();
        let mut differs = |what: &str, same: bool, of_first: &str, of_second: &str| {
            if !same {
                words.push(format!("{first} used the {what} {of_first:?}, {second} {of_second:?}."));
            }
        };
        let (a, b) = (self.first, self.second);
        differs("sheet", a.day.sheet == b.day.sheet, &a.day.sheet, &b.day.sheet);
        differs("rig", a.day.rig == b.day.rig, &a.day.rig, &b.day.rig);
        if a.day.sheet == b.day.sheet && a.sheet_text != b.sheet_text {
            words.push("The sheet has the same name but was changed between the two.".to_owned());
        }
        if a.day.rig == b.day.rig && a.rig_text != b.rig_text {
            words.push("The rig has the same name but its file was changed between the two.".to_owned());
        }
        for day in [a, b] {
            if !day.finished {
                words.push(format!("day {} was not written to its end; its figures are of what there is.", day.number));
            }
        }
    }

    fn step(&self, pair: &Pair<'_>, words: &mut Vec<String>) {
        let units = Measure(self.first.day.units);
        let (first, second) = self.names();
        let name = pair.name();
        let (a, b) = match (pair.first, pair.second) {
            (Some(a), Some(b)) => (a, b),
            (Some(_), None) => return words.push(format!("{name}: only on {first}.")),
            (None, _) => return words.push(format!("{name}: only on {second}.")),
        };
        let (took_a, took_b) = (a.ended_s - a.started_s, b.ended_s - b.started_s);
        if (took_b - took_a).abs() > TIME_S.max(TIME_SHARE * took_a.max(took_b)) {
            let side = if took_b > took_a { "longer" } else { "shorter" };
            words.push(format!(
                "{name} took {} {side} on {second}: {} against {}.",
                duration((took_b - took_a).abs()),
                duration(took_b),
                duration(took_a)
            ));
        }
        let mut degrees = |what: &str, a: Option<f64>, b: Option<f64>, show: &dyn Fn(f64) -> String| {
            if let (Some(a), Some(b)) = (a, b)
                && (b - a).abs() > DEGREES_K
            {
                words.push(format!("{name}: {what} {} on {second}, {} on {first}.", show(b), show(a)));
            }
        };
        degrees("target", a.target_c, b.target_c, &|c| units.degrees_text(c));
        degrees("began at", a.from_c, b.from_c, &|c| units.degrees_text(c));
        degrees("ended at", a.to_c, b.to_c, &|c| units.degrees_text(c));
        degrees("overshot by", a.overshoot_k, b.overshoot_k, &|k| units.difference_text(k));
        degrees("held within", a.hold_rms_k, b.hold_rms_k, &|k| format!("{} (RMS)", units.difference_text(k)));
        if (b.energy_kwh - a.energy_kwh).abs() > ENERGY_KWH {
            let side = if b.energy_kwh > a.energy_kwh { "more" } else { "less" };
            let difference = fixed((b.energy_kwh - a.energy_kwh).abs(), 2);
            words.push(format!(
                "{name} took {difference} kWh {side} on {second}: {} against {}.",
                fixed(b.energy_kwh, 2),
                fixed(a.energy_kwh, 2)
            ));
        }
    }

    fn totals(&self, words: &mut Vec<String>) {
        let units = Measure(self.first.day.units);
        let (first, second) = self.names();
        let (a, b) = (self.first, self.second);
        let mut say = |what: &str, figures: Option<(f64, f64)>, least: f64, show: &dyn Fn(f64) -> String| {
            if let Some((a, b)) = figures
                && (b - a).abs() > least
            {
                let side = if b > a { "higher" } else { "lower" };
                words.push(format!("{what} was {side} on {second}: {} against {}.", show(b), show(a)));
            }
        };
        let percent = |share: f64| format!("{} %", fixed(share * 100.0, 1));
        let both = |of: &dyn Fn(&StoredDay) -> Option<f64>| of(a).zip(of(b));
        let boil_offs = both(&boil_off);
        say("Boil-off", boil_offs, boil_offs.map_or(0.0, |(a, b)| BOIL_OFF_SHARE * a.max(b)), &|rate| units.rate_text(rate));
        say("The volume before the boil", both(&|d| volume(d, Kind::PreBoilVolume)), VOLUME_L, &|l| units.volume_text(l));
        say("The volume after the boil", both(&|d| volume(d, Kind::PostBoilVolume)), VOLUME_L, &|l| units.volume_text(l));
        say("The volume in the fermenter", both(&|d| d.measured(Kind::FermenterVolume)), VOLUME_L, &|l| units.volume_text(l));
        say("The original gravity", both(&|d| d.measured(Kind::OriginalGravity)), GRAVITY, &|sg| fixed(sg, 3));
        say("The final gravity", both(&|d| d.measured(Kind::FinalGravity)), GRAVITY, &|sg| fixed(sg, 3));
        let stages = |day: &StoredDay| day.stages(EXTRACT_DRY_BASIS);
        say("Conversion in the mash", both(&|d| stages(d).conversion), EFFICIENCY, &percent);
        say("Efficiency into the kettle", both(&|d| stages(d).mash), EFFICIENCY, &percent);
        say("Efficiency after the boil", both(&|d| stages(d).kettle), EFFICIENCY, &percent);
        say("Efficiency into the fermenter", both(&|d| stages(d).brewhouse), EFFICIENCY, &percent);
        let kwh = |kwh: f64| format!("{} kWh", fixed(kwh, 2));
        say("Energy over the day", both(&|d| Some(d.day.energy.total_kwh())), 2.0 * ENERGY_KWH, &kwh);
        let (length_a, length_b) = (length_s(&a.day), length_s(&b.day));
        if (length_b - length_a).abs() > 2.0 * TIME_S {
            let side = if length_b > length_a { "longer" } else { "shorter" };
            words.push(format!("The whole of {second} was {} {side} than {first}.", duration((length_b - length_a).abs())));
        }
        if a.day.trips.len() != b.day.trips.len() {
            words.push(format!("Trips: {} on {first}, {} on {second}.", a.day.trips.len(), b.day.trips.len()));
        }
    }
}

fn length_s(day: &Day) -> f64 {
    day.steps.last().map(|step| step.ended_s).or(day.samples.last().map(|sample| sample.t_s)).unwrap_or(0.0)
}

fn worst_overshoot(day: &Day) -> Option<f64> {
    day.steps.iter().filter_map(|step| step.overshoot_k).reduce(f64::max)
}

/// Boil-off as measured by hand, else as the record has it, L/h.
fn boil_off(day: &StoredDay) -> Option<f64> {
    day.measured_boil_off().or(Some(day.day.volumes.boil_off_l_per_h)).filter(|rate| *rate > 0.0)
}

/// A kettle volume as measured by hand, else as the record has it, L.
fn volume(day: &StoredDay, kind: Kind) -> Option<f64> {
    let own = match kind {
        Kind::PreBoilVolume => day.day.volumes.pre_boil_l,
        Kind::PostBoilVolume => day.day.volumes.post_boil_l,
        Kind::FirstWortGravity | Kind::PreBoilGravity | Kind::FermenterVolume | Kind::OriginalGravity | Kind::FinalGravity => 0.0,
    };
    day.measured(kind).or(Some(own).filter(|l| *l > 0.0))
}
