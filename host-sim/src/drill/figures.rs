//! The campaign's figures: what it must show, each in one line.

use super::kind::Kind;
use super::scene::Phase;
use super::{Expected, Outcome, PAST_LIMIT_K, SHEATH_LIMIT_C};

/// What ran without a fault beside the drills.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Quiet {
    /// Whole brew days, and their hours.
    pub days: u64,
    /// See `days`.
    pub hours: f64,
    /// Days that tripped.
    pub day_trips: usize,
    /// Rigs drawn at random as in the survey, each heated twice.
    pub rigs: u32,
    /// Rigs that tripped.
    pub rig_trips: usize,
}

impl Quiet {
    /// Trips that nothing called for.
    pub const fn false_trips(&self) -> usize {
        self.day_trips + self.rig_trips
    }
}

/// Where software must act.
fn is_for_software(outcome: &Outcome) -> bool {
    !matches!(outcome.expected, Expected::Unseen(_))
}

/// With no failure in `runs` runs the share of failures is below this, with 95 % confidence: the rule of three (Hanley and Lippman-Hand
/// 1983).
pub fn rule_of_three(runs: usize) -> f64 {
    3.0 / runs as f64
}

/// Name and text of each figure.
pub fn figures(outcomes: &[Outcome], quiet: &Quiet) -> Vec<(&'static str, String)> {
    let of = |kinds: &'static [Kind]| outcomes.iter().filter(move |o| kinds.contains(&o.kind));
    let most = |kinds: &'static [Kind], f: fn(&Outcome) -> f64| of(kinds).map(f).fold(f64::NEG_INFINITY, f64::max);
    let ours = outcomes.iter().filter(|o| is_for_software(o) && o.kind != Kind::None);
    let (run, harmed) = (ours.clone().count(), ours.filter(|o| o.is_unsafe()).count());
    let mut lines = vec![("unsafe where software must act", bounded(harmed, run))];
    if let Some((share, o)) = nearest(outcomes) {
        let text = format!("{:.0} % ({} in {}, {}, seed {})", share * 100.0, o.kind.name().1, o.phase.name(), o.rig, o.seed);
        lines.push(("nearest to its time limit", text));
    }
    const RELAY: &[Kind] = &[Kind::RelayShorted, Kind::RelayHalfShorted, Kind::RelayShortedWithCurrent];
    let past_k = most(RELAY, |o| o.past_limit_k);
    if past_k.is_finite() {
        let side = if past_k < 0.0 { "below" } else { "past" };
        lines.push((
            "relay shorted",
            format!(
                "hottest water {:.1} K {side} its limit, {PAST_LIMIT_K:.0} K past it are allowed; {} drills",
                past_k.abs(),
                of(RELAY).count()
            ),
        ));
    }
    let sheath = |kinds, name| {
        let hottest_c = most(kinds, |o| o.sheath_c);
        hottest_c.is_finite().then(|| (name, format!("hottest sheath {hottest_c:.0} °C; {} drills", of(kinds).count())))
    };
    lines.extend(sheath(&[Kind::ProbeOut], "probe out of the liquid"));
    lines.extend(sheath(&[Kind::DryWithLevel], "element dry, level line"));
    let dry = of(&[Kind::Dry]).count();
    if dry > 0 {
        let glows = |phase: &Phase| of(&[Kind::Dry]).any(|o| o.phase == *phase && o.sheath_c >= SHEATH_LIMIT_C);
        let phases: Vec<&str> = Phase::ALL.iter().filter(|phase| glows(phase)).map(|phase| phase.name()).collect();
        let past = of(&[Kind::Dry]).filter(|o| o.sheath_c >= SHEATH_LIMIT_C).count();
        let place = if phases.is_empty() { "nowhere".to_owned() } else { phases.join(", ") };
        lines.push((
            "element dry, temperatures alone",
            format!("past {SHEATH_LIMIT_C:.0} °C in {past} of {dry} drills: {place}. Only a level line or a cut-out is fast enough there"),
        ));
    }
    lines.push((
        "without a fault",
        format!(
            "{} brew days ({:.0} h), {} false trips; {} random rigs heated twice, {} false trips",
            quiet.days, quiet.hours, quiet.day_trips, quiet.rigs, quiet.rig_trips
        ),
    ));
    lines
}

/// The drill whose answer took the greatest share of its time limit.
fn nearest(outcomes: &[Outcome]) -> Option<(f64, &Outcome)> {
    let shares = outcomes.iter().filter_map(|o| Some((o.took_s()? / o.expected.within_s()?, o)));
    shares.max_by(|(one, _), (other, _)| one.total_cmp(other))
}

fn bounded(failed: usize, run: usize) -> String {
    if failed > 0 || run == 0 {
        return format!("{failed} of {run} drills");
    }
    format!("0 of {run} drills, so below {:.2} % with 95 % confidence on rigs like these", rule_of_three(run) * 100.0)
}
