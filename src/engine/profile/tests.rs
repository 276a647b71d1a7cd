use nalgebra::{SMatrix, SVector, UnitQuaternion, Vector3};
use proptest::prelude::*;

use super::*;

fn parse(text: &str) -> Profile {
    let (profile, warnings) = Profile::parse(text).unwrap();
    assert_eq!(warnings, []);
    profile
}

fn error_of(text: &str) -> String {
    Profile::parse(text).unwrap_err().to_string()
}

fn warnings_of(text: &str) -> Vec<String> {
    Profile::parse(text).unwrap().1.iter().map(ToString::to_string).collect()
}

#[test]
fn nothing_said_is_the_default() {
    assert_eq!(parse(""), Profile::default());
    let default = Profile::default();
    assert!(!default.mount.given);
    assert_eq!(default.mount.tilt_error_rad, DEFAULT_TILT_WITHOUT_QUATERNION_RAD);
    assert!((default.sensor.gyro_range_radps - 69.813).abs() < 1e-3);
}

#[test]
fn every_key_is_read() {
    let text = "[sensor]\nsample_rate_hz = 500\ngyro_range_radps = 1.0e5\naccel_range_mps2 = 2.5\naccel_hi_range_mps2 = 3.5\n\
                gyro_bandwidth_hz = 4.5\naccel_bandwidth_hz = 5.5\ngyro_noise_radps_rthz = 0\naccel_noise_mps2_rthz = 0.5\n\
                gyro_scale_error = 0.25\naccel_scale_error = 0.125\ngyro_bias_radps = 0.75\naccel_bias_mps2 = 1.75\n\
                misalignment_rad = 0.375\n[mount]\noffset_m = [0.01, -0.02, -0.012]\nquaternion_wxyz = [0, 1, 0, 0]\n\
                tilt_error_rad = 0.02\n[bat]\nlength_m = 0.8\nmass_kg = 0.8\nbalance_m = 0.5\nmoi_knob6_kgm2 = 0.15\n\
                sweet_spot_m = 0.66\nbarrel_diameter_m = 0.06\n[swing]\nside = \"left\"\npitch_speed_mps = 0\n\
                pitch_descent_deg = -3.5\n";
    let expected = Profile {
        sensor: SensorProfile {
            sample_rate_hz: Some(500.0),
            gyro_range_radps: 1e5,
            accel_range_mps2: 2.5,
            accel_hi_range_mps2: 3.5,
            gyro_bandwidth_hz: 4.5,
            accel_bandwidth_hz: 5.5,
            gyro_noise_radps_rthz: 0.0,
            accel_noise_mps2_rthz: 0.5,
            gyro_scale_error: 0.25,
            accel_scale_error: 0.125,
            gyro_bias_radps: 0.75,
            accel_bias_mps2: 1.75,
            misalignment_rad: 0.375,
        },
        mount: Mount {
            offset_b_m: Vector3::new(0.01, -0.02, -0.012),
            q_bs: UnitQuaternion::from_axis_angle(&Vector3::x_axis(), std::f64::consts::PI),
            tilt_error_rad: 0.02,
            given: true,
        },
        bat: Bat {
            length_m: 0.8,
            mass_kg: 0.8,
            balance_m: 0.5,
            moi_knob6_kgm2: 0.15,
            sweet_spot_m: 0.66,
            barrel_diameter_m: 0.06,
        },
        swing: SwingContext { side: Side::Left, pitch_speed_mps: 0.0, pitch_descent_deg: -3.5 },
        calibration: None,
    };
    let found = parse(text);
    assert!(found.mount.q_bs.angle_to(&expected.mount.q_bs) < 1e-15);
    assert_eq!(Profile { mount: Mount { q_bs: expected.mount.q_bs, ..found.mount }, ..found }, expected);
}

#[test]
fn what_is_not_said_of_a_bat_follows_from_its_length_and_mass() {
    let bat = parse("[bat]\nlength_m = 0.737\nmass_kg = 0.51\n").bat;
    assert!((bat.sweet_spot_m - (0.737 - 0.1524)).abs() < 1e-12);
    assert!(bat.balance_m < 0.5 && bat.moi_knob6_kgm2 < 0.09, "{bat:?}");
}

