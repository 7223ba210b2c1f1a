//! A small stable source of random numbers: the same seed gives the same day on every machine and in every version.

/// PCG-XSH-RR 64/32 (O'Neill 2014).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pcg {
    state: u64,
    increment: u64,
}

impl Pcg {
    /// A generator from a seed and a stream number; different streams of one seed are independent.
    pub fn new(seed: u64, stream: u64) -> Pcg {
        let mut pcg = Pcg { state: 0, increment: stream << 1 | 1 };
        pcg.next_u32();
        pcg.state = pcg.state.wrapping_add(seed);
        pcg.next_u32();
        pcg
    }

    /// The next 32 bits.
    pub fn next_u32(&mut self) -> u32 {
        let old = self.state;
        self.state = old.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(self.increment);
        let xorshifted = (((old >> 18) ^ old) >> 27) as u32;
        xorshifted.rotate_right((old >> 59) as u32)
    }

    /// Uniform in 0 to 1, 1 excluded.
    pub fn uniform(&mut self) -> f64 {
        f64::from(self.next_u32()) / 4_294_967_296.0
    }

    /// Normal, mean 0, standard deviation 1: the sum of twelve uniforms less six. It needs no library function whose last digit differs
    /// between machines; its tails end at six.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gives_the_published_sequence() {
        // The first six numbers of the demonstration program published with the generator, seed 42, stream 54 (from memory).
        let mut pcg = Pcg::new(42, 54);
        let first: Vec<u32> = (0..6).map(|_| pcg.next_u32()).collect();
        assert_eq!(first, [0xa15c_02b7, 0x7b47_f409, 0xba1d_3330, 0x83d2_f293, 0xbfa4_784b, 0xcbed_606e]);
    }

    #[test]
    fn normal_has_mean_zero_and_deviation_one() {
        let mut pcg = Pcg::new(1, 1);
        let n = 200_000;
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..n {
            let x = pcg.normal();
            sum += x;
            squares += x * x;
        }
        let mean = sum / f64::from(n);
        assert!(mean.abs() < 0.01 && (squares / f64::from(n) - mean * mean - 1.0).abs() < 0.02);
    }
}
