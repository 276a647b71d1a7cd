//! A file opened as a profile and its samples.

use crate::engine::profile::{Bat, Mount, Profile, SensorProfile, Side, SwingContext};
use crate::engine::sample::{Issue, Sample, SensorTime};
use crate::report::RecordingSummary;
use nalgebra::{UnitQuaternion, Vector3};
use std::io::Read;
use std::path::{Path, PathBuf};

/// Samples in the order of time, a batch at a time.
pub trait SampleSource: Send {
    /// Puts the next samples into `batch`, whose old content goes. `false`: there are no more.
    fn next_batch(&mut self, batch: &mut Vec<Sample>) -> Result<bool, RecordingError>;

    /// What there is to say of what was read so far.
    fn summary(&self) -> RecordingSummary;

    /// Which share of the file has been read, 0 to 1; `None` if its size is unknown.
    fn share_read(&self) -> Option<f64>;
}

/// A recording ready to be read.
pub struct OpenRecording {
    /// What its samples are to be read with.
    pub profile: Profile,
    /// What in the profile is unusual, in words.
    pub warnings: Vec<String>,
    /// Its samples.
    pub source: Box<dyn SampleSource>,
}

/// A file that cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum RecordingError {
    /// It cannot be opened or read on.
    #[error("{}: {source}; expected a recording", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// A row or the header is not what it has to be.
    #[error("{}: line {line}: found {found}; expected {expected}", path.display())]
    Content {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: u64,
        /// What stands there.
        found: String,
        /// What should.
        expected: &'static str,
    },
}

/// Opens a recording.
pub fn open(path: &Path) -> Result<OpenRecording, RecordingError> {
    let io = |source| RecordingError::Io {
        path: path.to_owned(),
        source,
    };
    let file = std::fs::File::open(path).map_err(io)?;
    from_reader(path, std::io::BufReader::new(file))
}

/// A recording from anything that can be read; `name` stands for it in messages.
pub fn from_reader(
    name: &Path,
    reader: impl Read + Send + 'static,
) -> Result<OpenRecording, RecordingError> {
    let source = Box::new(PlainCsv::new(name, Box::new(reader))?);
    Ok(OpenRecording {
        profile: assumed_profile(),
        warnings: Vec::new(),
        source,
    })
}

const COLUMNS: [&str; 7] = [
    "t_s",
    "gyro_x_radps",
    "gyro_y_radps",
    "gyro_z_radps",
    "accel_x_mps2",
    "accel_y_mps2",
    "accel_z_mps2",
];
const BATCH: usize = 1024;

/// The six columns of a CSV file and no more.
struct PlainCsv {
    path: PathBuf,
    rows: csv::Reader<Box<dyn Read + Send>>,
    columns: [usize; 7],
    times_s: Option<(f64, f64)>,
    summary: RecordingSummary,
}

impl PlainCsv {
    fn new(path: &Path, reader: Box<dyn Read + Send>) -> Result<Self, RecordingError> {
        let mut rows = csv::ReaderBuilder::new().flexible(true).from_reader(reader);
        let bad = |found: String| RecordingError::Content {
            path: path.to_owned(),
            line: 1,
            found,
            expected: "a header with t_s, gyro_x_radps … accel_z_mps2",
        };
        let header = rows.headers().map_err(|error| bad(error.to_string()))?;
        let mut columns = [0; 7];
        for (place, name) in columns.iter_mut().zip(COLUMNS) {
            *place = header
                .iter()
                .position(|h| h == name)
                .ok_or_else(|| bad(format!("no column {name}")))?;
        }
        let summary = RecordingSummary {
            path: path.display().to_string(),
            ..RecordingSummary::default()
        };
        Ok(Self {
            path: path.to_owned(),
            rows,
            columns,
            times_s: None,
            summary,
        })
    }

    fn sample(&self, row: &csv::StringRecord) -> Option<Sample> {
        let mut cells = [f64::NAN; 7];
        for (cell, &column) in cells.iter_mut().zip(&self.columns) {
            *cell = row.get(column)?.parse().ok()?;
        }
        let [t_s, gx, gy, gz, ax, ay, az] = cells;
        Some(Sample {
            time: SensorTime(t_s),
            gyro_s_radps: Vector3::new(gx, gy, gz),
            accel_s_mps2: Vector3::new(ax, ay, az),
            accel_hi_s_mps2: None,
        })
    }

    fn take(&mut self, row: &csv::StringRecord, batch: &mut Vec<Sample>) {
        let line = row.position().map_or(0, csv::Position::line);
        match self.sample(row) {
            Some(sample) => {
                let first_s = self.times_s.map_or(sample.time.0, |(first_s, _)| first_s);
                self.times_s = Some((first_s, sample.time.0));
                self.summary.samples += 1;
                batch.push(sample);
            }
            None => {
                self.summary.issue_count += 1;
                let kind = crate::engine::sample::IssueKind::WrongCellCount {
                    expected: 7,
                    found: row.len(),
                };
                self.summary.issues.push(Issue { line, kind });
            }
        }
    }
}

impl SampleSource for PlainCsv {
    fn next_batch(&mut self, batch: &mut Vec<Sample>) -> Result<bool, RecordingError> {
        batch.clear();
        let mut row = csv::StringRecord::new();
        while batch.len() < BATCH {
            let more =
                self.rows
                    .read_record(&mut row)
                    .map_err(|error| RecordingError::Content {
                        path: self.path.clone(),
                        line: error.position().map_or(0, csv::Position::line),
                        found: error.to_string(),
                        expected: "text in rows of numbers",
                    })?;
            if !more {
                break;
            }
            self.take(&row, batch);
        }
        Ok(!batch.is_empty())
    }

    fn summary(&self) -> RecordingSummary {
        let mut summary = self.summary.clone();
        if let Some((first_s, last_s)) = self.times_s.filter(|(first_s, last_s)| last_s > first_s) {
            summary.duration_s = last_s - first_s;
            summary.sample_rate_hz = (summary.samples - 1) as f64 / summary.duration_s;
        }
        summary
    }

    fn share_read(&self) -> Option<f64> {
        None
    }
}

fn assumed_profile() -> Profile {
    Profile {
        sensor: SensorProfile {
            sample_rate_hz: None,
            gyro_range_radps: 69.8,
            accel_range_mps2: 313.8,
            accel_hi_range_mps2: 1961.3,
            gyro_bandwidth_hz: 300.0,
            accel_bandwidth_hz: 300.0,
            gyro_noise_radps_rthz: 1.7e-4,
            accel_noise_mps2_rthz: 2.0e-3,
            gyro_scale_error: 0.005,
            accel_scale_error: 0.005,
            gyro_bias_radps: 0.01,
            accel_bias_mps2: 0.2,
            misalignment_rad: 0.005,
        },
        mount: Mount {
            offset_b_m: Vector3::new(0.0, 0.0, -0.012),
            q_bs: UnitQuaternion::identity(),
            tilt_error_rad: 0.05,
            given: false,
        },
        bat: Bat {
            length_m: 0.838,
            mass_kg: 0.85,
            balance_m: 0.55,
            moi_knob6_kgm2: 0.20,
            sweet_spot_m: 0.686,
            barrel_diameter_m: 0.066,
        },
        swing: SwingContext {
            side: Side::Right,
            pitch_speed_mps: 20.0,
            pitch_descent_deg: 8.0,
        },
        calibration: None,
    }
}
