//! The integrator: classical Runge-Kutta of fourth order at a fixed step.

/// One step of `dt_s` from `state`, with `rates` giving the time derivative of every entry.
#[inline]
pub fn rk4<const N: usize>(state: &[f64; N], dt_s: f64, mut rates: impl FnMut(&[f64; N]) -> [f64; N]) -> [f64; N] {
    let ahead = |k: &[f64; N], h: f64| -> [f64; N] { std::array::from_fn(|n| state[n] + h * k[n]) };
    let k1 = rates(state);
    let k2 = rates(&ahead(&k1, 0.5 * dt_s));
    let k3 = rates(&ahead(&k2, 0.5 * dt_s));
    let k4 = rates(&ahead(&k3, dt_s));
    std::array::from_fn(|n| state[n] + dt_s / 6.0 * (k1[n] + 2.0 * (k2[n] + k3[n]) + k4[n]))
}

#[cfg(test)]
mod tests {
    use super::rk4;

    #[test]
    fn halving_the_step_divides_the_error_by_sixteen() {
        let error = |steps: usize| {
            let dt = 2.0 / steps as f64;
            let end = (0..steps).fold([1.0], |y, _| rk4(&y, dt, |y| [-y[0]]));
            (end[0] - (-2f64).exp()).abs()
        };
        let ratio = error(20) / error(40);
        assert!((15.0..18.0).contains(&ratio), "{ratio}");
    }
}
