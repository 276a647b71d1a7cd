//! How strong gravity is where the cage stands.

use crate::engine::metrics::Estimate;

/// WGS 84 (NIMA TR8350.2, 2000; the formula also in Moritz, *Journal of Geodesy* 74, 2000): normal gravity at the equator,
/// m/s²,
const EQUATOR_MPS2: f64 = 9.780_325_335_9;
/// Somigliana's constant,
const SOMIGLIANA: f64 = 0.001_931_852_652_41;
/// and the square of the ellipsoid's first eccentricity.
const ECCENTRICITY_SQUARE: f64 = 0.006_694_379_990_14;
/// Where the latitude is not known: the middle of what is on the ellipsoid, 9.7803 to 9.8322, and the σ of an even spread.
const ANYWHERE: Estimate = Estimate { value: 9.8063, sigma: 0.015 };
/// Height above the ellipsoid takes 3.1e-6 m/s² a metre off; cages stand at 0 to 1500 m, as far as is known, and what lies
/// below them moves it by 5e-4 (free-air anomalies, common values). Both together, mean and σ:
const BY_HEIGHT: Estimate = Estimate { value: -1.5e-3, sigma: 1.7e-3 };

/// Normal gravity on the ellipsoid, m/s²: γ = γₑ (1 + k sin²φ) / √(1 − e² sin²φ), Somigliana 1929.
pub fn normal_mps2(latitude_rad: f64) -> f64 {
    let square = latitude_rad.sin().powi(2);
    EQUATOR_MPS2 * (1.0 + SOMIGLIANA * square) / (1.0 - ECCENTRICITY_SQUARE * square).sqrt()
}

/// Gravity at a latitude and an unknown height, or anywhere, m/s².
pub fn expected(latitude_rad: Option<f64>) -> Estimate {
    latitude_rad.filter(|latitude| latitude.is_finite()).map_or(ANYWHERE, |latitude_rad| Estimate {
        value: normal_mps2(latitude_rad) + BY_HEIGHT.value,
        sigma: BY_HEIGHT.sigma,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{FRAC_PI_2, FRAC_PI_4};

    /// NIMA TR8350.2 gives 9.8321849378 m/s² at the poles and a mean of 9.7976432222; at 45° Moritz 2000 gives 9.806199203
    /// for GRS 80, whose equator is 1.44e-6 higher.
    #[test]
    fn wgs_84_at_the_poles_and_grs_80_at_45_degrees() {
        assert!((normal_mps2(FRAC_PI_2) - 9.832_184_937_8).abs() < 2e-9);
        assert!((normal_mps2(-FRAC_PI_2) - normal_mps2(FRAC_PI_2)).abs() < 1e-12);
        assert!((normal_mps2(FRAC_PI_4) - 9.806_199_203).abs() < 2e-6);
    }

    #[test]
    fn without_a_latitude_the_whole_earth_lies_within_two_sigma() {
        let anywhere = expected(None);
        for degrees in 0..=90 {
            let here = expected(Some(f64::from(degrees).to_radians()));
            assert!((here.value - anywhere.value).abs() < 2.0 * anywhere.sigma, "{degrees}");
        }
        assert_eq!(expected(Some(f64::NAN)), anywhere);
    }
}
