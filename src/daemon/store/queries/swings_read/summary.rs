//! An athlete's metrics, lesson by lesson.

use super::super::super::StoreError;
use super::super::super::rows::{BallSource, Mark, Occasion, Side, UtcMicros, Word};
use super::super::uuid;
use super::{SwingFilter, Whose, maybe_word};
use crate::compare::conditions::Conditions;
use crate::engine::metrics::Metric;
use sqlx::{AnyConnection, Row};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Which of an athlete's swings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SummaryOf {
    /// Whose.
    pub athlete: Uuid,
    /// From one side only.
    pub side: Option<Side>,
    /// With one bat only.
    pub bat: Option<Uuid>,
    /// Contact was at this instant or later,
    pub from: Option<UtcMicros>,
    /// and before this one.
    pub to: Option<UtcMicros>,
}

/// Swings of one lesson from one side.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// The lesson or practice; `None`: swings outside of any.
    pub lesson: Option<GroupLesson>,
    /// The side; `None`: not said.
    pub side: Option<Side>,
    /// Contact of the first of them.
    pub first: UtcMicros,
    /// Swings that are counted.
    pub counted: u32,
    /// Those of them with a flag.
    pub flagged: u32,
    /// Swings that the instructor excluded; they are in nothing else.
    pub excluded: u32,
    /// Under what the counted swings were made, and how many; whose they are is not said again.
    pub conditions: BTreeMap<Conditions, usize>,
    /// For each of the metrics asked for, in their order: its values over the counted swings.
    pub values: Vec<Vec<f64>>,
}

/// What a group's lesson is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct GroupLesson {
    /// Its id.
    pub id: Uuid,
    /// When it began.
    pub begun: UtcMicros,
    /// Lesson or practice.
    pub occasion: Occasion,
}

/// The groups in the order in which their lessons began, those outside of lessons last; right before left.
///
/// # Errors
/// If they cannot be read.
pub async fn by_lesson(
    connection: &mut AnyConnection,
    of: SummaryOf,
    metrics: &[Metric],
) -> Result<Vec<Group>, StoreError> {
    let columns: String = metrics.iter().map(|metric| format!(", a.{}", metric.key())).collect();
    let head = format!(
        "SELECT s.lesson_id, s.side, s.mark, s.contact_utc_us, CASE WHEN a.flags = ',' THEN 0 ELSE 1 END AS is_flagged, \
         b.name AS bat, r.drill, r.ball_source{columns} \
         FROM swings s JOIN analyses a ON a.swing_id = s.id AND a.revision = s.revision \
         LEFT JOIN rounds r ON r.id = s.round_id LEFT JOIN bats b ON b.id = s.bat_id"
    );
    let SummaryOf { athlete, side, bat, from, to } = of;
    let filter = SwingFilter { whose: Some(Whose::Athlete(athlete)), side, bat, from, to, ..SwingFilter::default() };
    let rows = filter.conditions().query_all(&head).fetch_all(&mut *connection).await?;
    let lessons = lessons(connection, athlete).await?;
    let mut groups: BTreeMap<(String, &'static str), Group> = BTreeMap::new();
    for row in rows {
        let lesson: Option<String> = row.try_get("lesson_id")?;
        let side = maybe_word::<Side>(&row, "side")?;
        let key = (lesson.unwrap_or_default(), side.map_or("", Word::word));
        let first = UtcMicros(row.try_get("contact_utc_us")?);
        let lesson = lessons.get(&key.0).copied();
        let group = groups.entry(key).or_insert_with(|| Group::new(lesson, side, first, metrics.len()));
        group.first = group.first.min(first);
        group.add(&row)?;
    }
    let mut groups: Vec<_> = groups.into_values().collect();
    groups.sort_by_key(|group| {
        let begun = group.lesson.map_or((UtcMicros(i64::MAX), Uuid::nil()), |lesson| (lesson.begun, lesson.id));
        (begun, group.side != Some(Side::Right), group.side.is_none())
    });
    Ok(groups)
}

async fn lessons(connection: &mut AnyConnection, athlete: Uuid) -> Result<BTreeMap<String, GroupLesson>, StoreError> {
    let rows = sqlx::query("SELECT id, begun_utc_us, occasion FROM lessons WHERE athlete_id = $1")
        .bind(athlete.to_string())
        .fetch_all(connection)
        .await?;
    let lesson = |row: &sqlx::any::AnyRow| {
        Ok((
            row.try_get("id")?,
            GroupLesson {
                id: uuid(row, "id")?,
                begun: UtcMicros(row.try_get("begun_utc_us")?),
                occasion: Occasion::from_word(row.try_get("occasion")?)?,
            },
        ))
    };
    rows.iter().map(lesson).collect()
}

impl Group {
    fn new(lesson: Option<GroupLesson>, side: Option<Side>, first: UtcMicros, metrics: usize) -> Self {
        let conditions = BTreeMap::new();
        Self { lesson, side, first, counted: 0, flagged: 0, excluded: 0, conditions, values: vec![Vec::new(); metrics] }
    }

    /// The metrics stand in the columns from the ninth on.
    fn add(&mut self, row: &sqlx::any::AnyRow) -> Result<(), StoreError> {
        if row.try_get::<&str, _>("mark")? == Mark::Exclude.word() {
            self.excluded += 1;
            return Ok(());
        }
        self.counted += 1;
        self.flagged += u32::from(row.try_get::<i64, _>("is_flagged")? != 0);
        let conditions = Conditions {
            athlete: None,
            bat: row.try_get("bat")?,
            drill: row.try_get("drill")?,
            ball_source: maybe_word::<BallSource>(row, "ball_source")?.map(|source| source.word().to_owned()),
            side: self.side.map(|side| side.word().to_owned()),
            contact: None,
        };
        *self.conditions.entry(conditions).or_default() += 1;
        for (k, values) in self.values.iter_mut().enumerate() {
            values.extend(row.try_get::<Option<f64>, _>(8 + k)?);
        }
        Ok(())
    }
}
