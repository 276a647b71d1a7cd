//! Which swings are then, which are now, and which numbers are asked about. It works without the script.

use super::super::super::words;
use super::super::ball_and_air::BallAndAir;
use crate::daemon::api::then_now::usual::{Completed, Day};
use crate::daemon::local_days;
use crate::daemon::store::StoreError;
use crate::daemon::store::queries::rounds::of_latest_lessons;
use crate::daemon::store::queries::swings_read::SwingFilter;
use crate::daemon::store::queries::{Slice, bats};
use crate::daemon::store::rows::{BallSource, Bat, Side, UtcMicros, Word};
use crate::engine::metrics::Metric;
use crate::report::then_now::asked_about;
use crate::report::words::label;
use jiff::civil::Date;
use maud::{Markup, html};
use sqlx::AnyConnection;
use std::collections::BTreeSet;
use uuid::Uuid;

/// Bats and rounds that are looked through for what can be chosen.
const MOST: i64 = 500;

/// What can be chosen, and what is.
pub struct Form {
    /// The days with swings.
    pub days: Vec<Day>,
    bats: Vec<Bat>,
    drills: BTreeSet<String>,
    groups: [Chosen; 2],
    family: Vec<Metric>,
}

/// What is chosen for one group.
struct Chosen {
    prefix: &'static str,
    head: &'static str,
    from: Option<Date>,
    /// The last day that is in it.
    to: Option<Date>,
    side: Option<Side>,
    bat: Option<Uuid>,
    drill: Option<String>,
    ball_source: Option<BallSource>,
    met_ball: Option<bool>,
}

impl Chosen {
    fn new(prefix: &'static str, head: &'static str, filter: &SwingFilter) -> Self {
        Self {
            prefix,
            head,
            from: filter.from.and_then(local_days::date),
            to: filter.to.and_then(|to| local_days::date(UtcMicros(to.0.saturating_sub(1)))),
            side: filter.side,
            bat: filter.bat,
            drill: filter.drill.clone(),
            ball_source: filter.ball_source,
            met_ball: filter.met_ball,
        }
    }
}

impl Form {
    /// Bats and drills of the athlete's rounds.
    ///
    /// # Errors
    /// If they cannot be read.
    pub async fn read(
        reading: &mut AnyConnection,
        athlete: Uuid,
        days: Vec<Day>,
        [then, now]: &[SwingFilter; 2],
        family: &[Metric],
    ) -> Result<Self, StoreError> {
        let rounds = of_latest_lessons(reading, Some(athlete), MOST).await?;
        let used: BTreeSet<Uuid> = rounds.iter().filter_map(|one| one.round.bat_id).collect();
        let chosen = [then.bat, now.bat];
        let mut bats = bats::list(reading, Slice { after: None, limit: MOST }).await?;
        bats.retain(|bat| used.contains(&bat.id) || chosen.contains(&Some(bat.id)));
        let drills = rounds.into_iter().filter_map(|one| one.round.drill);
        Ok(Self {
            days,
            bats,
            drills: drills.chain([then, now].into_iter().filter_map(|filter| filter.drill.clone())).collect(),
            groups: [Chosen::new("then", "Then", then), Chosen::new("now", "Now", now)],
            family: family.to_vec(),
        })
    }

    /// With what was taken by itself where nobody said.
    pub fn markup(&self, asked: &Completed, ball_and_air: &BallAndAir) -> Markup {
        html! {
            details.choose.no-print data-key="choose" {
                summary { "Choose other days, sides, bats or numbers" }
                @if let Some(words) = by_itself(asked) { p.faint { (words) } }
                form method="get" {
                    (ball_and_air.hidden())
                    .columns { @for group in &self.groups { (self.group(group)) } }
                    (self.numbers())
                    .row {
                        button.primary type="submit" { "Compare" }
                        a.button href="?" { "As it was at first" }
                    }
                }
            }
        }
    }

    fn group(&self, group: &Chosen) -> Markup {
        let key = |name: &str| format!("{}_{name}", group.prefix);
        html! {
            fieldset {
                legend { (group.head) }
                .fields {
                    label { span { "From" } select name=(key("from")) { (self.day_choices(group.from, "the first day")) } }
                    label { span { "To" } select name=(key("to")) { (self.day_choices(group.to, "the last day")) } }
                    label { span { "Side" } select name=(key("side")) {
                        option value="" { "either" }
                        @for side in [Side::Right, Side::Left] {
                            option value=(side.word()) selected[group.side == Some(side)] { (words::side(Some(side))) }
                        }
                    } }
                    label { span { "Bat" } select name=(key("bat")) {
                        option value="" { "any" }
                        @for bat in &self.bats { option value=(bat.id) selected[group.bat == Some(bat.id)] { (bat.name) } }
                    } }
                    label { span { "Drill" } select name=(key("drill")) {
                        option value="" { "any" }
                        @for drill in &self.drills {
                            option value=(drill) selected[group.drill.as_ref() == Some(drill)] { (drill) }
                        }
                    } }
                    label { span { "Ball" } select name=(key("ball_source")) {
                        option value="" { "any" }
                        @for &source in BallSource::ALL {
                            option value=(source.word()) selected[group.ball_source == Some(source)] { (words::ball_source(source)) }
                        }
                    } }
                    label { span { "Met" } select name=(key("contact")) {
                        option value="" { "either" }
                        option value="ball" selected[group.met_ball == Some(true)] { "a ball" }
                        option value="none" selected[group.met_ball == Some(false)] { "nothing" }
                    } }
                }
            }
        }
    }

    /// The days with swings; a chosen one without any among them.
    fn day_choices(&self, chosen: Option<Date>, open: &str) -> Markup {
        let strange = chosen.filter(|date| self.days.iter().all(|day| day.date != *date));
        html! {
            option value="" { (open) }
            @if let Some(date) = strange { option value=(date) selected { (date.strftime("%b %-d, %Y").to_string()) ", no swing" } }
            @for day in &self.days {
                option value=(day.date) selected[chosen == Some(day.date)] { (day_words(day)) }
            }
        }
    }

    fn numbers(&self) -> Markup {
        html! {
            fieldset {
                legend { "Numbers" }
                p.faint { (asked_about(self.family.len())) }
                .ticks { @for metric in Metric::ALL {
                    label.tick {
                        input type="checkbox" name="metric" value=(metric.key()) checked[self.family.contains(&metric)];
                        (label(metric))
                    }
                } }
            }
        }
    }
}

fn by_itself(asked: &Completed) -> Option<&'static str> {
    match (asked.has_usual_days, asked.has_usual_side) {
        (true, true) => Some(
            "No day and no side was chosen: the first few days stand against the latest few, from the side with most swings.",
        ),
        (true, false) => Some("No day was chosen: the first few days stand against the latest few."),
        (false, true) => Some("No side was chosen: it is the one with most swings."),
        (false, false) => None,
    }
}

/// "Oct 5, 2026: 8 right, 3 left".
fn day_words(day: &Day) -> String {
    let of = |count: u32, side: &str| (count > 0).then(|| format!("{count} {side}"));
    let sides: Vec<String> =
        [of(day.right, "right"), of(day.left, "left"), of(day.unsaid, "side not said")].into_iter().flatten().collect();
    format!("{}: {}", day.date.strftime("%b %-d, %Y"), sides.join(", "))
}
