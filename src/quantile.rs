//! The middle of numbers, and other shares of them. Pure; it names nothing else here.

/// The quantile of sorted values, linear between them (type 7 of Hyndman & Fan, *The American Statistician* 50, 1996; numpy's);
/// `None` of none.
pub fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let rank = sorted.len().checked_sub(1)? as f64 * share;
    let (below, above) = (sorted.get(rank.floor() as usize)?, sorted.get(rank.ceil() as usize)?);
    Some(below + (above - below) * rank.fract())
}

/// The middle one of sorted values, or the mean of the two in the middle, however large; `None` of none.
pub fn median(sorted: &[f64]) -> Option<f64> {
    let (below, above) = (sorted.get(sorted.len().checked_sub(1)? / 2)?, sorted.get(sorted.len() / 2)?);
    Some(f64::midpoint(*below, *above))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hyndman_fan_1996_type_7() {
        // Of 1, 2, 3, 4: the ranks from 0 are 3p: 0.3, 1.5, 2.7.
        let found = [0.1, 0.5, 0.9, 0.0, 1.0].map(|p| quantile(&[1.0, 2.0, 3.0, 4.0], p).unwrap());
        let expected = [1.3, 2.5, 3.7, 1.0, 4.0];
        assert!(found.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-12), "{found:?}");
        assert_eq!(quantile(&[], 0.5), None);
        assert_eq!(quantile(&[1.0, 2.0], 1.5), None, "there is no share beyond all");
    }

    #[test]
    fn the_median_is_the_middle_or_the_mean_of_both() {
        assert_eq!(median(&[]), None);
        assert_eq!(
            [median(&[3.0]), median(&[1.0, 2.0, 8.0]), median(&[1.0, 2.0, 4.0, 8.0])],
            [3.0, 2.0, 3.0].map(Some)
        );
        assert_eq!(median(&[-f64::MAX, f64::MAX]), Some(0.0));
        assert_eq!(median(&[f64::MAX, f64::MAX]), Some(f64::MAX));
    }

    #[test]
    fn both_say_the_same_of_the_half() {
        for count in 1..9 {
            let squares: Vec<f64> = (0..count).map(|k| f64::from(k * k)).collect();
            assert_eq!(median(&squares), quantile(&squares, 0.5));
        }
    }
}
