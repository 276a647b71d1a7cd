//! Text to a profile.

use nalgebra::{Quaternion, SMatrix, SVector, UnitQuaternion, Vector3};
use toml::de::DeTable;

use super::defaults::{DEFAULT_TILT_WITH_QUATERNION_RAD, DEFAULT_TILT_WITHOUT_QUATERNION_RAD};
use super::keys::{Section, line_of, unknown_keys};
use super::limits::{self, is_covariance};
use super::{
    Bat, CALIBRATION_SIZE, Calibration, Mount, Profile, ProfileError, ProfileWarning,
    SensorProfile, Side, SwingContext,
};
use crate::engine::geometry::unit_quaternion;

const SECTIONS: [&str; 5] = ["sensor", "mount", "bat", "swing", "calibration"];

/// How far a mount's quaternion may be from length one before it looks like a slip of the pen.
const QUATERNION_LENGTH_TOLERANCE: f64 = 0.01;

type Parsed<T> = Result<(T, Vec<ProfileWarning>), ProfileError>;

impl Profile {
    /// From the text of a TOML file. What is missing is as in [`Profile::default`]; what is unknown or outside the rule
    /// book is warned of; what is impossible is an error with its line.
    pub fn parse(text: &str) -> Parsed<Self> {
        let document = DeTable::parse(text).map_err(|error| ProfileError::Syntax {
            line: line_of(text, error.span().unwrap_or(0..0)),
            found: error.message().replace('\n', ", "),
        })?;
        let document = document.get_ref();
        let mut warnings = unknown_sections(text, document);
        let mut sections = Sections {
            text,
            document,
            warnings: &mut warnings,
        };
        let profile = Self {
            sensor: sections.read("sensor", sensor)?,
            mount: sections.read("mount", mount)?,
            bat: sections.read("bat", bat)?,
            swing: sections.read("swing", swing)?,
            calibration: sections.read("calibration", calibration)?,
        };
        warnings.sort_by_key(|warning| warning.line);
        Ok((profile, warnings))
    }
}

struct Sections<'a, 'w> {
    text: &'a str,
    document: &'a DeTable<'a>,
    warnings: &'w mut Vec<ProfileWarning>,
}

impl<'a> Sections<'a, '_> {
    fn read<T>(
        &mut self,
        name: &'static str,
        parser: impl Fn(&mut Section<'a>) -> Parsed<T>,
    ) -> Result<T, ProfileError> {
        let mut section = Section::of(self.text, self.document, name)?;
        let (value, warnings) = parser(&mut section)?;
        self.warnings.extend(warnings);
        self.warnings.extend(section.unknown_keys());
        Ok(value)
    }
}

fn unknown_sections<'a>(text: &str, document: &'a DeTable<'a>) -> Vec<ProfileWarning> {
    let unknown = document
        .keys()
        .filter(|key| !SECTIONS.contains(&key.get_ref().as_ref()));
    unknown_keys(text, unknown, str::to_owned)
}

fn sensor(section: &mut Section<'_>) -> Parsed<SensorProfile> {
    let default = SensorProfile::default();
    let sensor = SensorProfile {
        sample_rate_hz: section.optional_number("sample_rate_hz", limits::RATE)?,
        gyro_range_radps: section.number(
            "gyro_range_radps",
            limits::RANGE,
            default.gyro_range_radps,
        )?,
        accel_range_mps2: section.number(
            "accel_range_mps2",
            limits::RANGE,
            default.accel_range_mps2,
        )?,
        accel_hi_range_mps2: section.number(
            "accel_hi_range_mps2",
            limits::RANGE,
            default.accel_hi_range_mps2,
        )?,
        gyro_bandwidth_hz: section.number(
            "gyro_bandwidth_hz",
            limits::RANGE,
            default.gyro_bandwidth_hz,
        )?,
        accel_bandwidth_hz: section.number(
            "accel_bandwidth_hz",
            limits::RANGE,
            default.accel_bandwidth_hz,
        )?,
        gyro_noise_radps_rthz: section.number(
            "gyro_noise_radps_rthz",
            limits::SIGMA,
            default.gyro_noise_radps_rthz,
        )?,
        accel_noise_mps2_rthz: section.number(
            "accel_noise_mps2_rthz",
            limits::SIGMA,
            default.accel_noise_mps2_rthz,
        )?,
        gyro_scale_error: section.number(
            "gyro_scale_error",
            limits::FRACTION,
            default.gyro_scale_error,
        )?,
        accel_scale_error: section.number(
            "accel_scale_error",
            limits::FRACTION,
            default.accel_scale_error,
        )?,
        gyro_bias_radps: section.number(
            "gyro_bias_radps",
            limits::SIGMA,
            default.gyro_bias_radps,
        )?,
        accel_bias_mps2: section.number(
            "accel_bias_mps2",
            limits::SIGMA,
            default.accel_bias_mps2,
        )?,
        misalignment_rad: section.number(
            "misalignment_rad",
            limits::ANGLE_SIGMA,
            default.misalignment_rad,
        )?,
    };
    Ok((sensor, Vec::new()))
}

