//! One step of strapdown integration.
//!
//! Angular rate and specific force are read as samples of smooth functions of time. The angle of a step is the cubic
//! through the four samples about it, integrated, plus the coning term; the specific force is turned into W sample by
//! sample and integrated there by the same rule, which leaves no separate sculling term: the product R·f is itself what
//! is integrated (compare Savage, *J. Guidance, Control, and Dynamics* 21(1–2), 1998, parts 1 and 2, where the
//! increments stay in the body frame and the term is explicit).

use nalgebra::Vector3;

/// ∫ over the middle one of three equal intervals of the cubic through four samples `dt_s` apart.
///
/// Errs by (11/720)·dt⁵ times the fourth derivative (Abramowitz & Stegun 25.4, Adams–Moulton weights centred).
#[inline]
pub fn middle_integral(
    before: Vector3<f64>,
    from: Vector3<f64>,
    to: Vector3<f64>,
    after: Vector3<f64>,
    dt_s: f64,
) -> Vector3<f64> {
    ((from + to) * 13.0 - before - after) * (dt_s / 24.0)
}

/// ∫ by the trapezium, for steps with no good neighbours; errs by dt³/12 times the second derivative.
#[inline]
pub fn trapezium(from: Vector3<f64>, to: Vector3<f64>, dt_s: f64) -> Vector3<f64> {
    (from + to) * (0.5 * dt_s)
}

/// The coning part of a step's rotation vector, rad: dt²/12 · ω₀ × ω₁, the second Magnus term for an angular rate that
/// is linear in time (Bortz, *IEEE Trans. AES* 7(1), 1971; Iserles et al., *Acta Numerica* 9, 2000).
#[inline]
pub fn coning(omega0_s_radps: Vector3<f64>, omega1_s_radps: Vector3<f64>, dt_s: f64) -> Vector3<f64> {
    omega0_s_radps.cross(&omega1_s_radps) * (dt_s * dt_s / 12.0)
}
