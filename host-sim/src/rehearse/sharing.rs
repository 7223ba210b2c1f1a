//! Keeps account of what each vessel gave up while both wanted heat.

use crate::day::Yielded;
use copperhold_core::units::Duty;
use copperhold_core::vessel::{Element, PerElement};

/// A vessel that missed less than this share of its element's full power had what it wanted: the rest is a slice still owed.
const LEAST_SHARE: f64 = 0.01;

/// The account of a day.
#[derive(Debug, Clone, Copy, Default)]
pub struct Sharing {
    last_s: f64,
    last_j: PerElement<f64>,
    contested_s: f64,
    /// Energy wanted less energy had, while both wanted some, J.
    missed_j: PerElement<f64>,
}

impl Sharing {
    /// Takes one control period into account: what heat control wanted over it, and the energy each element has given so far.
    pub fn look(&mut self, t_s: f64, wanted: &PerElement<Duty>, given_j: &PerElement<f64>, full_w: &PerElement<f64>) {
        let dt_s = t_s - self.last_s;
        if Element::ALL.iter().all(|&element| *wanted.get(element) > Duty::ZERO) {
            self.contested_s += dt_s;
            for element in Element::ALL {
                let share = f64::from(wanted.get(element).bits()) / 65_536.0;
                let had_j = given_j.get(element) - self.last_j.get(element);
                *self.missed_j.get_mut(element) += share * full_w.get(element) * dt_s - had_j;
            }
        }
        (self.last_s, self.last_j) = (t_s, *given_j);
    }

    /// What each vessel gave up.
    pub fn yielded(&self, full_w: &PerElement<f64>) -> PerElement<Yielded> {
        PerElement::build(|element| {
            let missed_j = *self.missed_j.get(element);
            let counts = missed_j > LEAST_SHARE * full_w.get(element) * self.contested_s;
            if counts { Yielded { seconds: self.contested_s, kwh: missed_j / 3.6e6 } } else { Yielded::default() }
        })
    }
}
