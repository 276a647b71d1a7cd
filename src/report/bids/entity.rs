//! What a data set is made of: plain types, without any of the store's or the engine's.

use super::{BidsError, OLDEST_AGE_YEARS};
use crate::engine::sample::Sample;

/// The longest label that is written.
pub const LONGEST_LABEL: usize = 64;

/// So many of the last letters and digits of an id make a label.
const OF_AN_ID: usize = 12;

/// A name within a path: letters and digits.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Label(String);

impl Label {
    /// Of 1 to [`LONGEST_LABEL`] letters and digits of ASCII.
    ///
    /// # Errors
    /// If the text is anything else.
    pub fn new(text: &str) -> Result<Self, BidsError> {
        let is_label = (1..=LONGEST_LABEL).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_alphanumeric());
        let found = || BidsError::Label { found: text.chars().take(LONGEST_LABEL).collect() };
        is_label.then(|| Self(text.to_owned())).ok_or_else(found)
    }

    /// Of an opaque id: its last twelve letters and digits. The first half of a UUIDv7 tells when it was made, so it is left
    /// out; the last 48 bits are random.
    ///
    /// # Errors
    /// If it has no letter or digit.
    pub fn of_id(id: &str) -> Result<Self, BidsError> {
        let kept: Vec<char> = id.chars().filter(char::is_ascii_alphanumeric).collect();
        let last = kept.get(kept.len().saturating_sub(OF_AN_ID)..).unwrap_or_default();
        Self::new(&last.iter().collect::<String>())
    }

    /// As it stands in paths.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// The data set as a whole.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct About {
    /// Its name.
    pub name: String,
    /// Who made it.
    pub authors: Vec<String>,
    /// Under which terms others may use it.
    pub license: Option<String>,
}

/// An athlete.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Participant {
    /// Their name in the data set, best [`Label::of_id`].
    pub label: Label,
    /// The name they go by; `None` keeps it out of the data set.
    pub nickname: Option<String>,
    /// Their age.
    pub age_years: Option<u16>,
    /// Their sex.
    pub sex: Option<Sex>,
    /// The hand they prefer.
    pub handedness: Option<Handedness>,
    /// The side or sides of the plate they bat from.
    pub bats: Option<Bats>,
}

impl Participant {
    /// Of whom nothing else is known.
    pub fn new(label: Label) -> Self {
        Self { label, nickname: None, age_years: None, sex: None, handedness: None, bats: None }
    }

    /// The age that is reached in a year, by the year of birth alone; before a birthday it is one too many.
    pub fn age_in(year: i16, year_of_birth: i16) -> Option<u16> {
        let age = u16::try_from(i32::from(year) - i32::from(year_of_birth)).ok()?;
        Some(age.min(OLDEST_AGE_YEARS))
    }
}

macro_rules! words {
    ($(#[doc = $doc:literal])* $name:ident { $($variant:ident $word:literal $variant_doc:literal,)* }) => {
        $(#[doc = $doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum $name { $(#[doc = $variant_doc] $variant,)* }

        impl $name {
            /// All of them.
            pub const ALL: &[$name] = &[$($name::$variant,)*];

            /// The word in the data set.
            pub fn word(self) -> &'static str {
                match self { $($name::$variant => $word,)* }
            }

            /// What the word means.
            pub fn meaning(self) -> &'static str {
                match self { $($name::$variant => $variant_doc,)* }
            }
        }
    };
}

words! {
    /// An athlete's sex, in the words of BIDS.
    Sex { Female "female" "Female.", Male "male" "Male.", Other "other" "Other.", }
}

words! {
    /// The hand an athlete prefers, in the words of BIDS.
    Handedness { Left "left" "Left-handed.", Right "right" "Right-handed.", Both "ambidextrous" "Ambidextrous.", }
}

words! {
    /// The side of the plate an athlete bats from.
    Bats {
        Left "left" "Bats left-handed.",
        Right "right" "Bats right-handed.",
        Both "both" "Bats from either side.",
    }
}

words! {
    /// What kind of session it was.
    SessionKind {
        Lesson "lesson" "With an instructor.",
        Practice "practice" "On their own, between lessons or before one.",
    }
}

words! {
    /// What an event is.
    TrialType {
        SwingBall "swing_ball" "A swing that met a ball: from its start to contact.",
        SwingNone "swing_none" "A swing that met nothing: from its start to the sweet spot's peak speed.",
    }
}

/// A lesson or a practice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Session {
    /// Its name within the participant.
    pub label: Label,
    /// What kind it was.
    pub kind: SessionKind,
    /// When it began, ns since 1970 UTC.
    pub start_utc_ns: Option<i64>,
}

/// The sensor, as far as it says what it is.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Device {
    /// Who made it.
    pub manufacturer: Option<String>,
    /// Which model.
    pub model: Option<String>,
    /// Its firmware.
    pub firmware: Option<String>,
}

/// A recording.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Run {
    /// The rate the sensor is said to sample at, Hz.
    pub sampling_frequency_hz: f64,
    /// Whether there is a second, high-range accelerometer in any of its samples.
    pub has_accel_hi: bool,
    /// When its first sample was taken, ns since 1970 UTC.
    pub start_utc_ns: Option<i64>,
    /// The sensor.
    pub device: Device,
    /// What the athlete was asked to do.
    pub instructions: Option<String>,
}

/// One sample, in the sensor's own axes, as sent; what is not finite is told as missing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// When, on the sensor's clock, s.
    pub time_s: f64,
    /// Angular rate, rad/s.
    pub gyro_radps: [f64; 3],
    /// Specific force, m/s².
    pub accel_mps2: [f64; 3],
    /// Specific force by a second accelerometer, m/s².
    pub accel_hi_mps2: Option<[f64; 3]>,
}

impl From<&Sample> for Reading {
    fn from(sample: &Sample) -> Self {
        Self {
            time_s: sample.time.0,
            gyro_radps: sample.gyro_s_radps.into(),
            accel_mps2: sample.accel_s_mps2.into(),
            accel_hi_mps2: sample.accel_hi_s_mps2.map(Into::into),
        }
    }
}

/// A column that events have besides onset, duration and trial type.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EventColumn {
    /// Small letters, digits and `_`.
    pub name: String,
    /// In words.
    pub long_name: String,
    /// What it means.
    pub description: String,
    /// Its unit in the notation of BIDS, as `m/s`; `None` without one.
    pub units: Option<String>,
}

/// A value in a column of events.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// None; also written for a number that is not finite and for an empty text.
    Missing,
    /// A number, in the column's unit.
    Number(f64),
    /// Text; a tab or line break in it becomes a space.
    Text(String),
}

/// Something that happened in a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// When it began, s, on the clock of the samples.
    pub onset_s: f64,
    /// How long it lasted, s.
    pub duration_s: f64,
    /// What it was.
    pub trial_type: TrialType,
    /// One a column.
    pub values: Vec<Value>,
}
