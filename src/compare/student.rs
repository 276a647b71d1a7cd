//! Student's t.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// Probability of a value above this one. NaN where `t` is none or `df` is not above 0.
pub fn above(t: f64, df: f64) -> f64 {
    match StudentsT::new(0.0, 1.0, df) {
        Ok(distribution) if t.is_finite() && df.is_finite() => distribution.sf(t),
        _ => f64::NAN,
    }
}

/// Two-sided probability of a value at least as far from 0.
pub fn two_sided(t: f64, df: f64) -> f64 {
    (2.0 * above(t.abs(), df)).min(1.0)
}

/// What |t| stays below with probability 95 %.
pub fn half_width_95(df: f64) -> Option<f64> {
    falling_root(|t| above(t, df), 0.025)
}

/// Where a falling function is this much, from 0 on; `None`: nowhere below 1e12.
pub fn falling_root(function: impl Fn(f64) -> f64, value: f64) -> Option<f64> {
    let mut high = 1.0;
    loop {
        if function(high) <= value {
            break;
        }
        if high > 1e12 {
            return None;
        }
        high *= 2.0;
    }
    let mut low = 0.0;
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        *(if function(middle) <= value { &mut high } else { &mut low }) = middle;
    }
    Some(high)
}
