use super::{UtcMicros, Word};
use uuid::Uuid;

/// A sensor that was connected at some time.
#[derive(Clone, Debug, PartialEq)]
pub struct Sensor {
    /// Its id.
    pub id: Uuid,
    /// The name that the service gives it, by which events and recordings name it.
    pub name: String,
    /// What people call it.
    pub label: String,
    /// Free words.
    pub note: String,
    /// When it was seen first.
    pub first_seen: UtcMicros,
    /// When it was seen last.
    pub last_seen: UtcMicros,
    /// Counts its changes.
    pub version: i64,
}

/// A sensor that is to be used at an installation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChosenSensor {
    /// Which installation.
    pub cage: String,
    /// What its radio calls the sensor.
    pub radio_id: String,
    /// The name it advertised.
    pub name: Option<String>,
    /// When it was chosen.
    pub chosen: UtcMicros,
}

/// How a sensor sits on a bat.
#[derive(Clone, Debug, PartialEq)]
pub struct Mount {
    /// Its id.
    pub id: Uuid,
    /// Which sensor.
    pub sensor_id: Uuid,
    /// On which bat; `None`: the same on every one.
    pub bat_id: Option<Uuid>,
    /// The IMU's position in B, m.
    pub offset_b_m: [f64; 3],
    /// q_BS, scalar first, unit: takes a vector from S to B.
    pub q_bs_wxyz: [f64; 4],
    /// 1 σ of the direction of the bat's axis in S, rad.
    pub tilt_sigma_rad: f64,
    /// Whether it was measured with the sensor, or is somebody's word.
    pub source: MountSource,
    /// Since when.
    pub mounted: UtcMicros,
    /// Until when; `None`: it still sits so.
    pub removed: Option<UtcMicros>,
    /// Free words.
    pub note: String,
    /// Counts its changes.
    pub version: i64,
}

/// How a mount is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MountSource {
    /// Somebody's word.
    Entered,
    /// From the sensor, by the calibration routine.
    Measured,
}

impl Word for MountSource {
    const ALL: &'static [Self] = &[Self::Entered, Self::Measured];

    fn word(self) -> &'static str {
        match self {
            Self::Entered => "entered",
            Self::Measured => "measured",
        }
    }
}

/// The direction toward the pitcher, as it was taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Aim {
    /// Its id.
    pub id: Uuid,
    /// With which sensor.
    pub sensor_id: Uuid,
    /// In which lesson.
    pub lesson_id: Option<Uuid>,
    /// In which recording.
    pub recording_id: Option<Uuid>,
    /// When.
    pub taken: UtcMicros,
    /// When on the sensor's clock, s.
    pub taken_s: Option<f64>,
    /// The pitcher's heading in the world frame of that stretch, about the vertical, rad.
    pub heading_rad: Option<f64>,
    /// 1 σ of it, rad.
    pub heading_sigma_rad: Option<f64>,
    /// Free words.
    pub note: String,
    /// Counts its changes.
    pub version: i64,
}

/// A file of what a sensor sent.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// Its id.
    pub id: Uuid,
    /// The installation in whose folder it lies.
    pub cage: String,
    /// Its name there, with its ending.
    pub file_name: String,
    /// Who sent it, where that is known.
    pub sensor_id: Option<Uuid>,
    /// How it came to be.
    pub origin: Origin,
    /// What an imported file was called.
    pub imported_name: Option<String>,
    /// Whom an imported file was imported for.
    pub athlete_id: Option<Uuid>,
    /// When it began.
    pub begun: UtcMicros,
    /// When it ended; `None`: it is being written, or its end is not known.
    pub ended: Option<UtcMicros>,
    /// How it is, once it was read to its end.
    pub summary: Option<RecordingSummary>,
    /// SHA-256 of an imported file, hexadecimal.
    pub sha256: Option<String>,
    /// Whether all its swings are stored.
    pub state: RecordingState,
    /// Counts its changes.
    pub version: i64,
}

/// What there is to say of a recording that was read to its end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RecordingSummary {
    /// From the first sample to the last, s.
    pub duration_s: f64,
    /// Samples.
    pub samples: i64,
    /// Nominal rate, Hz.
    pub sample_rate_hz: f64,
    /// Places where samples are missing.
    pub gaps: i64,
    /// How many are missing there.
    pub missing_samples: i64,
}

/// How a recording came to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// This installation recorded it.
    Live,
    /// It was brought from elsewhere.
    Import,
}

impl Word for Origin {
    const ALL: &'static [Self] = &[Self::Live, Self::Import];

    fn word(self) -> &'static str {
        match self {
            Self::Live => "live",
            Self::Import => "import",
        }
    }
}

/// What is known of a recording's swings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RecordingState {
    /// Some may not be stored yet.
    Open,
    /// All that were found are stored.
    Stored,
    /// The file was removed; numbers made from it may remain.
    Removed,
}

impl Word for RecordingState {
    const ALL: &'static [Self] = &[Self::Open, Self::Stored, Self::Removed];

    fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Stored => "stored",
            Self::Removed => "removed",
        }
    }
}
