//! All that is said of two selections of an athlete's swings, read from the record: for the page and for the report.

use super::super::local_days;
use super::super::store::StoreError;
use super::super::store::queries::ball_results::{self, BallFilter};
use super::super::store::queries::swings_read::{FoundSwing, SwingFilter};
use super::super::store::queries::{Slice, bats, homework as stored_homework};
use super::super::store::rows::{self, Side, Word};
use super::over_months::{OverMonths, of_all_days};
use super::squared_up::{self, Asked};
use super::then_now::{Chosen, ThenNow, observed, then_now};
use crate::compare::alike::{Alike, alike};
use crate::compare::numbers::Question;
use crate::engine::metrics::{Flag, Metric};
use crate::report::handout::Homework;
use crate::report::svg::{TrendLine, TrendPoint};
use crate::report::then_now::{Balls, Heard};
use sqlx::AnyConnection;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// Of an athlete's ball results that are looked through, the newest.
const MOST_BALLS: i64 = 5_000;
/// Bats whose names are looked up.
const MOST_BATS: i64 = 500;

/// A comparison with what is said around it.
#[derive(Clone, Debug)]
pub struct Gathered {
    /// The comparison.
    pub compared: ThenNow,
    /// The earlier and the later group in words.
    pub heard: [Heard; 2],
    /// How alike the swings of each are.
    pub alike: [Vec<Alike>; 2],
    /// How each metric of the question went, over all swings of the later group's kind.
    pub over_months: OverMonths,
    /// The bat speed of each day of that kind.
    pub trend_lines: Vec<TrendLine>,
    /// Flags of swings that were left out for one, with how many have it.
    pub flags: Vec<(Flag, usize)>,
    /// Balls of the earlier and of the later group.
    pub balls: [Balls; 2],
}

/// Reads all of it; of a ball that is squared up, what is asked.
///
/// # Errors
/// If it cannot be read.
pub async fn gather(
    connection: &mut AnyConnection,
    athlete: Uuid,
    [then, now]: [&SwingFilter; 2],
    question: &Question,
    asked: &Asked,
) -> Result<Gathered, StoreError> {
    let compared = then_now(connection, [then, now], question, true).await?;
    let all = of_all_days(connection, now).await?;
    let balls = balls(connection, &compared, athlete, asked).await?;
    let heard = [heard(&compared.then, then), heard(&compared.now, now)];
    let (family, side) = (question.family.clone(), now.side);
    let computing = tokio::task::spawn_blocking(move || Gathered {
        heard,
        alike: [alike(&compared.then.observed()), alike(&compared.now.observed())],
        over_months: OverMonths::of(&all, &family),
        trend_lines: trend_lines(&all, side),
        flags: flags(&compared),
        balls,
        compared,
    });
    computing.await.map_err(|error| StoreError::Strange(format!("what is said of stored swings: {error}")))
}

/// What an athlete has to do and has not ended, as the report says it.
///
/// # Errors
/// If it cannot be read.
pub async fn homework(connection: &mut AnyConnection, athlete: Uuid) -> Result<Vec<Homework>, StoreError> {
    let open = stored_homework::open(connection, athlete).await?;
    let names: BTreeMap<Uuid, String> = bats::list(connection, Slice { after: None, limit: MOST_BATS })
        .await?
        .into_iter()
        .map(|bat| (bat.id, bat.name))
        .collect();
    let of = |one: rows::Homework| Homework {
        drill: one.drill,
        implement: one.bat_id.and_then(|id| names.get(&id).cloned()).unwrap_or_default(),
        amount: one.how_much,
        words: one.words,
    };
    Ok(open.into_iter().map(of).collect())
}

/// How many of the swings that were left out for a flag have which.
fn flags(compared: &ThenNow) -> Vec<(Flag, usize)> {
    let mut counts = compared.then.flags.clone();
    for (&flag, count) in &compared.now.flags {
        *counts.entry(flag).or_default() += count;
    }
    counts.into_iter().collect()
}

/// What was measured of the balls of each group's swings, and what its typical swing would do.
async fn balls(
    connection: &mut AnyConnection,
    compared: &ThenNow,
    athlete: Uuid,
    asked: &Asked,
) -> Result<[Balls; 2], StoreError> {
    let filter = BallFilter { athlete: Some(athlete), ..BallFilter::default() };
    let results = ball_results::list(connection, &filter, Slice { after: None, limit: MOST_BALLS }).await?;
    let mut both =
        [Balls { name: "Then".into(), ..Balls::default() }, Balls { name: "Now".into(), ..Balls::default() }];
    let groups = [&compared.then, &compared.now];
    for ((balls, chosen), typical) in both.iter_mut().zip(groups).zip(compared.typical()) {
        let ids: BTreeSet<Uuid> = chosen.swings.iter().map(|found| found.swing.id).collect();
        let of_group = results.iter().filter(|ball| ball.swing_id.is_some_and(|id| ids.contains(&id)));
        balls.exit_speeds_mps = of_group.clone().filter_map(|ball| ball.exit_speed_mps).collect();
        balls.carries_m = of_group.filter_map(|ball| ball.carry_m).collect();
        if let Some(id) = typical {
            let found = squared_up::read(connection, id, asked).await?.ok();
            balls.if_squared_up = found.map(|found| (found.ball, found.taken(asked)));
        }
    }
    Ok(both)
}

fn heard(chosen: &Chosen, filter: &SwingFilter) -> Heard {
    let Chosen { swings, flagged, excluded, days, is_cut, .. } = chosen;
    let mut what = vec![when(chosen)];
    what.extend(filter.side.map(|side| format!("from the {}", side.word())));
    let bat = swings.first().and_then(|found| found.bat.clone());
    what.extend(bat.filter(|_| filter.bat.is_some()).map(|bat| format!("with {bat}")));
    what.extend(filter.drill.as_ref().map(|drill| format!("drill “{drill}”")));
    what.extend(filter.ball_source.map(|source| format!("ball: {}", source.word().replace('_', " "))));
    what.extend(is_cut.then(|| "the newest alone".to_owned()));
    Heard { what: what.join(", "), swings: swings.len(), days: *days, flagged: *flagged, excluded: *excluded }
}

/// From the first to the last day of its swings.
fn when(chosen: &Chosen) -> String {
    let (Some(first), Some(last)) = (chosen.swings.first(), chosen.swings.last()) else {
        return "no swing of the days chosen".to_owned();
    };
    let (first, last) = (local_days::text(first.swing.contact_utc), local_days::text(last.swing.contact_utc));
    if first == last { first } else { format!("{first} to {last}") }
}

/// A point a day.
fn trend_lines(chosen: &Chosen, side: Option<Side>) -> Vec<TrendLine> {
    let of_day = chosen.swings.chunk_by(|one, next| observed(one).day == observed(next).day);
    let point = |swings: &[FoundSwing]| {
        let speed = swings.iter().filter_map(|found| found.analysis.metrics[Metric::BatSpeed.index()]);
        let values: Vec<f64> = speed.map(|estimate| estimate.value).collect();
        let first = swings.first().filter(|_| !values.is_empty())?;
        Some(TrendPoint { day: observed(first).day as f64, when: local_days::text(first.swing.contact_utc), values })
    };
    let points: Vec<TrendPoint> = of_day.filter_map(point).collect();
    let name = side.map_or("all", Side::word).to_owned();
    if points.is_empty() { Vec::new() } else { vec![TrendLine { name, points }] }
}