#[test]
fn unknown_keys_are_named_with_their_line() {
    let text = "colour = \"red\"\n[bat]\nlenght_m = 0.8\n[weather]\nwind = 3\n";
    assert_eq!(
        warnings_of(text),
        [
            "line 1: `colour` is not known and was ignored",
            "line 3: `bat.lenght_m` is not known and was ignored",
            "line 4: `weather` is not known and was ignored"
        ]
    );
}

#[test]
fn of_very_many_unknown_keys_only_the_first_are_named() {
    let keys: String = (0..20_000).map(|k| format!("key{k:05} = 1\n")).collect();
    let told = warnings_of(&format!("[bat]\n{keys}"));
    assert_eq!(told.len(), 21);
    assert_eq!(told[20], "line 22: `bat.key00020` and 19979 more keys are not known");
}

/// Official Baseball Rules 3.02(a): at most 2.61 in thick and 42 in long. The bounds of the moment of inertia are
/// Steiner's theorem and all of the mass at the barrel end.
#[test]
fn official_baseball_rules_3_02_are_warnings() {
    assert_eq!(warnings_of("[bat]\nlength_m = 1.0668\nbarrel_diameter_m = 0.066294\n"), [""; 0]);
    let told = warnings_of("[bat]\nlength_m = 1.07\nbarrel_diameter_m = 0.0664\n");
    assert!(told.len() == 2 && told[0].contains("42 in") && told[1].contains("2.61 in"), "{told:?}");
    for moi in ["0.5", "0.01"] {
        let told = warnings_of(&format!("[bat]\nmoi_knob6_kgm2 = {moi}\n"));
        assert!(told.len() == 1 && told[0].starts_with("line 2: `bat.moi_knob6_kgm2` does not go with"), "{told:?}");
    }
    let told = warnings_of("[mount]\nquaternion_wxyz = [2, 0, 0, 0]\n");
    assert_eq!(told, ["line 2: `mount.quaternion_wxyz` has the length 2.000 and was brought to 1"]);
}

#[test]
fn impossible_values_are_errors_with_key_line_found_and_expected() {
    for (text, told) in [
        ("\n[bat]\nlength_m = 5.0\n", "line 3: `bat.length_m` is 5.0; expected a bat's length from 0.3 to 1.5 m"),
        ("[sensor]\ngyro_range_radps = -3\n", "line 2: `sensor.gyro_range_radps` is -3.0; expected a number above 0"),
        ("[sensor]\naccel_range_mps2 = 0\n", "line 2: `sensor.accel_range_mps2` is 0.0;"),
        ("[sensor]\naccel_range_mps2 = inf\n", "line 2: `sensor.accel_range_mps2` is inf;"),
        ("[sensor]\ngyro_noise_radps_rthz = -1e-9\n", "line 2: `sensor.gyro_noise_radps_rthz` is -1e-9;"),
        ("[sensor]\nsample_rate_hz = nan\n", "line 2: `sensor.sample_rate_hz` is NaN;"),
        ("[sensor]\nsample_rate_hz = \"fast\"\n", "line 2: `sensor.sample_rate_hz` is the text \"fast\";"),
        (
            "[mount]\nquaternion_wxyz = [0, 0, 0, 0]\n",
            "line 2: `mount.quaternion_wxyz` is [0.0, 0.0, 0.0, 0.0]; expected",
        ),
        ("[mount]\nquaternion_wxyz = [1, nan, 0, 0]\n", "line 2: `mount.quaternion_wxyz` is [1.0, NaN, 0.0, 0.0];"),
        (
            "[mount]\nquaternion_wxyz = [1, 0, 0]\n",
            "line 2: `mount.quaternion_wxyz` is [1.0, 0.0, 0.0]; expected a list of 4",
        ),
        (
            "[mount]\noffset_m = [0, 0, 2]\n",
            "line 2: `mount.offset_m` is [0.0, 0.0, 2.0]; expected a place within 1.5 m",
        ),
        ("[bat]\nsweet_spot_m = 0.85\n", "line 2: `bat.sweet_spot_m` is 0.85; expected a place on the bat"),
        ("[swing]\nside = \"both\"\n", "line 2: `swing.side` is \"both\"; expected \"right\" or \"left\""),
        ("[swing]\nside = 1\n", "line 2: `swing.side` is no text;"),
        ("bat = 3\n", "line 1: `bat` is of the kind integer; expected a section, [bat]"),
        ("[bat]\nlength_m =\n", "line 2: this is not TOML:"),
        ("[calibration]\ngyro_bias_radps = [0, 0, 0]\n", "line 2: `calibration.covariance_lower` is missing;"),
    ] {
        let error = error_of(text);
        assert!(error.starts_with(told), "{error}\nexpected {told}");
        assert!(!error.contains('\n'));
    }
}

