//! Swings as they leave.

use super::super::instant::Instant;
use super::super::words::{BallSource, Mark, Occasion, Side};
use super::words::ContactWord;
use crate::daemon::store::queries::swings_read::FoundSwing;
use crate::daemon::store::rows::{Analysis, Swing};
use crate::engine::metrics::{Estimate, Metric};
use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};
use std::borrow::Cow;
use utoipa::openapi::schema::{ObjectBuilder, OneOfBuilder, Type};
use utoipa::openapi::{Ref, RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};
use uuid::Uuid;

/// A swing with the numbers of its latest analysis.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = Swing)]
pub struct SwingOut {
    /// Its id.
    id: Uuid,
    /// Counts its changes; the ETag.
    version: i64,
    /// In which recording.
    recording_id: Uuid,
    /// In which stretch of it between restarts of the sensor, from 0.
    run: i64,
    /// Who swung; null: nobody knows.
    #[schema(required)]
    athlete_id: Option<Uuid>,
    /// In which lesson or practice.
    #[schema(required)]
    lesson_id: Option<Uuid>,
    /// Which of the two it is.
    #[schema(required)]
    occasion: Option<Occasion>,
    /// In which round.
    #[schema(required)]
    round_id: Option<Uuid>,
    /// What was practised in it.
    #[schema(required)]
    drill: Option<String>,
    /// Where the ball came from in it.
    #[schema(required)]
    ball_source: Option<BallSource>,
    /// From which side.
    #[schema(required)]
    side: Option<Side>,
    /// With what.
    #[schema(required)]
    bat_id: Option<Uuid>,
    /// What that is called.
    #[schema(required)]
    bat: Option<String>,
    /// It was moved by hand: what the recording says of its owner does not hold.
    is_moved: bool,
    /// Contact on UTC.
    contact_utc: Instant,
    /// 1 σ of that, s; null: not known.
    #[schema(required)]
    contact_utc_sigma_s: Option<f64>,
    /// The instructor's word on whether it counts.
    mark: Mark,
    /// Free words.
    note: String,
    /// Words put on it, sorted.
    tags: Vec<String>,
    /// What the latest analysis says.
    #[serde(flatten)]
    analysis: AnalysisBody,
}

/// A swing, and where it is in its recording.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct SwingInRecording {
    /// Where the sensor's data of it are.
    recording: WhereOut,
    /// The swing.
    #[serde(flatten)]
    swing: SwingOut,
}

/// Where in which recording.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = SwingPlace)]
pub struct WhereOut {
    /// Which recording.
    id: Uuid,
    /// Its file.
    file_name: String,
    /// The swing's start on the sensor's clock, s.
    start_s: f64,
    /// Its contact there, s.
    contact_s: f64,
}

/// What an analysis says of a swing.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = AnalysisNumbers)]
pub struct AnalysisBody {
    /// Counts the analyses of the swing from 1.
    revision: i64,
    /// When it was made.
    analysed: Instant,
    /// By which version of the engine.
    engine_version: String,
    /// With which profile: `/v1/profiles/{sha256}`.
    profile_sha256: String,
    /// By how much of the recording: what came before contact, what came after it as well, or later rests too.
    #[schema(inline)]
    stage: StageWord,
    /// Start on the sensor's clock, s.
    start_s: f64,
    /// Contact on the sensor's clock, s.
    contact_s: f64,
    /// 1 σ of contact, s.
    contact_sigma_s: f64,
    /// Whether it met a ball.
    contact: ContactWord,
    /// What makes it poorer than usual: keys of `/v1/definitions`.
    flags: Vec<String>,
    /// The metrics.
    metrics: MetricsOut,
}

/// How much of the recording an analysis had.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum StageWord {
    /// What came before contact.
    Streaming,
    /// What came after it as well.
    Final,
    /// Later rests too.
    Revised,
}

/// One analysis of a swing.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Revision {
    /// From which recording.
    recording_id: Uuid,
    /// What it says.
    #[serde(flatten)]
    analysis: AnalysisBody,
}

