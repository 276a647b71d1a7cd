//! From a fitted model to what can be said of the difference, for any effect of the days.
//!
//! With a handful of days the days' variance is hardly known, and an interval that trusts its estimate is too short.
//! For a *given* ratio of days' to swings' variance the weights are known, and the difference over its standard error
//! from the days' own scatter (J. Hartung & G. Knapp, *Stat. Med.* 20, 2001, 3875: the weighted mean square q of the
//! items about their means, times the variance by the model) has exactly Student's distribution with as many degrees of
//! freedom as there are days less means. So p is the *greatest* and the interval the *widest* over all ratios from none
//! to without bound: whatever the true one is, 5 % stay 5 %. Where each day has as many equally sure swings, the ratio
//! falls out, and it is the t test on means of days (on their differences for shared days), which for such data is also
//! REML with a days' variance that may be negative and degrees of freedom by containment.

use super::reml::{Fit, Means};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Ratios of what days add to what swings leave, between none and without bound: two a doubling.
const RATIOS: i32 = 40;
const STEP: f64 = std::f64::consts::SQRT_2;
/// In place of "without bound": all days weigh the same to a billionth.
const WITHOUT_BOUND: f64 = 1e9;

/// What can be said of a difference, in the units of the cells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Inference {
    /// By REML.
    pub value: f64,
    /// By REML; where it sees nothing that days add, times √q, as their variance may be below what swings explain.
    pub standard_error: f64,
    /// Days less means.
    pub freedom: f64,
    /// 95 % interval.
    pub interval: [f64; 2],
    /// Two-sided p of none.
    pub p: f64,
    /// Of a difference as great as the amount, either way.
    pub p_same: f64,
}

impl Inference {
    /// `None` without a day to spare, or if only one mean is there of two. `amount` is in units of the cells.
    pub fn new(fit: &Fit, amount: f64) -> Option<Self> {
        let freedom = fit.freedom() as f64;
        let student = Student::new(freedom)?;
        let by_model = Means::new(&fit.items, fit.of_days);
        let value = by_model.difference();
        let q = by_model.squares / freedom;
        let standard_error = (by_model.variance() * if fit.of_days > 0.0 { 1.0 } else { q }).sqrt();
        let reach = student.quantile(0.975);
        let (mut interval, mut apart, mut inside, mut signs) =
            ([value, value], f64::INFINITY, f64::INFINITY, [false; 2]);
        for of_days in variances(fit) {
            let means = Means::new(&fit.items, of_days);
            let (difference, error) = (means.difference(), (means.variance() * means.squares / freedom).sqrt());
            interval = [interval[0].min(difference - reach * error), interval[1].max(difference + reach * error)];
            apart = apart.min(ratio(difference.abs(), error));
            inside = inside.min(ratio(amount - difference.abs(), error));
            signs = [signs[0] || difference < 0.0, signs[1] || difference > 0.0];
        }
        // Somewhere between a negative and a positive difference there is none.
        let apart = if signs == [true; 2] { 0.0 } else { apart };
        let p = 2.0 * student.above(apart);
        Some(Self { value, standard_error, freedom, interval, p, p_same: student.above(inside) })
    }
}

/// What days may add to an item's variance, in steps, with what REML found among them.
fn variances(fit: &Fit) -> impl Iterator<Item = f64> {
    let typical = fit.items.iter().map(|item| item.variance).sum::<f64>() / fit.items.len().max(1) as f64;
    let steps = (-RATIOS / 2..=RATIOS / 2).map(move |step| typical * STEP.powi(step));
    [0.0, fit.of_days, typical * WITHOUT_BOUND].into_iter().chain(steps)
}

/// In standard errors; nothing of nothing is nothing, and so is what is no number.
fn ratio(part: f64, error: f64) -> f64 {
    let ratio = if part == 0.0 { 0.0 } else { part / error };
    if ratio.is_nan() { 0.0 } else { ratio }
}

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

    /// What is not exceeded with this probability.
    pub fn quantile(&self, probability: f64) -> f64 {
        self.t.inverse_cdf(probability)
    }

    /// Probability of more than `t` if the mean is `away` standard errors off 0: the normal approximation of the
    /// noncentral distribution, Abramowitz & Stegun, *Handbook of Mathematical Functions* (1964), 26.7.10. From two
    /// degrees of freedom on, where it is above one half, it is within 0.035 of the truth for `t` up to the quantile of
    /// 0.05/28, and below it. Held by `scipy_noncentral_t`.
    pub fn above_when(&self, t: f64, away: f64) -> f64 {
        let normal = statrs::distribution::Normal::standard();
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
