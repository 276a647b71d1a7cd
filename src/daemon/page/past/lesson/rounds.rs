//! The rounds of a lesson: a table of swings each.

use super::super::super::figure::wide;
use super::super::super::when;
use super::super::super::words::{self, NOTHING, name, problem};
use super::super::spread::mean_and_spread;
use super::Whole;
use crate::daemon::store::queries::swings_read::FoundSwing;
use crate::daemon::store::rows::{BallResult, Mark, Round, Word};
use crate::engine::metrics::Metric;
use crate::report::words::{Row, Units, label, rounded, row_of};
use maud::{Markup, html};
use serde_json::json;

/// What of a swing stands in the table.
const COLUMNS: [Metric; 5] =
    [Metric::BatSpeed, Metric::HandSpeed, Metric::TimeToContact, Metric::AttackAngle, Metric::TimingWindow];

/// What a table is drawn with.
struct Table<'a> {
    whole: &'a Whole,
    swings: Vec<&'a FoundSwing>,
    /// A row a metric: [`row_of`] gives all swings the same decimals.
    numbers: [Row; COLUMNS.len()],
    is_moving: bool,
    has_balls: bool,
    /// Whether some are from another side than their round says.
    has_sides: bool,
    has_flags: bool,
    has_words: bool,
    units: Units,
}

/// All rounds in order, then the swings of none.
pub fn all(whole: &Whole, is_moving: bool, units: Units) -> Markup {
    let is_of = |swing: &FoundSwing, round: Option<&Round>| swing.swing.round_id == round.map(|round| round.id);
    let of = |round: Option<&Round>| whole.swings.iter().filter(|swing| is_of(swing, round)).collect::<Vec<_>>();
    let without = of(None);
    html! {
        @for (k, round) in whole.rounds.iter().enumerate() {
            section.round id=(format!("round-{}", round.id)) {
                h2 { "Round " (k + 1) }
                (facts(whole, round, units))
                (table(whole, of(Some(round)), &format!("Swings of round {}", k + 1), is_moving, units))
            }
        }
        @if !without.is_empty() {
            section.round {
                h2 { "In no round" }
                (table(whole, without, "Swings in no round", is_moving, units))
            }
        }
        @if whole.rounds.is_empty() && whole.swings.is_empty() {
            p { "There is no swing in it yet." }
        }
    }
}

fn facts(whole: &Whole, round: &Round, units: Units) -> Markup {
    let speed = units.speed();
    html! {
        dl.facts {
            div { dt { "Drill" } dd { @match &round.drill { Some(drill) => (name(drill)), None => (NOTHING) } } }
            div { dt { "Ball" } dd { (round.ball_source.map_or(NOTHING, words::ball_source)) } }
            div { dt { "Bat" } dd {
                @match round.bat_id.and_then(|id| whole.bats.get(&id)) { Some(bat) => (name(bat)), None => (NOTHING) }
            } }
            div { dt { "Side" } dd { (round.side.map_or(NOTHING, |side| words::side(Some(side)))) } }
            div { dt { "Pitch" } dd {
                @match round.pitch_speed_mps {
                    Some(mps) => { (rounded(mps * speed.factor, 1)) " " (speed.sign) },
                    None => (NOTHING),
                }
            } }
            div { dt { "Begun" } dd { (when::second(round.begun)) } }
        }
        @if !round.note.is_empty() { p.note dir="auto" { (round.note) } }
    }
}

fn table(whole: &Whole, swings: Vec<&FoundSwing>, about: &str, is_moving: bool, units: Units) -> Markup {
    if swings.is_empty() {
        return html! { p.faint { "No swing." } };
    }
    let estimates = |metric: Metric| swings.iter().map(|s| s.analysis.metrics[metric.index()]).collect::<Vec<_>>();
    let numbers = COLUMNS.map(|metric| row_of(metric, &estimates(metric), units));
    let has_balls = swings.iter().any(|swing| whole.balls.contains_key(&swing.swing.id));
    let round = |found: &FoundSwing| whole.rounds.iter().find(|round| Some(round.id) == found.swing.round_id);
    let has_sides = swings.iter().any(|found| round(found).and_then(|round| round.side) != found.swing.side);
    let has_flags = swings.iter().any(|found| !found.analysis.flags.is_empty());
    let has_words = swings.iter().any(|found| !found.swing.note.is_empty() || !found.swing.tags.is_empty());
    let table = Table { has_flags, has_words, whole, swings, numbers, is_moving, has_balls, has_sides, units };
    html! {
        (problem())
        (wide(about, &html! { table.swings {
            (table.head())
            tbody { @for (k, swing) in table.swings.iter().enumerate() { (table.row(k, swing)) } }
        } }))
        (table.summary())
    }
}

