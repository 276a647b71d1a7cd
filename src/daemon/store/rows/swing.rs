use super::{Side, UtcMicros, Word};
use crate::engine::metrics::{Estimate, Metric};
use uuid::Uuid;

/// A swing: where it is, whom it belongs to, and what the instructor says of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Swing {
    /// Its id.
    pub id: Uuid,
    /// In which recording.
    pub recording_id: Uuid,
    /// In which stretch of it between restarts of the sensor, from 0.
    pub run: i64,
    /// Contact on the sensor's clock, by the latest analysis, s.
    pub contact_s: f64,
    /// Contact on UTC.
    pub contact_utc: UtcMicros,
    /// 1 σ of that, µs.
    pub contact_utc_sigma_us: Option<i64>,
    /// Who swung.
    pub athlete_id: Option<Uuid>,
    /// In which lesson or practice.
    pub lesson_id: Option<Uuid>,
    /// In which round.
    pub round_id: Option<Uuid>,
    /// From which side.
    pub side: Option<Side>,
    /// With what.
    pub bat_id: Option<Uuid>,
    /// Whether it counts.
    pub mark: Mark,
    /// Free words.
    pub note: String,
    /// Words put on it, sorted.
    pub tags: Vec<String>,
    /// Moved by hand: the recording's word on its owner no longer holds.
    pub is_moved: bool,
    /// The latest analysis.
    pub revision: i64,
    /// Counts its changes.
    pub version: i64,
}

/// Whom and what a swing belongs to, each as far as it is known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Owner {
    /// Who swung.
    pub athlete_id: Option<Uuid>,
    /// In which lesson or practice.
    pub lesson_id: Option<Uuid>,
    /// In which round.
    pub round_id: Option<Uuid>,
    /// From which side.
    pub side: Option<Side>,
    /// With what.
    pub bat_id: Option<Uuid>,
}

/// The instructor's word on whether a swing counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// Nothing was said.
    None,
    /// It counts, whatever its flags.
    Keep,
    /// It does not count.
    Exclude,
}

impl Word for Mark {
    const ALL: &'static [Self] = &[Self::None, Self::Keep, Self::Exclude];

    fn word(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Keep => "keep",
            Self::Exclude => "exclude",
        }
    }
}

/// What one analysis said of a swing.
#[derive(Clone, Debug, PartialEq)]
pub struct Analysis {
    /// Of which swing.
    pub swing_id: Uuid,
    /// Counts the analyses of a swing from 1.
    pub revision: i64,
    /// When.
    pub analysed: UtcMicros,
    /// By which version of the engine.
    pub engine_version: String,
    /// With which profile: SHA-256 of its text, hexadecimal.
    pub profile_sha256: String,
    /// From which recording.
    pub recording_id: Uuid,
    /// `streaming`, `final` or `revised`, as [`report::event`](crate::report::event) says.
    pub stage: String,
    /// Start on the sensor's clock, s.
    pub start_s: f64,
    /// Contact on the sensor's clock, s.
    pub contact_s: f64,
    /// 1 σ of it, s.
    pub contact_sigma_s: f64,
    /// Whether it met a ball.
    pub met_ball: bool,
    /// Keys of flags, sorted.
    pub flags: Vec<String>,
    /// A value with its σ for each of [`Metric::ALL`], or nothing.
    pub metrics: [Option<Estimate>; Metric::COUNT],
}

/// What another device said the ball did.
#[derive(Clone, Debug, PartialEq)]
pub struct BallResult {
    /// Its id.
    pub id: Uuid,
    /// Whose.
    pub athlete_id: Option<Uuid>,
    /// The swing it is held to belong to.
    pub swing_id: Option<Uuid>,
    /// How that was found.
    pub matched_by: Option<MatchedBy>,
    /// Its instant minus the swing's contact, ms.
    pub match_offset_ms: Option<f64>,
    /// When it was measured.
    pub measured: UtcMicros,
    /// By what, in words.
    pub device: String,
    /// How it came here.
    pub entered_by: EnteredBy,
    /// Exit speed, m/s.
    pub exit_speed_mps: Option<f64>,
    /// Launch angle above the horizontal, degrees.
    pub launch_angle_deg: Option<f64>,
    /// Direction from straightaway centre, positive toward right field, degrees.
    pub direction_deg: Option<f64>,
    /// Carry, m.
    pub carry_m: Option<f64>,
    /// Free words.
    pub note: String,
    /// Counts its changes.
    pub version: i64,
}

/// How a ball result found its swing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MatchedBy {
    /// It was the nearest in time.
    Time,
    /// Somebody said so.
    Hand,
}

impl Word for MatchedBy {
    const ALL: &'static [Self] = &[Self::Time, Self::Hand];

    fn word(self) -> &'static str {
        match self {
            Self::Time => "time",
            Self::Hand => "hand",
        }
    }
}

/// How a ball result came here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EnteredBy {
    /// Typed in.
    Hand,
    /// By a program over the API.
    Program,
    /// In a file.
    Csv,
}

impl Word for EnteredBy {
    const ALL: &'static [Self] = &[Self::Hand, Self::Program, Self::Csv];

    fn word(self) -> &'static str {
        match self {
            Self::Hand => "hand",
            Self::Program => "program",
            Self::Csv => "csv",
        }
    }
}
