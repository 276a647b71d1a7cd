//! A profile to text.

use std::fmt::Write;

use super::{CALIBRATION_SIZE, Calibration, Profile, Side};

impl Profile {
    /// The text of a TOML file that [`Profile::parse`] reads back to the same profile, to the bit. Every key is written
    /// except those that say by their absence that something is not known.
    pub fn to_toml(&self) -> String {
        let mut out = Text(String::new());
        self.sensor_to(&mut out);
        self.mount_to(&mut out);
        self.bat_to(&mut out);
        self.swing_to(&mut out);
        if let Some(calibration) = &self.calibration {
            calibration_to(calibration, &mut out);
        }
        out.0
    }

    fn sensor_to(&self, out: &mut Text) {
        let sensor = &self.sensor;
        out.section("sensor");
        sensor
            .sample_rate_hz
            .into_iter()
            .for_each(|rate| out.number("sample_rate_hz", rate));
        out.number("gyro_range_radps", sensor.gyro_range_radps);
        out.number("accel_range_mps2", sensor.accel_range_mps2);
        out.number("accel_hi_range_mps2", sensor.accel_hi_range_mps2);
        out.number("gyro_bandwidth_hz", sensor.gyro_bandwidth_hz);
        out.number("accel_bandwidth_hz", sensor.accel_bandwidth_hz);
        out.number("gyro_noise_radps_rthz", sensor.gyro_noise_radps_rthz);
        out.number("accel_noise_mps2_rthz", sensor.accel_noise_mps2_rthz);
        out.number("gyro_scale_error", sensor.gyro_scale_error);
        out.number("accel_scale_error", sensor.accel_scale_error);
        out.number("gyro_bias_radps", sensor.gyro_bias_radps);
        out.number("accel_bias_mps2", sensor.accel_bias_mps2);
        out.number("misalignment_rad", sensor.misalignment_rad);
    }

    fn mount_to(&self, out: &mut Text) {
        let mount = &self.mount;
        out.section("mount");
        out.list("offset_m", mount.offset_b_m.as_slice());
        if mount.given {
            let q_bs = mount.q_bs;
            out.list("quaternion_wxyz", &[q_bs.w, q_bs.i, q_bs.j, q_bs.k]);
        }
        out.number("tilt_error_rad", mount.tilt_error_rad);
    }

    fn bat_to(&self, out: &mut Text) {
        let bat = &self.bat;
        out.section("bat");
        out.number("length_m", bat.length_m);
        out.number("mass_kg", bat.mass_kg);
        out.number("balance_m", bat.balance_m);
        out.number("moi_knob6_kgm2", bat.moi_knob6_kgm2);
        out.number("sweet_spot_m", bat.sweet_spot_m);
        out.number("barrel_diameter_m", bat.barrel_diameter_m);
    }

    fn swing_to(&self, out: &mut Text) {
        out.section("swing");
        let side = match self.swing.side {
            Side::Right => "right",
            Side::Left => "left",
        };
        out.line(format_args!("side = \"{side}\""));
        out.number("pitch_speed_mps", self.swing.pitch_speed_mps);
        out.number("pitch_descent_deg", self.swing.pitch_descent_deg);
    }
}

fn calibration_to(calibration: &Calibration, out: &mut Text) {
    let mean = calibration.mean.as_slice();
    out.section("calibration");
    out.list("gyro_bias_radps", &mean[0..3]);
    out.rows("gyro_matrix", mean[3..12].chunks(3));
    out.rows("gyro_force_matrix", mean[12..21].chunks(3));
    out.list("accel_bias_mps2", &mean[21..24]);
    out.rows("accel_matrix", mean[24..33].chunks(3));
    out.list("mount_tilt_rad", &mean[33..35]);
    let lower = |row: usize| {
        (0..=row)
            .map(|column| calibration.covariance[(row, column)])
            .collect::<Vec<_>>()
    };
    out.rows("covariance_lower", (0..CALIBRATION_SIZE).map(lower));
}

/// Text that grows by lines. Numbers are written as the shortest text that reads back to the same double.
struct Text(String);

impl Text {
    fn line(&mut self, line: std::fmt::Arguments<'_>) {
        // Writing to a String cannot fail.
        let _ = writeln!(self.0, "{line}");
    }

    fn section(&mut self, name: &str) {
        let gap = if self.0.is_empty() { "" } else { "\n" };
        self.line(format_args!("{gap}[{name}]"));
    }

    fn number(&mut self, key: &str, value: f64) {
        self.line(format_args!("{key} = {value:?}"));
    }

    fn list(&mut self, key: &str, values: &[f64]) {
        self.line(format_args!("{key} = {values:?}"));
    }

    fn rows(&mut self, key: &str, rows: impl Iterator<Item = impl AsRef<[f64]>>) {
        self.line(format_args!("{key} = ["));
        rows.for_each(|row| self.line(format_args!("    {:?},", row.as_ref())));
        self.line(format_args!("]"));
    }
}