fn calibration() -> impl Strategy<Value = Calibration> {
    let factor = proptest::collection::vec(-1.0..1.0, CALIBRATION_SIZE * 3);
    (proptest::collection::vec(-1.0..1.0, CALIBRATION_SIZE), factor).prop_map(|(mean, factor)| {
        let factor = SMatrix::<f64, CALIBRATION_SIZE, 3>::from_iterator(factor);
        let product = factor * factor.transpose();
        let covariance = SMatrix::from_fn(|i, j| product[(i.max(j), i.min(j))]);
        Calibration { mean: SVector::from_iterator(mean), covariance }
    })
}

fn profile() -> impl Strategy<Value = Profile> {
    let sizes = proptest::collection::vec(prop_oneof![Just(0.0), 1e-9..1.0], 8);
    let quaternion = [-1.0..1.0, -1.0..1.0, -1.0..1.0, 0.1..1.0_f64];
    let flags = (any::<bool>(), any::<bool>(), proptest::option::of(1.0..5000.0));
    (sizes, quaternion, flags, 0.3..1.5, proptest::option::of(calibration())).prop_map(
        |(sizes, wxyz, (left, given, sample_rate_hz), length_m, calibration)| {
            let sensor = SensorProfile {
                sample_rate_hz,
                gyro_noise_radps_rthz: sizes[0],
                gyro_scale_error: sizes[1],
                gyro_bias_radps: sizes[2],
                misalignment_rad: sizes[3],
                ..SensorProfile::default()
            };
            let q_bs = crate::engine::geometry::unit_quaternion(wxyz).filter(|_| given).unwrap_or_default();
            let mount =
                Mount { offset_b_m: Vector3::new(sizes[4], -sizes[5], 0.0), q_bs, tilt_error_rad: sizes[6], given };
            let side = if left { Side::Left } else { Side::Right };
            let swing = SwingContext { side, pitch_speed_mps: 100.0 * sizes[7], ..SwingContext::default() };
            Profile { sensor, mount, bat: Bat::scaled(length_m, 0.7), swing, calibration }
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn text_brings_a_profile_back_to_the_bit(profile in profile()) {
        let (found, _) = Profile::parse(&profile.to_toml()).unwrap();
        prop_assert_eq!(found, profile);
    }

    #[test]
    fn a_covariance_with_a_negative_direction_is_refused(mut calibration in calibration(), row in 1..CALIBRATION_SIZE) {
        calibration.covariance[(row, row)] = -1e-3;
        let profile = Profile { calibration: Some(calibration), ..Profile::default() };
        let error = Profile::parse(&profile.to_toml()).unwrap_err().to_string();
        prop_assert!(error.contains("`calibration.covariance_lower` is not that of a covariance"), "{}", error);
    }

    #[test]
    fn hostile_text_never_panics(text in "(\\[[a-z]{0,6}\\]\n|(side|length_m|offset_m|quaternion_wxyz) = [0-9\\[\\]\",.e-]{0,9}\n|\\PC{0,8}){0,8}") {
        let _ = Profile::parse(&text);
        let _ = Profile::parse(&format!("[bat]\n{text}"));
    }
}

#[test]
fn correlations_beyond_one_are_refused_and_a_zero_covariance_is_not() {
    let zero = Calibration { mean: SVector::zeros(), covariance: SMatrix::zeros() };
    let with = |calibration| Profile { calibration: Some(calibration), ..Profile::default() };
    assert_eq!(Profile::parse(&with(zero.clone()).to_toml()).unwrap().0, with(zero.clone()));
    let mut wrong = zero;
    wrong.covariance[(1, 0)] = 1.0;
    assert!(Profile::parse(&with(wrong).to_toml()).is_err());
}
