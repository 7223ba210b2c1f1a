//! How well the settled temperature is known in a first heat-up, by the controller's learning and by the free fit that is on trial:
//! `cargo run --release -p copperhold-tests --example response_fit -- [rigs] [seed]`.
//!
//! Both are asked for it at the cut and later; what they miss it by is printed.

use copperhold::survey::{Draw, spread};
use copperhold_tests::response::trial::{ASKED, misses};

/// Misses of more than this are counted, K.
const MUCH_K: f64 = 0.25;

fn main() {
    let mut arguments = std::env::args().skip(1).map(|a| a.parse::<u64>().unwrap_or_default());
    let (rigs, seed) = (arguments.next().unwrap_or(200), arguments.next().unwrap_or(1));
    let all: Vec<_> = (0..rigs as u32).map(|number| misses(&Draw::of(number, seed))).collect();
    println!("{rigs} rigs, seed {seed}: what the settled temperature is missed by, K; 50 % 95 % worst, and rigs beyond {MUCH_K} K");
    for (who, name) in ["the controller's", "free response"].into_iter().enumerate() {
        for (at, lags) in ASKED.into_iter().enumerate() {
            let off = spread(all.iter().map(|rig| rig[who][at].abs()));
            let much = all.iter().filter(|rig| rig[who][at].abs() > MUCH_K).count();
            println!("{name:16} {lags:3.1} lags after the cut: {:.3} {:.3} {:.3}, {much}", off.median, off.p95, off.worst);
        }
    }
}
