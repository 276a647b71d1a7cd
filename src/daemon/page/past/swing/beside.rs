//! The lesson's others: the swings of the same lesson and side that a swing is seen among, earlier and later ones.

use super::unpacked;
use crate::daemon::api::Statistics;
use crate::daemon::page::words;
use crate::daemon::store::queries::swings_read::FoundSwing;
use crate::daemon::store::rows::{Mark, Side, Swing};
use crate::engine::metrics::Metric;
use crate::report::svg::{Band, Called};
use maud::{Markup, html};
use uuid::Uuid;

/// At most so many, the nearest in time: enough for a middle and a band, and quickly drawn.
const MOST: usize = 100;

/// The others of a swing: those without flags that nobody left out.
#[derive(Debug, PartialEq)]
pub struct Others {
    /// Which they are, the nearest in time first.
    pub ids: Vec<Uuid>,
    /// The median of each metric, in its own unit.
    pub medians: [Option<f64>; Metric::COUNT],
    /// How many would be among them without flags.
    flagged: usize,
    /// How many were left out by hand.
    excluded: usize,
    /// How many are further off in time than those.
    further: usize,
}

impl Others {
    /// Of a swing, among those around it. A swing of no lesson has none.
    pub fn of(around: &[FoundSwing], swing: &Swing) -> Self {
        let is_alike = |other: &&FoundSwing| {
            let other = &other.swing;
            swing.lesson_id.is_some() && (other.lesson_id, other.side) == (swing.lesson_id, swing.side)
        };
        let alike = around.iter().filter(is_alike).filter(|other| other.swing.id != swing.id);
        let (excluded, counted): (Vec<_>, Vec<_>) = alike.partition(|other| other.swing.mark == Mark::Exclude);
        let (mut clean, flagged): (Vec<_>, Vec<_>) =
            counted.into_iter().partition(|other| other.analysis.flags.is_empty());
        clean.sort_by_key(|other| other.swing.contact_utc.0.abs_diff(swing.contact_utc.0));
        let further = clean.len().saturating_sub(MOST);
        clean.truncate(MOST);
        let values = |metric: Metric| clean.iter().filter_map(move |s| Some(s.analysis.metrics[metric.index()]?.value));
        Self {
            ids: clean.iter().map(|other| other.swing.id).collect(),
            medians: Metric::ALL.map(|metric| Statistics::of(values(metric).collect()).median),
            flagged: flagged.len(),
            excluded: excluded.len(),
            further,
        }
    }

    /// Which they are, and which are not among them.
    pub fn in_words(&self, side: Option<Side>) -> String {
        let from = match side {
            Some(side) => format!("from the {}", words::side(Some(side))),
            None => "whose side was not said".to_owned(),
        };
        let mut said = format!("Others: {} of this lesson {from}", words::count(self.ids.len(), "swing"));
        if self.further > 0 {
            said += &format!(", the nearest in time ({} further off)", self.further);
        }
        let without = [(self.flagged, "flagged"), (self.excluded, words::mark(Mark::Exclude))];
        let without: Vec<String> =
            without.into_iter().filter(|(count, _)| *count > 0).map(|(count, why)| format!("{count} {why}")).collect();
        if !without.is_empty() {
            said += &format!("; without {}", without.join(" and "));
        }
        said + "."
    }
}

/// How the others went, off the threads that answer.
pub async fn band(swing: Uuid, compact: Vec<Vec<u8>>) -> Option<Band> {
    let drawn = tokio::task::spawn_blocking(move || {
        let curves: Vec<_> = compact.iter().filter_map(|compact| unpacked(swing, compact)).collect();
        Some(Band { called: Called::Others, ..Band::of(&curves.iter().collect::<Vec<_>>())? })
    });
    drawn.await.unwrap_or_else(|error| {
        tracing::error!(%swing, %error, "the curves of the swings beside a swing could not be drawn");
        None
    })
}

/// What is under the chart.
pub fn under_chart(others: &Others, band: Option<&Band>, side: Option<Side>) -> Markup {
    html! {
        (others.in_words(side))
        @match band {
            Some(band) => {
                " The shaded band holds the middle 80 % of "
                @if band.swings == others.ids.len() { "them." } @else { "the " (band.swings) " that have curves." }
            },
            None => " They are too few for a band.",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::api::test_api::{TestApi, on_each};
    use crate::daemon::store::queries::swings_read::example::fill;
    use crate::daemon::store::rows::UtcMicros;

    #[test]
    fn the_hundred_nearest_in_time_are_the_others_without_flagged_and_left_out_ones() {
        on_each(async |api: TestApi| {
            let mut changes = api.api.store.write().await.unwrap();
            let world = fill(&mut changes, 17, 40).await;
            changes.commit().await.unwrap();
            let is = |found: &&FoundSwing| found.swing.lesson_id.is_some() && found.swing.side.is_some();
            let one = world.swings.iter().find(is).unwrap();
            let at = |k: u32| {
                let mut other = one.clone();
                (other.swing.id, other.swing.contact_utc) = (Uuid::from_u128(k.into()), UtcMicros(i64::from(k) * 1000));
                other.swing.mark = if k % 20 == 3 { Mark::Exclude } else { Mark::Keep };
                other.analysis.flags = if k % 20 == 4 { vec!["gap".into()] } else { Vec::new() };
                other
            };
            let mut around: Vec<FoundSwing> = (0..200).map(at).collect();
            around[51].swing.side = None;
            let others = Others::of(&around, &around[50].swing);
            assert_eq!((others.ids.len(), others.flagged, others.excluded, others.further), (100, 10, 10, 78));
            let is_among = |k: u128| others.ids.contains(&Uuid::from_u128(k));
            assert!([0, 49, 52, 100].into_iter().all(is_among) && ![43, 44, 50, 51, 150].into_iter().any(is_among));
            around[50].swing.lesson_id = None;
            assert!(Others::of(&around, &around[50].swing).ids.is_empty());
        });
    }

    #[test]
    fn words_say_how_many_there_are_and_what_is_not_among_them() {
        let medians = [None; Metric::COUNT];
        let ids = vec![Uuid::nil(); 3];
        let others = Others { ids, medians, flagged: 0, excluded: 0, further: 0 };
        assert_eq!(others.in_words(Some(Side::Right)), "Others: 3 swings of this lesson from the right.");
        let more = Others { flagged: 2, excluded: 1, further: 7, ..others };
        assert_eq!(
            more.in_words(None),
            "Others: 3 swings of this lesson whose side was not said, the nearest in time (7 further off); \
             without 2 flagged and 1 left out."
        );
    }
}
