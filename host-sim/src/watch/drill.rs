//! A fault injected on purpose into a watched rehearsal: it waits for its time, and for an element to heat.

use crate::bench::Tamper;
use crate::drill::{Fault, Kind};
use crate::plant::{Brewery, Drive};
use copperhold_core::fast::{Outputs, Switches};
use copperhold_core::probe::Reading;
use copperhold_core::units::Instant;
use copperhold_core::vessel::{PerElement, PerVessel};

/// A fault to come, or none.
#[derive(Debug, Clone)]
pub struct Later {
    plan: Option<(Kind, f64)>,
    power_w: PerElement<f64>,
    air_c: f64,
    fault: Option<Fault>,
}

impl Later {
    /// `plan`: what, and from when on, s. It strikes the first element that heats after that.
    pub fn new(plan: Option<(Kind, f64)>, power_w: PerElement<f64>, air_c: f64) -> Later {
        Later { plan, power_w, air_c, fault: None }
    }
}

impl Tamper for Later {
    fn readings(&mut self, t_s: f64, readings: &mut PerVessel<Reading>) {
        if let Some(fault) = &mut self.fault {
            fault.readings(t_s, readings);
        }
    }

    fn switches(&mut self, t_s: f64, outputs: &Outputs, switches: &mut Switches) {
        if let (None, Some((kind, at_s)), Some(element)) = (&self.fault, self.plan, outputs.grant)
            && t_s >= at_s
        {
            self.fault = Some(Fault::new(kind, element, t_s, *self.power_w.get(element), self.air_c));
        }
        if let Some(fault) = &mut self.fault {
            fault.switches(t_s, outputs, switches);
        }
    }

    fn clock(&mut self, now: Instant) -> Instant {
        self.fault.as_mut().map_or(now, |fault| fault.clock(now))
    }

    fn restarts(&mut self, t_s: f64) -> bool {
        self.fault.as_mut().is_some_and(|fault| fault.restarts(t_s))
    }

    fn hangs(&mut self, t_s: f64) -> bool {
        self.fault.as_mut().is_some_and(|fault| fault.hangs(t_s))
    }

    fn power(&mut self, t_s: f64, outputs: &Outputs, drive: &mut Drive, brewery: &mut Brewery) {
        if let Some(fault) = &mut self.fault {
            fault.power(t_s, outputs, drive, brewery);
        }
    }
}

/// A fault by its name on the command line: its words joined by `-`.
///
/// # Errors
/// There is none of that name; the text lists those that there are.
pub fn kind(name: &str) -> Result<Kind, String> {
    Kind::ALL.into_iter().find(|kind| key(*kind) == name).ok_or_else(|| {
        let all: Vec<String> = Kind::ALL.into_iter().map(key).collect();
        format!("no drill is called that; there are: {}", all.join(", "))
    })
}

/// Its name on the command line.
pub fn key(kind: Kind) -> String {
    let words: Vec<&str> = kind.name().1.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    words.join("-")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_drill_has_a_name_of_its_own_and_is_found_by_it() {
        let keys: BTreeSet<String> = Kind::ALL.into_iter().map(key).collect();
        assert_eq!(keys.len(), Kind::ALL.len());
        for of in Kind::ALL {
            assert_eq!(kind(&key(of)), Ok(of));
        }
        assert!(kind("nothing").expect_err("no such").contains("probe-wire-broken"));
    }
}
