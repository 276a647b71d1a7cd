//! What a day tells: how much days differ beyond what their swings do, and so what each day's mean weighs.
//!
//! A day's mean of n swings has the variance σ_d² + σ_s²/n, σ_d from day to day and σ_s from swing to swing. Only the ratio θ =
//! σ_d²/σ_s² matters for weights. It is estimated by moments (analysis of variance; Searle, Casella & McCulloch, *Variance
//! Components*, 1992, §3.6 for one group), not below 0.

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
