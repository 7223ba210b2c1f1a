//! Honest days under worse conditions than published: a check that trips then is switched off by its users.

use crate::bench::Tamper;
use crate::files::RigFile;
use crate::plant::rng::Pcg;
use copperhold_core::probe::{ProbeFault, Reading};
use copperhold_core::vessel::{PerVessel, Vessel};

/// Share of readings that go missing.
const LOST: f64 = 0.01;

/// Twice the noise on every probe.
pub fn noisy(rig: &mut RigFile) {
    for vessel in [&mut rig.rig.liquor_tank, &mut rig.rig.mash_tun, &mut rig.rig.boil_kettle] {
        vessel.probe.noise_k *= 2.0;
    }
}

/// Readings that go missing at random, each by itself; or none.
#[derive(Debug, Clone)]
pub struct Lossy {
    rng: Pcg,
    share: f64,
}

impl Lossy {
    /// From a seed.
    pub fn new(seed: u64, loses: bool) -> Lossy {
        Lossy { rng: Pcg::new(seed, 101), share: if loses { LOST } else { 0.0 } }
    }
}

impl Tamper for Lossy {
    fn readings(&mut self, _: f64, readings: &mut PerVessel<Reading>) {
        for vessel in Vessel::ALL {
            if self.rng.uniform() < self.share {
                *readings.get_mut(vessel) = Err(ProbeFault::Checksum);
            }
        }
    }
}