impl Table<'_> {
    fn head(&self) -> Markup {
        html! {
            thead { tr {
                @if self.is_moving { th scope="col" { "Move" } }
                th scope="col" { "Swing" } th scope="col" { "Time" }
                @for row in &self.numbers { th scope="col" { (row.label) span.faint.under { (row.unit) ", ± 95 %" } } }
                @if self.has_sides { th.words scope="col" { "Side" } }
                th.words scope="col" { "Met" }
                @if self.has_balls { th.ball scope="col" { "Ball" span.faint.under { "other device" } } }
                @if self.has_flags { th.words scope="col" { "Flags" } }
                @if self.has_words { th.said scope="col" { "Note" } }
                th.words scope="col" { "Mark" }
            } }
        }
    }

    fn row(&self, k: usize, found: &FoundSwing) -> Markup {
        let swing = &found.swing;
        let is_out = swing.mark == Mark::Exclude;
        html! {
            tr.out[is_out].flagged[!found.analysis.flags.is_empty()] {
                @if self.is_moving { td { (choose(k, found)) } }
                th scope="row" { a.open href=(format!("/swings/{}", swing.id)) { (k + 1) span.unseen { ", open" } } }
                td { (when::second(swing.contact_utc)) }
                @for row in &self.numbers { td { (words::number(row.cells.get(k).and_then(Option::as_ref))) } }
                @if self.has_sides { td.words { (swing.side.map_or(NOTHING, |side| words::side(Some(side)))) } }
                td.words { (words::contact(found.analysis.met_ball)) }
                @if self.has_balls { td.ball { (ball(self.whole.balls.get(&swing.id), self.units)) } }
                @if self.has_flags { td.words { (words::flags(&found.analysis.flags)) } }
                @if self.has_words { (said(found)) }
                td.words { span.counts {
                    @if swing.mark != Mark::None { (words::mark(swing.mark)) }
                    (keep_or_not(found))
                } }
            }
        }
    }

    /// How many, and the middle of what is asked for most.
    fn summary(&self) -> Markup {
        let counted = self.swings.iter().filter(|found| found.swing.mark != Mark::Exclude);
        let flagged = counted.clone().filter(|found| !found.analysis.flags.is_empty()).count();
        let speed = counted.clone().filter_map(|found| found.analysis.metrics[Metric::BatSpeed.index()]);
        let speeds: Vec<f64> = speed.map(|estimate| estimate.value).collect();
        let count = counted.count();
        html! {
            p.sum {
                (count) " counted, " (flagged) " of them flagged; " (self.swings.len() - count) " left out. "
                @if !speeds.is_empty() {
                    (label(Metric::BatSpeed)) ": mean " (mean_and_spread(Metric::BatSpeed, speeds, self.units)) " "
                    (self.units.speed().sign) " (one standard deviation)."
                }
            }
        }
    }
}

fn said(found: &FoundSwing) -> Markup {
    html! {
        td.said {
            span dir="auto" { (found.swing.note) }
            @for tag in &found.swing.tags { " " span.tag { (tag) } }
        }
    }
}

/// A box of the form that moves.
fn choose(k: usize, found: &FoundSwing) -> Markup {
    let about = format!("Move swing {}", k + 1);
    html! {
        label.box {
            input type="checkbox" form="moving" name="swing_ids" value=(found.swing.id) data-as="list"
                aria-label=(about);
        }
    }
}

fn keep_or_not(found: &FoundSwing) -> Markup {
    let swing = &found.swing;
    let (to, what) = match swing.mark {
        Mark::Exclude => (Mark::None, "Count it"),
        Mark::None | Mark::Keep => (Mark::Exclude, "Leave out"),
    };
    let body = json!({"mark": to.word()}).to_string();
    html! {
        button.change type="button" data-send=(format!("PATCH /v1/swings/{}", swing.id)) data-version=(swing.version)
            data-body=(body) { (what) }
    }
}

/// What another device said the ball did.
pub fn ball(result: Option<&BallResult>, units: Units) -> Markup {
    let speed = units.speed();
    let Some(result) = result else { return html! { span.faint { (NOTHING) } } };
    let exit = result.exit_speed_mps.map(|mps| format!("{} {}", rounded(mps * speed.factor, 1), speed.sign));
    let launch = result.launch_angle_deg.map(|deg| format!("{}° up", rounded(deg, 0)));
    let length = units.length();
    let carry = result.carry_m.map(|m| format!("{} {}", rounded(m * length.factor, 0), length.sign));
    let said: Vec<String> = [exit, launch, carry].into_iter().flatten().collect();
    html! { @if said.is_empty() { (NOTHING) } @else { (said.join(", ")) } }
}