fn mount(section: &mut Section<'_>) -> Parsed<Mount> {
    let (quaternion, warning) = mount_quaternion(section)?;
    let default_tilt_rad = match quaternion {
        Some(_) => DEFAULT_TILT_WITH_QUATERNION_RAD,
        None => DEFAULT_TILT_WITHOUT_QUATERNION_RAD,
    };
    let mount = Mount {
        offset_b_m: mount_offset_b_m(section)?,
        q_bs: quaternion.unwrap_or_else(UnitQuaternion::identity),
        tilt_error_rad: section.number("tilt_error_rad", limits::ANGLE_SIGMA, default_tilt_rad)?,
        given: quaternion.is_some(),
    };
    Ok((mount, warning.into_iter().collect()))
}

fn mount_offset_b_m(section: &mut Section<'_>) -> Result<Vector3<f64>, ProfileError> {
    let offset_b_m = Vector3::from(section.numbers("offset_m")?.unwrap_or([0.0; 3]));
    match section.value("offset_m") {
        Some(value) if offset_b_m.amax() > limits::FARTHEST_OFFSET_M => {
            let expected = format!("a place within {} m of the knob", limits::FARTHEST_OFFSET_M);
            Err(section.error(
                "offset_m",
                value,
                format!("{:?}", offset_b_m.as_slice()),
                &expected,
            ))
        }
        _ => Ok(offset_b_m),
    }
}

type MountQuaternion = (Option<UnitQuaternion<f64>>, Option<ProfileWarning>);

fn mount_quaternion(section: &mut Section<'_>) -> Result<MountQuaternion, ProfileError> {
    const KEY: &str = "quaternion_wxyz";
    let Some(wxyz) = section.numbers::<4>(KEY)? else {
        return Ok((None, None));
    };
    let [w, x, y, z] = wxyz;
    let quaternion = Quaternion::new(w, x, y, z);
    let length = quaternion.norm();
    // A quaternion of length one stays as it is, so that writing and reading does not move its last bits.
    let unit = match (length - 1.0).abs() <= 4.0 * f64::EPSILON {
        true => Some(UnitQuaternion::new_unchecked(quaternion)),
        false => unit_quaternion(wxyz),
    };
    let Some(unit) = unit else {
        let error = section.value(KEY).map(|value| {
            section.error(
                KEY,
                value,
                format!("{wxyz:?}"),
                "four numbers, not all zero",
            )
        });
        return error.map_or(Ok((None, None)), Err);
    };
    let off = (length - 1.0).abs() > QUATERNION_LENGTH_TOLERANCE;
    let warn = || {
        section.warning(
            KEY,
            format!("has the length {length:.3} and was brought to 1"),
        )
    };
    Ok((Some(unit), off.then(warn).flatten()))
}

