//! Keeps account of what each vessel gave up while both wanted heat.

use crate::day::Yielded;
use copperhold_core::units::Duty;
use copperhold_core::vessel::{Element, PerElement};

/// A vessel that missed less than this share of its element's full power had what it wanted: a hold's slices come in whole pieces.
const LEAST_SHARE: f64 = 0.04;

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
        let contested = Element::ALL.iter().all(|&element| *wanted.get(element) > Duty::ZERO);
        if contested {
            self.contested_s += dt_s;
        }
        for element in Element::ALL {
            let share = f64::from(wanted.get(element).bits()) / 65_536.0;
            let lacks_j = share * full_w.get(element) * dt_s - (given_j.get(element) - self.last_j.get(element));
            let missed_j = self.missed_j.get_mut(element);
            // A slice that it was owed may outlast the contest: it pays back what was missed, and no more.
            if contested {
                *missed_j += lacks_j;
            } else if share == 0.0 {
                *missed_j += lacks_j.max(-missed_j.max(0.0));
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
