//! How high a field of t values rises by chance along its whole length.
//!
//! The fields are smooth and Gaussian, of one dimension; their t field has an expected number of rises above a height in closed
//! form (Euler characteristic densities of Worsley et al., *Human Brain Mapping* 4, 1996, table II), which is the probability of
//! one where it is small. How smooth they are is estimated from residuals (Kiebel et al., *NeuroImage* 10, 1999, in the form
//! spm1d has: Pataky, *Journal of Biomechanics* 43, 2010). Held to spm1d by `tests/reference/curve_band.py`.

use crate::compare::student::Student;
use std::f64::consts::{LN_2, PI};

/// A t field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TField {
    /// Degrees of freedom; more than 1.
    pub degrees_of_freedom: f64,
    /// Its places.
    pub places: usize,
    /// How smooth it is: full width at half maximum, in places.
    pub fwhm: f64,
}

impl TField {
    /// The height that |t| passes anywhere with this probability if nothing differs. `None`: there is none.
    pub fn threshold(&self, probability: f64) -> Option<f64> {
        let student = Student::new(self.degrees_of_freedom)?;
        falling_root(|height| self.p_rises(&student, height), 0.5 * probability)
    }

    /// Probability that |t| stays above a height on a stretch of so many places or more, somewhere, by chance (Friston et
    /// al., *Human Brain Mapping* 1, 1994).
    pub fn p_stretch(&self, extent: f64, height: f64) -> f64 {
        let point = Student::new(self.degrees_of_freedom).map_or(1.0, |student| student.above(height));
        let [point, rise] = [point, self.density_of_rises(height)].map(|density| density.max(f64::EPSILON));
        let extent = extent / self.fwhm;
        let expected_extent = point / rise;
        let is_longer = (-(GAMMA_3_2 * extent / expected_extent).powi(2)).exp();
        (2.0 * at_least_one((point + rise * self.resels()) * is_longer)).min(1.0)
    }

    /// Probability that t, one-sided, rises above a height anywhere: by the field's smoothness or, if that is less, by the
    /// number of its places (Bonferroni).
    fn p_rises(&self, student: &Student, height: f64) -> f64 {
        let point = student.above(height);
        let expected = point + self.density_of_rises(height) * self.resels();
        at_least_one(expected).min(self.places as f64 * point).max(point)
    }

    /// The length in widths at half maximum.
    fn resels(&self) -> f64 {
        self.places.saturating_sub(1) as f64 / self.fwhm
    }

    /// Euler characteristic density of one dimension; that of none is the probability at a place.
    fn density_of_rises(&self, height: f64) -> f64 {
        let df = self.degrees_of_freedom;
        (4.0 * LN_2).sqrt() / (2.0 * PI) * (1.0 + height * height / df).powf(0.5 * (1.0 - df))
    }
}

/// Where a falling function is this much, from 0 on, to 1e-12 of it; `None`: nowhere below 1e12.
fn falling_root(function: impl Fn(f64) -> f64, value: f64) -> Option<f64> {
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
    while high - low > 1e-12 * high {
        let middle = 0.5 * (low + high);
        *(if function(middle) <= value { &mut high } else { &mut low }) = middle;
    }
    Some(high)
}

/// Γ(3/2).
const GAMMA_3_2: f64 = 0.886_226_925_452_758;

/// Probability of one or more where so many are expected (Poisson).
fn at_least_one(expected: f64) -> f64 {
    -(-expected).exp_m1()
}

/// Full width at half maximum, in places, of the fields that these are residuals of: one list of all places each, all of
/// equal variance. `None` where there are fewer than two places or a place has no variance.
///
/// Slopes are differences of neighbours, so a width below some two places is not seen. With ν degrees of freedom the widths are
/// too small by E χ_ν · E 1/χ_ν (1.57 of 2, 1.18 of 4, 1.07 of 8): on the careful side.
pub fn fwhm(residuals: &[Vec<f64>]) -> Option<f64> {
    let places = residuals.iter().map(Vec::len).min().filter(|places| *places > 1)?;
    let slope = |values: &[f64], place: usize| {
        let (from, to) = (place.saturating_sub(1), (place + 1).min(places - 1));
        (values.get(to).copied().unwrap_or(0.0) - values.get(from).copied().unwrap_or(0.0)) / (to - from) as f64
    };
    let mut resels_a_place = 0.0;
    for place in 0..places {
        let squares: f64 = residuals.iter().filter_map(|values| values.get(place)).map(|value| value * value).sum();
        let slopes: f64 = residuals.iter().map(|values| slope(values, place).powi(2)).sum();
        resels_a_place += (slopes / squares / (4.0 * LN_2)).sqrt() / places as f64;
    }
    (resels_a_place > 0.0 && resels_a_place.is_finite()).then(|| 1.0 / resels_a_place)
}
