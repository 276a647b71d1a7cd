//! A second-order Butterworth low-pass run forward and backward: no delay, amplitude squared.
//!
//! Coefficients are the `biquad` crate's: the bilinear transform with the corner kept in place. Run twice at a corner f_c
//! the −3 dB point of the whole lies at f_c·(√2 − 1)^¼ = 0.802 f_c (Winter, *Biomechanics and Motor Control of Human
//! Movement*, 4th ed., ch. 3); the corner asked for here is that of each pass, and no correction is made.

use biquad::{Biquad, Coefficients, DirectForm2Transposed, Hertz, Q_BUTTERWORTH_F64, Type};

/// How many samples are mirrored beyond each end: three times the filter's length.
const PADDING: usize = 9;

/// Filters `values` in place. Both ends are continued by point reflection (2·x₀ − xᵢ) and each pass starts settled at
/// its first value. `false`, and nothing done, if there are too few values or the corner is above half the rate.
pub(super) fn two_passes(values: &mut [f64], rate_hz: f64, corner_hz: f64, padded: &mut Vec<f64>) -> bool {
    let Some(coefficients) = butterworth(rate_hz, corner_hz) else {
        return false;
    };
    if values.len() <= PADDING {
        return false;
    }
    let (first, last, end) = (values[0], values[values.len() - 1], values.len() - 1);
    padded.clear();
    padded.extend((1..=PADDING).rev().map(|i| 2.0 * first - values[i]));
    padded.extend_from_slice(values);
    padded.extend((1..=PADDING).map(|i| 2.0 * last - values[end - i]));
    one_pass(coefficients, padded.iter_mut());
    one_pass(coefficients, padded.iter_mut().rev());
    values.copy_from_slice(&padded[PADDING..=PADDING + end]);
    true
}

fn butterworth(rate_hz: f64, corner_hz: f64) -> Option<Coefficients<f64>> {
    let (rate, corner) = (Hertz::from_hz(rate_hz).ok()?, Hertz::from_hz(corner_hz).ok()?);
    Coefficients::from_params(Type::LowPass, rate, corner, Q_BUTTERWORTH_F64).ok()
}

/// The gain at rest is one, so a filter fed with differences from the first value is settled there.
fn one_pass<'a>(coefficients: Coefficients<f64>, mut values: impl Iterator<Item = &'a mut f64>) {
    let mut filter = DirectForm2Transposed::<f64>::new(coefficients);
    let Some(first) = values.next() else { return };
    let settled = *first;
    for value in values {
        *value = settled + filter.run(*value - settled);
    }
}

#[cfg(test)]
mod tests;
