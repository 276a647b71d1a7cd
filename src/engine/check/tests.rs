use super::pendulum::stretched_by;
use super::*;
use crate::engine::sample::SensorTime;
use std::f64::consts::PI;

/// The series of the period's growth with amplitude (Landau & Lifshitz, *Mechanics*, § 11, and the two terms after it in
/// Nelson & Olsson, *Am. J. Phys.* 54, 1986): the next term is 22931/1321205760·θ⁸.
#[test]
fn landau_lifshitz_11_period_of_a_pendulum_by_amplitude() {
    for degrees in [0.0, 5.0, 10.0, 20.0, 40.0, 60.0] {
        let angle = f64::to_radians(degrees);
        let series = 1.0 + angle.powi(2) / 16.0 + 11.0 * angle.powi(4) / 3072.0 + 173.0 * angle.powi(6) / 737_280.0;
        let next = 1.3 * 22_931.0 / 1_321_205_760.0 * angle.powi(8);
        assert!((stretched_by(angle) - series).abs() <= next + 1e-14, "{degrees}");
    }
    // K(1/2) = Γ(1/4)²/(4√π) = 1.8540746773, at 90°.
    assert!((stretched_by(PI / 2.0) - 2.0 * 1.854_074_677_301_372 / PI).abs() < 1e-14);
}

#[test]
fn an_error_along_an_axis_weighs_scale_and_misalignment_by_its_direction() {
    assert!((along_sigma(&Vector3::z(), 0.01, 0.3) - 0.01).abs() < 1e-15);
    let even = Vector3::repeat(1.0 / 3f64.sqrt());
    // a·E·a over nine elements of 1/3 each: three of scale, six of misalignment.
    let expected = (3.0 * 0.01f64.powi(2) + 6.0 * 0.02f64.powi(2)).sqrt() / 3.0;
    assert!((along_sigma(&even, 0.01, 0.02) - expected).abs() < 1e-15);
    assert!((across_sigma(&Vector3::x(), 0.01, 0.02) - 0.02).abs() < 1e-15);
}

#[test]
fn two_numbers_fit_within_196_of_their_difference() {
    let of = |value, sigma| Estimate { value, sigma };
    let against = |apart: f64| Against { found: of(10.0 + apart, 0.3), expected: of(10.0, 0.4) };
    assert!((against(0.5).sigmas_apart() - 1.0).abs() < 1e-12);
    assert!(against(-0.97).fits() && !against(0.99).fits());
    assert!(Against { found: of(1.0, 0.0), expected: of(1.0, 0.0) }.fits());
    assert!(!Against { found: of(1.1, 0.0), expected: of(1.0, 0.0) }.fits());
    assert!(!Against { found: of(f64::NAN, 1.0), expected: of(1.0, 1.0) }.fits());
}

/// Whatever is sent, in whatever order of time, nothing panics and nothing is told of it.
#[test]
fn hostile_samples_are_neither_a_result_nor_a_panic() {
    let profile = Profile::default();
    let odd = [0.0, -1.0, 1e300, f64::NAN, f64::INFINITY, 40.0, 1e-300, -0.0];
    let mut samples = Vec::new();
    for i in 0..4000usize {
        let pick = |k: usize| odd[(i * 7 + k * 3 + i / 11) % odd.len()];
        let time_s = if i % 5 == 0 { pick(0) } else { i as f64 * 0.01 };
        samples.push(Sample {
            time: SensorTime(time_s),
            gyro_s_radps: Vector3::new(pick(1), pick(2), pick(3)),
            accel_s_mps2: Vector3::new(pick(4), pick(5), pick(6)),
            accel_hi_s_mps2: None,
        });
        if i % 500 == 0 || i == 3999 {
            let gravity = gravity::expected(None);
            assert!(!matches!(still::look(&samples, &profile, gravity), still::Still::Seen(_)));
            assert!(!matches!(mount::look(&samples, &profile), mount::Mounting::Seen(_)));
            assert!(!matches!(pendulum::look(&samples, &profile, gravity, None), pendulum::Swinging::Seen(_)));
            assert!(!matches!(aim::look(&samples, &[], &profile), aim::Aiming::Seen(_)));
        }
    }
}

#[test]
fn nothing_and_one_sample_are_the_beginning_of_each_routine() {
    let (profile, gravity) = (Profile::default(), gravity::expected(None));
    let one = Sample {
        time: SensorTime(3.0),
        gyro_s_radps: Vector3::zeros(),
        accel_s_mps2: Vector3::z() * 9.8,
        accel_hi_s_mps2: None,
    };
    for samples in [&[][..], &[one]] {
        assert_eq!(still::look(samples, &profile, gravity), still::Still::Moving);
        assert_eq!(mount::look(samples, &profile), mount::Mounting::Stand { lasted_s: 0.0 });
        assert_eq!(pendulum::look(samples, &profile, gravity, None), pendulum::Swinging::Hang);
        assert_eq!(aim::look(samples, &[], &profile), aim::Aiming::Hold { lasted_s: 0.0 });
    }
}
