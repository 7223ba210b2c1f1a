//! The work of the last minutes, and how far it trails behind each node's delay.
//!
//! - *Node*: one of the delays between which a response is linear. Its *hat* rises from the node before to it and falls to the node after.
//! - *Trail* of a node: how much work a thermometer that hears with the node's hat has not heard yet.

/// Where the hats meet, s: the first is at no delay, the last hat ends at the last.
const KNOTS: [i32; NODES + 1] = [0, 3, 6, 10, 15, 21, 28, 36, 46, 58, 72, 90, 112, 140, 175, 220, 290, 390];
/// Nodes.
pub const NODES: usize = 17;
/// Steps that are remembered, of a second each.
const STEPS: usize = 390;
/// Resolution of the memory, us.
const TICK_US: i32 = 10_000;

/// Delay of a node, the centre of its hat, us.
pub const DELAYS_US: [i32; NODES] = {
    let mut delays = [0; NODES];
    let mut node = 0;
    while node < NODES {
        let (from, top, to) = (KNOTS[if node == 0 { 0 } else { node - 1 }], KNOTS[node], KNOTS[node + 1]);
        let (mut sum, mut moment, mut at) = (0, 0, from);
        // Twelve thousandths of a hat's height, so that whole numbers do.
        while at <= to {
            let height = if at < top { (at - from) * 12_000 / (top - from) } else { (to - at) * 12_000 / (to - top) };
            let height = if at == 0 { height / 2 } else { height };
            sum += height as i64;
            moment += height as i64 * at as i64;
            at += 1;
        }
        delays[node] = (moment * 1_000_000 / sum) as i32;
        node += 1;
    }
    delays
};

/// 1024 us of trail for an eighth of a tick under a hat, Q20.
const PER_EIGHTH: [i32; NODES] = {
    let mut parts = [0; NODES];
    let mut node = 0;
    while node < NODES {
        let twice_area = KNOTS[node + 1] - KNOTS[if node == 0 { 0 } else { node - 1 }];
        parts[node] = (((TICK_US as i64 * 2) << 20) / (1024 * 8 * twice_area as i64)) as i32;
        node += 1;
    }
    parts
};

/// The work of the last steps.
#[derive(Debug, Clone)]
pub struct Past {
    /// Ticks of work in each step, the newest at `newest`, older ones after it, around the end.
    steps: [u8; STEPS],
    newest: u16,
    /// Work that is less than a tick, us.
    rest_us: i32,
}

impl Past {
    /// Nothing was done.
    pub const fn idle() -> Past {
        Past { steps: [0; STEPS], newest: 0, rest_us: 0 }
    }

    /// A step is over, in which so much work was done, us.
    pub fn push(&mut self, by_us: i32) {
        self.rest_us = self.rest_us.saturating_add(by_us.max(0));
        let ticks = (self.rest_us / TICK_US).min(255);
        self.rest_us -= ticks * TICK_US;
        self.newest = if self.newest == 0 { STEPS as u16 - 1 } else { self.newest - 1 };
        if let Some(step) = self.steps.get_mut(usize::from(self.newest)) {
            *step = ticks as u8;
        }
    }

    /// How far each node trails the work, 1024 us.
    #[inline(never)]
    pub fn trails(&self) -> [i32; NODES] {
        let (later, sooner) = self.steps.split_at(usize::from(self.newest).min(STEPS));
        let mut steps = sooner.iter().chain(later);
        let mut trails = [0; NODES];
        let (mut since, mut rising) = (0_i32, 0_i32);
        for (node, trail) in trails.iter_mut().enumerate() {
            let width = (KNOTS.get(node + 1).copied().unwrap_or(0) - KNOTS.get(node).copied().unwrap_or(0)).max(1);
            let (mut sum, mut moment) = (0_i32, 0_i32);
            for at in 0..width {
                sum += since;
                moment += since * at;
                since += steps.next().map_or(0, |&step| i32::from(step));
            }
            let next_rising = (moment * 8) / width;
            let eighths = rising + sum * 8 - next_rising;
            *trail = ((i64::from(eighths) * i64::from(PER_EIGHTH.get(node).copied().unwrap_or(0))) >> 20) as i32;
            rising = next_rising;
        }
        trails
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// So much work in each of four hundred steps, us.
    fn steady(by_us: i32) -> Past {
        let mut past = Past::idle();
        for _ in 0..400 {
            past.push(by_us);
        }
        past
    }

    /// Hats are linear between their knots, so in a steady climb each node trails by its delay, as any response trails by its mean delay.
    #[test]
    fn in_a_steady_climb_a_node_trails_by_its_delay() {
        for (trail, delay_us) in steady(1_000_000).trails().into_iter().zip(DELAYS_US) {
            assert!((i64::from(trail) * 1024 - i64::from(delay_us)).abs() < 30_000, "{trail} for {delay_us}");
        }
    }

    #[test]
    fn shares_of_a_tick_add_up() {
        for (trail, delay_us) in steady(333_333).trails().into_iter().zip(DELAYS_US) {
            assert!((i64::from(trail) * 3 * 1024 - i64::from(delay_us)).abs() < 40_000, "{trail} for {delay_us}");
        }
    }

    #[test]
    fn what_is_older_than_the_last_hat_has_been_heard() {
        let mut past = Past::idle();
        for _ in 0..50 {
            past.push(1_000_000);
        }
        for _ in 0..390 {
            past.push(0);
        }
        assert_eq!(past.trails(), [0; NODES]);
    }
}
