//! What a day tells: how much days differ beyond what their swings do, and so what each day's mean weighs.
//!
//! A day's mean of n swings has the variance σ_d² + σ_s²/n, σ_d from day to day and σ_s from swing to swing. Only the ratio θ =
//! σ_d²/σ_s² matters for weights. It is estimated by moments (analysis of variance; Searle, Casella & McCulloch, *Variance
//! Components*, 1992, §3.6 for one group), not below 0.

/// Ratios of what days add to what swings leave, between none and without bound: two a doubling.
const RATIOS: i32 = 40;
const STEP: f64 = std::f64::consts::SQRT_2;
/// In place of "without bound": all days weigh the same to a billionth.
const WITHOUT_BOUND: f64 = 1e9;

/// How far values are from their mean.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Scatter {
    /// Sum of squares about it.
    pub squares: f64,
    /// Values less means.
    pub freedom: f64,
}

impl Scatter {
    /// Of values with one mean.
    pub fn of(values: impl Iterator<Item = f64> + Clone) -> Self {
        let (count, sum) = values.clone().fold((0.0, 0.0), |(count, sum), value| (count + 1.0, sum + value));
        let mean = sum / count;
        let squares = values.map(|value| (value - mean).powi(2)).sum();
        Self { squares, freedom: f64::max(count - 1.0, 0.0) }
    }

    /// `None` where nothing is left to differ.
    pub fn variance(&self) -> Option<f64> {
        (self.freedom > 0.0).then(|| self.squares / self.freedom)
    }
}

/// Pooled: each about its own mean.
impl std::iter::Sum for Scatter {
    fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
        let add = |a: Self, b: Self| Self { squares: a.squares + b.squares, freedom: a.freedom + b.freedom };
        all.fold(Self::default(), add)
    }
}

/// σ_d² that may be, from none to without bound, where the swings leave a row's mean this variance, about.
pub fn variances(of_swings: f64) -> impl Iterator<Item = f64> {
    let steps = (-RATIOS / 2..=RATIOS / 2).map(move |step| of_swings * STEP.powi(step));
    [0.0, of_swings * WITHOUT_BOUND].into_iter().chain(steps)
}

/// σ_d² of rows that are means of `counts` swings: `squares` is the sum of their squared residuals, weighted by the counts,
/// about a fit of `columns` that are orthogonal under these weights; `swing_variance` is σ_s². Not below 0; `None` where the
/// fit leaves nothing.
pub fn day_variance(counts: &[f64], columns: &[Vec<f64>], squares: f64, swing_variance: f64) -> Option<f64> {
    let left = counts.len().checked_sub(columns.len()).filter(|left| *left > 0)?;
    let taken = |column: &Vec<f64>| {
        let sum = |power: i32| counts.iter().zip(column).map(|(c, q)| c.powi(power) * q * q).sum::<f64>();
        sum(2) / sum(1)
    };
    let swings = counts.iter().sum::<f64>() - columns.iter().map(taken).sum::<f64>();
    let variance = (squares - left as f64 * swing_variance) / swings;
    (variance.is_finite() && swings > 0.0).then(|| variance.max(0.0))
}

/// Weights of rows that are means of `counts` swings, 1/(θ + 1/n); all 1 where θ is not known.
pub fn weights(counts: &[f64], day_variance: Option<f64>, swing_variance: f64) -> Vec<f64> {
    let ratio = day_variance.map(|variance| variance / swing_variance).filter(|ratio| ratio.is_finite());
    counts.iter().map(|count| ratio.map_or(1.0, |ratio| 1.0 / (ratio + 1.0 / count))).collect()
}