/// A value with its uncertainty.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = Estimate)]
pub struct EstimateOut {
    /// The value, in the unit at the end of its key.
    value: f64,
    /// One standard deviation, in the same.
    sigma: f64,
}

/// Every metric by its key, null where a number would be a guess; in the order in which they are reported.
#[derive(Clone, Debug)]
pub struct MetricsOut([Option<Estimate>; Metric::COUNT]);

impl Serialize for MetricsOut {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(Metric::COUNT))?;
        for (metric, estimate) in Metric::ALL.into_iter().zip(self.0) {
            let out = estimate.map(|Estimate { value, sigma }| EstimateOut { value, sigma });
            map.serialize_entry(metric.key(), &out)?;
        }
        map.end()
    }
}

impl PartialSchema for MetricsOut {
    fn schema() -> RefOr<Schema> {
        let object = ObjectBuilder::new().schema_type(Type::Object);
        let object = object.description(Some("Every metric by its key; null where a number would be a guess."));
        let with_all = Metric::ALL.into_iter().fold(object, |object, metric| {
            let maybe = OneOfBuilder::new()
                .item(ObjectBuilder::new().schema_type(Type::Null))
                .item(Ref::from_schema_name(EstimateOut::name()))
                .description(Some(metric.definition().trim()));
            object.property(metric.key(), maybe).required(metric.key())
        });
        with_all.into()
    }
}

impl ToSchema for MetricsOut {
    fn name() -> Cow<'static, str> {
        "Metrics".into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        schemas.push((EstimateOut::name().into_owned(), EstimateOut::schema()));
        EstimateOut::schemas(schemas);
    }
}

impl SwingOut {
    /// Of what was found.
    pub fn of(found: FoundSwing) -> Self {
        let FoundSwing { swing, analysis, occasion, drill, ball_source, bat, .. } = found;
        let Swing { id, version, recording_id, run, athlete_id, lesson_id, round_id, side, bat_id, .. } = swing;
        Self {
            id,
            version,
            recording_id,
            run,
            athlete_id,
            lesson_id,
            occasion: occasion.map(Into::into),
            round_id,
            drill,
            ball_source: ball_source.map(Into::into),
            side: side.map(Into::into),
            bat_id,
            bat,
            is_moved: swing.is_moved,
            contact_utc: swing.contact_utc.into(),
            contact_utc_sigma_s: swing.contact_utc_sigma_us.map(|sigma_us| sigma_us as f64 / 1e6),
            mark: swing.mark.into(),
            note: swing.note,
            tags: swing.tags,
            analysis: AnalysisBody::of(analysis),
        }
    }
}

impl SwingInRecording {
    /// Of what was found.
    pub fn of(found: FoundSwing) -> Self {
        let FoundSwing { analysis, file_name, .. } = &found;
        let recording = WhereOut {
            id: analysis.recording_id,
            file_name: file_name.clone(),
            start_s: analysis.start_s,
            contact_s: analysis.contact_s,
        };
        Self { recording, swing: SwingOut::of(found) }
    }
}

impl Revision {
    /// Of an analysis.
    pub fn of(analysis: Analysis) -> Self {
        Self { recording_id: analysis.recording_id, analysis: AnalysisBody::of(analysis) }
    }
}

impl AnalysisBody {
    fn of(analysis: Analysis) -> Self {
        Self {
            revision: analysis.revision,
            analysed: analysis.analysed.into(),
            engine_version: analysis.engine_version,
            profile_sha256: analysis.profile_sha256,
            stage: match analysis.stage.as_str() {
                "streaming" => StageWord::Streaming,
                "final" => StageWord::Final,
                _ => StageWord::Revised,
            },
            start_s: analysis.start_s,
            contact_s: analysis.contact_s,
            contact_sigma_s: analysis.contact_sigma_s,
            contact: if analysis.met_ball { ContactWord::Ball } else { ContactWord::None },
            flags: analysis.flags,
            metrics: MetricsOut(analysis.metrics),
        }
    }
}
