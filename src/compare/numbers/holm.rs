//! Several metrics looked at together.

/// p adjusted by S. Holm (*Scand. J. Stat.* 6, 1979): the k-th smallest of m times m − k + 1, none below the one before
/// it, none above 1. What is no probability counts as 1.
pub fn holm(p: &[f64]) -> Vec<f64> {
    let p: Vec<f64> = p.iter().map(|p| if (0.0..=1.0).contains(p) { *p } else { 1.0 }).collect();
    let mut order: Vec<(usize, f64)> = p.iter().copied().enumerate().collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut adjusted = vec![1.0; p.len()];
    let mut least: f64 = 0.0;
    for (rank, (index, p)) in order.into_iter().enumerate() {
        least = least.max(p * (adjusted.len() - rank) as f64).min(1.0);
        if let Some(place) = adjusted.get_mut(index) {
            *place = least;
        }
    }
    adjusted
}
