//! How it was then: earlier swings of the same kind as the next one will be.
//!
//! Of the same athlete, side, bat, drill and ball source from before the lesson, if those are three or more; else of the same
//! side and bat, whatever the drill; else those of the lesson from before the round. Only swings that count and have no flag.

use crate::daemon::api::{Api, Statistics};
use crate::daemon::page::when::day_text;
use crate::daemon::record::plate::AtBat;
use crate::daemon::store::StoreError;
use crate::daemon::store::queries::Slice;
use crate::daemon::store::queries::swings_read::{self, FoundSwing, Order, SwingFilter, Whose};
use crate::daemon::store::rows::{BallSource, Side, UtcMicros};
use crate::engine::metrics::Metric;
use crate::engine::swing::Curves;
use crate::report::curves::decode;
use crate::report::svg::Band;
use uuid::Uuid;

/// Fewer swings are no then.
const FEWEST: usize = 3;
/// The newest so many.
const MOST: i64 = 100;

/// What kind the next swing is of, and before what the earlier ones were.
#[derive(Clone, Debug, PartialEq)]
pub struct Kind {
    athlete_id: Uuid,
    side: Option<Side>,
    bat_id: Option<Uuid>,
    drill: Option<String>,
    ball_source: Option<BallSource>,
    lesson: (Uuid, UtcMicros),
    round_begun: UtcMicros,
}

/// Which earlier swings there are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    /// Of the same kind, from before the lesson.
    SameKind,
    /// Of the same side and bat, from before the lesson.
    SameSideAndBat,
    /// From before the round, in the lesson.
    EarlierInLesson,
}

/// Earlier swings.
#[derive(Clone, Debug, PartialEq)]
pub struct Then {
    /// How their speeds went; `None`: too few of them can be drawn.
    pub band: Option<Band>,
    /// The median of each metric, in its own unit.
    pub medians: [Option<f64>; Metric::COUNT],
    /// How many they are.
    pub swings: usize,
    /// Which, and what of it is known: in words.
    pub words: String,
}

impl Kind {
    /// Of the next swing; `None`: it is nobody's who is known.
    pub fn of(at_bat: &AtBat) -> Option<Self> {
        let (plate, lesson, round) = (&at_bat.plate, at_bat.lesson.as_ref()?, at_bat.round.as_ref()?);
        Some(Self {
            athlete_id: plate.athlete_id?,
            side: plate.side,
            bat_id: plate.bat_id,
            drill: plate.drill.clone(),
            ball_source: plate.ball_source,
            lesson: (lesson.id, lesson.begun),
            round_begun: round.begun,
        })
    }

    fn filter(&self, which: Which) -> SwingFilter {
        let whose = Some(Whose::Athlete(self.athlete_id));
        let (side, bat) = (self.side, self.bat_id);
        let all = SwingFilter { whose, side, bat, is_unflagged: true, is_counted: true, ..SwingFilter::default() };
        let to = Some(self.lesson.1);
        match which {
            Which::SameKind => SwingFilter { to, drill: self.drill.clone(), ball_source: self.ball_source, ..all },
            Which::SameSideAndBat => SwingFilter { to, ..all },
            Which::EarlierInLesson => {
                SwingFilter { lesson: Some(self.lesson.0), to: Some(self.round_begun), bat: None, ..all }
            }
        }
    }

    fn same(&self, which: Which) -> Vec<&'static str> {
        let is_of_kind = which == Which::SameKind;
        let is_of_bat = which != Which::EarlierInLesson;
        let parts = [
            (self.side.is_some(), "side"),
            (is_of_bat && self.bat_id.is_some(), "bat"),
            (is_of_kind && self.drill.is_some(), "drill"),
            (is_of_kind && self.ball_source.is_some(), "ball source"),
        ];
        parts.into_iter().filter(|(is_known, _)| *is_known).map(|(_, word)| word).collect()
    }
}

/// Earlier swings of a kind; `None`: there are too few.
///
/// # Errors
/// If they cannot be read.
pub async fn read(api: &Api, kind: &Kind) -> Result<Option<Then>, StoreError> {
    let mut reading = api.store.read().await?;
    for which in [Which::SameKind, Which::SameSideAndBat, Which::EarlierInLesson] {
        let slice = Slice { after: None, limit: MOST };
        let found = swings_read::list(&mut reading, &kind.filter(which), Order::Newest, slice).await?;
        if found.len() >= FEWEST {
            let ids: Vec<Uuid> = found.iter().map(|found| found.swing.id).collect();
            let packed = swings_read::curves_of(&mut reading, &ids).await?;
            let drawn: Vec<_> = packed.iter().filter_map(|packed| Some(decode(packed).ok()?.to_curves())).collect();
            return Ok(Some(Then::of(&found, &drawn, which, kind)));
        }
    }
    Ok(None)
}

impl Then {
    fn of(found: &[FoundSwing], drawn: &[Curves], which: Which, kind: &Kind) -> Self {
        let values = |metric: Metric| {
            let estimates = found.iter().filter_map(move |found| found.analysis.metrics[metric.index()]);
            estimates.map(|estimate| estimate.value).collect::<Vec<f64>>()
        };
        let at = |found: Option<&FoundSwing>| found.map_or(UtcMicros(0), |found| found.swing.contact_utc);
        let when = between(at(found.last()), at(found.first()), which);
        Self {
            band: Band::of(&drawn.iter().collect::<Vec<_>>()),
            medians: Metric::ALL.map(|metric| Statistics::of(values(metric)).median),
            swings: found.len(),
            words: words(found.len(), &when, &kind.same(which)),
        }
    }
}

/// "then: 24 swings, Oct 12, 2026 to Nov 3, 2026, same side, bat and drill".
fn words(swings: usize, when: &str, same: &[&str]) -> String {
    let same = match same {
        [] => String::new(),
        [one] => format!(", same {one}"),
        [several @ .., last] => format!(", same {} and {last}", several.join(", ")),
    };
    format!("then: {swings} swings, {when}{same}")
}

fn between(first: UtcMicros, last: UtcMicros, which: Which) -> String {
    if which == Which::EarlierInLesson {
        return "earlier in this lesson".to_owned();
    }
    let (first, last) = (day_text(first), day_text(last));
    if first == last { last } else { format!("{first} to {last}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_said_as_on_other_pages_and_one_is_said_once() {
        let day = UtcMicros(1_791_169_445_000_000);
        let later = UtcMicros(day.0 + 3 * 86_400_000_000);
        assert_eq!(between(day, day, Which::SameKind), day_text(day));
        assert_eq!(between(day, later, Which::SameKind), format!("{} to {}", day_text(day), day_text(later)));
        assert_eq!(between(day, later, Which::EarlierInLesson), "earlier in this lesson");
    }

    #[test]
    fn words_say_how_many_when_and_in_what_they_are_the_same() {
        assert_eq!(
            words(24, "Oct 12, 2026 to Nov 3, 2026", &["side", "bat", "drill"]),
            "then: 24 swings, Oct 12, 2026 to Nov 3, 2026, same side, bat and drill"
        );
        assert_eq!(words(3, "May 2, 2026", &["side"]), "then: 3 swings, May 2, 2026, same side");
        assert_eq!(words(4, "earlier in this lesson", &[]), "then: 4 swings, earlier in this lesson");
    }
}