fn bat(section: &mut Section<'_>) -> Parsed<Bat> {
    let adult = Bat::default();
    let length_m = section.number("length_m", limits::BAT_LENGTH, adult.length_m)?;
    let mass_kg = section.number("mass_kg", limits::BAT_MASS, adult.mass_kg)?;
    let default = Bat::scaled(length_m, mass_kg);
    let on_bat = limits::on_bat(length_m);
    let bat = Bat {
        length_m,
        mass_kg,
        balance_m: section.number("balance_m", on_bat, default.balance_m)?,
        moi_knob6_kgm2: section.number("moi_knob6_kgm2", limits::MOI, default.moi_knob6_kgm2)?,
        sweet_spot_m: section.number("sweet_spot_m", on_bat, default.sweet_spot_m)?,
        barrel_diameter_m: section.number(
            "barrel_diameter_m",
            limits::BARREL,
            default.barrel_diameter_m,
        )?,
    };
    let unusual = limits::unusual_in_bat(&bat);
    let warnings = unusual
        .into_iter()
        .filter_map(|(key, what)| section.warning(key, what))
        .collect();
    Ok((bat, warnings))
}

fn swing(section: &mut Section<'_>) -> Parsed<SwingContext> {
    let default = SwingContext::default();
    let side = match section.value("side") {
        None => default.side,
        Some(value) => match value.get_ref().as_str() {
            Some("right") => Side::Right,
            Some("left") => Side::Left,
            other => {
                let found = other.map_or("no text".to_owned(), |text| {
                    format!("{:?}", text.chars().take(40).collect::<String>())
                });
                return Err(section.error("side", value, found, "\"right\" or \"left\""));
            }
        },
    };
    let swing = SwingContext {
        side,
        pitch_speed_mps: section.number(
            "pitch_speed_mps",
            limits::PITCH_SPEED,
            default.pitch_speed_mps,
        )?,
        pitch_descent_deg: section.number(
            "pitch_descent_deg",
            limits::DESCENT,
            default.pitch_descent_deg,
        )?,
    };
    Ok((swing, Vec::new()))
}

fn calibration(section: &mut Section<'_>) -> Parsed<Option<Calibration>> {
    let mut mean = Vec::with_capacity(CALIBRATION_SIZE);
    mean.extend(section.numbers::<3>("gyro_bias_radps")?.unwrap_or_default());
    mean.extend(
        section
            .rows("gyro_matrix", &[3; 3])?
            .unwrap_or_else(|| vec![0.0; 9]),
    );
    mean.extend(
        section
            .rows("gyro_force_matrix", &[3; 3])?
            .unwrap_or_else(|| vec![0.0; 9]),
    );
    mean.extend(section.numbers::<3>("accel_bias_mps2")?.unwrap_or_default());
    mean.extend(
        section
            .rows("accel_matrix", &[3; 3])?
            .unwrap_or_else(|| vec![0.0; 9]),
    );
    mean.extend(section.numbers::<2>("mount_tilt_rad")?.unwrap_or_default());
    let covariance = calibration_covariance(section)?;
    let calibration = section.is_there().then(|| Calibration {
        mean: SVector::from_iterator(mean),
        covariance,
    });
    Ok((calibration, Vec::new()))
}

type Covariance = SMatrix<f64, CALIBRATION_SIZE, CALIBRATION_SIZE>;

fn calibration_covariance(section: &mut Section<'_>) -> Result<Covariance, ProfileError> {
    const KEY: &str = "covariance_lower";
    let lengths: [usize; CALIBRATION_SIZE] = std::array::from_fn(|row| row + 1);
    let Some(lower) = section.rows(KEY, &lengths)? else {
        // Without its uncertainty a calibration would be believed without limit.
        return match section.is_there() {
            false => Ok(Covariance::zeros()),
            true => Err(ProfileError::Value {
                line: section.line("gyro_bias_radps"),
                key: section.full_key(KEY),
                found: "missing".into(),
                expected: format!("{CALIBRATION_SIZE} lists, the lower triangle of the covariance"),
            }),
        };
    };
    let covariance = Covariance::from_fn(|i, j| {
        let (row, column) = (i.max(j), i.min(j));
        lower
            .get(row * (row + 1) / 2 + column)
            .copied()
            .unwrap_or(0.0)
    });
    match section.value(KEY) {
        Some(value) if !is_covariance(&covariance) => {
            let found = "not that of a covariance".to_owned();
            Err(section.error(KEY, value, found, "a positive semidefinite matrix"))
        }
        _ => Ok(covariance),
    }
}
