//! Seeded random numbers: the same seed gives the same bits everywhere, today and later.
//!
//! xoshiro256++ by Blackman & Vigna ("Scrambled linear pseudorandom number generators", *ACM Trans. Math. Softw.* 47,
//! 2021), its state filled by SplitMix64 (Steele, Lea & Flood, *OOPSLA* 2014), as its authors advise.

use nalgebra::Vector3;

/// The generator.
#[derive(Clone, Debug)]
pub struct Random {
    state: [u64; 4],
}

fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

impl Random {
    /// From a seed; every seed is good.
    pub fn new(seed: u64) -> Self {
        let mut mix = seed;
        Self { state: std::array::from_fn(|_| split_mix(&mut mix)) }
    }

    /// A generator of its own for one part of a simulation, so that drawing more in one part leaves the others alone.
    pub fn branch(&mut self) -> Self {
        Self::new(self.bits())
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        let s = &mut self.state;
        let out = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = s[3].rotate_left(45);
        out
    }

    /// Even in [0, 1), to 53 bits.
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
    }

    /// Even between two bounds.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// True with the given probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// One of the indices below `count` (0 if there is none).
    pub fn index(&mut self, count: usize) -> usize {
        ((self.unit() * count as f64) as usize).min(count.saturating_sub(1))
    }

    /// −1 or 1.
    pub fn sign(&mut self) -> f64 {
        if self.chance(0.5) { 1.0 } else { -1.0 }
    }

    /// Normal with mean 0 and the given σ, by Box & Muller (*Ann. Math. Stat.* 29, 1958).
    pub fn normal(&mut self, sigma: f64) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        sigma * radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// Normal about `mean`, drawn again until within 2.5 σ, so that no batter is beyond nature.
    pub fn about(&mut self, mean: f64, sigma: f64) -> f64 {
        loop {
            let deviation = self.normal(1.0);
            if deviation.abs() <= 2.5 {
                return mean + sigma * deviation;
            }
        }
    }

    /// Three independent normal components.
    pub fn normal_vector(&mut self, sigma: f64) -> Vector3<f64> {
        Vector3::from_fn(|_, _| self.normal(sigma))
    }

    /// A direction, even over the sphere.
    pub fn direction(&mut self) -> Vector3<f64> {
        let up = self.between(-1.0, 1.0);
        let angle = self.between(0.0, std::f64::consts::TAU);
        let across = (1.0 - up * up).max(0.0).sqrt();
        Vector3::new(across * angle.cos(), across * angle.sin(), up)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First outputs of the authors' C code for the state 1, 2, 3, 4, as also used by the `rand_xoshiro` crate's tests.
    #[test]
    fn blackman_vigna_xoshiro256_plus_plus() {
        let mut random = Random { state: [1, 2, 3, 4] };
        let expected: [u64; 10] = [
            41943041,
            58720359,
            3588806011781223,
            3591011842654386,
            9228616714210784205,
            9973669472204895162,
            14011001112246962877,
            12406186145184390807,
            15849039046786891736,
            10450023813501588000,
        ];
        assert_eq!(expected.map(|_| random.bits()), expected);
    }

    /// First outputs for the seed 1477776061723855037, as in the `rand_xoshiro` crate's tests (from the C reference).
    #[test]
    fn steele_lea_flood_split_mix() {
        let mut state = 1477776061723855037;
        let expected: [u64; 4] = [1985237415132408290, 2979275885539914483, 13511426838097143398, 8488337342461049707];
        assert_eq!(expected.map(|_| split_mix(&mut state)), expected);
    }

    #[test]
    fn normal_numbers_have_the_moments_of_a_normal() {
        let mut random = Random::new(3);
        let count = 40_000;
        let draws: Vec<f64> = (0..count).map(|_| random.normal(1.0)).collect();
        let moment = |power: i32| draws.iter().map(|x| x.powi(power)).sum::<f64>() / f64::from(count);
        // Standard errors 1/√n, √(2/n), √(15/n), √(96/n); bounds of 4 of them.
        assert!(moment(1).abs() < 0.02 && (moment(2) - 1.0).abs() < 0.03);
        assert!(moment(3).abs() < 0.08 && (moment(4) - 3.0).abs() < 0.2);
    }
}
