//! The lesson's others: the swings of the same lesson and side that a swing is seen among, earlier and later ones.

use super::unpacked;
use crate::daemon::api::Statistics;
use crate::daemon::page::words;
use crate::daemon::store::queries::swings_read::FoundSwing;
use crate::daemon::store::rows::{Mark, Side, Swing};
use crate::engine::metrics::Metric;
use crate::report::svg::draw::{Band, Called};
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
