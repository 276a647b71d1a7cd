//! Student's t.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Student's distribution.
pub struct Student {
    t: StudentsT,
    freedom: f64,
}

impl Student {
    /// `None` below one degree of freedom.
    pub fn new(freedom: f64) -> Option<Self> {
        let t = StudentsT::new(0.0, 1.0, freedom).ok()?;
        (freedom >= 1.0).then_some(Self { t, freedom })
    }

    /// Probability of more than `t`; 1 of what is no number.
    pub fn above(&self, t: f64) -> f64 {
        if t.is_nan() { 1.0 } else { self.t.sf(t) }
    }

    /// Two-sided probability of a value at least as far from 0; 1 of what is no number.
    pub fn two_sided(&self, t: f64) -> f64 {
        (2.0 * self.above(t.abs())).min(1.0)
    }

    /// What is not exceeded with this probability.
    pub fn quantile(&self, probability: f64) -> f64 {
        self.t.inverse_cdf(probability)
    }

    /// Probability of more than `t` if the mean is `away` standard errors off 0: the normal approximation of the
    /// noncentral distribution, Abramowitz & Stegun, *Handbook of Mathematical Functions* (1964), 26.7.10. From two
    /// degrees of freedom on, where it is above one half, it is within 0.035 of the truth for `t` up to the quantile of
    /// 0.05/28, and below it. Held by `scipy_noncentral_t`.
    pub fn above_when(&self, t: f64, away: f64) -> f64 {
        let normal = Normal::standard();
        let z = (t * (1.0 - 0.25 / self.freedom) - away) / (1.0 + t * t / (2.0 * self.freedom)).sqrt();
        if z.is_nan() { 0.0 } else { normal.sf(z) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `scipy.stats.nct.sf(t, freedom, away)`, version 1.17.1: worst places of t = quantiles of 1 − 0.025, 1 − 0.025/14
    /// and 1 − 0.05/14, away from 0 to 12.
    #[test]
    fn scipy_noncentral_t() {
        for (freedom, probability, away, exact) in [
            (2.0, 0.975, 4.121212121212121, 0.5849191879696881),
            (2.0, 1.0 - 0.05 / 14.0, 10.787878787878789, 0.5663308797064426),
            (3.0, 0.975, 3.272727272727273, 0.5990659545518073),
            (4.0, 1.0 - 0.025 / 14.0, 5.9393939393939394, 0.5489534915007107),
        ] {
            let student = Student::new(freedom).expect("degrees of freedom");
            let short = exact - student.above_when(student.quantile(probability), away);
            assert!((0.0..0.035).contains(&short), "{freedom} {away}: {short}");
        }
    }

    #[test]
    fn without_a_degree_of_freedom_there_is_no_distribution() {
        for freedom in [0.0, 0.5, -1.0, f64::NAN] {
            assert!(Student::new(freedom).is_none());
        }
    }
}
