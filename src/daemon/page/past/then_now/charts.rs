//! Where the speed is, and the ways of bat and hands; a typical swing of each group to look at.

use super::super::super::figure::figure;
use super::super::super::when;
use crate::compare::curves::{ComparedCurves, ComparedLine};
use crate::daemon::record::handout::Gathered;
use crate::daemon::record::then_now::Chosen;
use crate::report::svg::View;
use crate::report::svg::groups::{Against, built_by, difference, then_now_path, then_now_speed};
use crate::report::words::Units;
use maud::{Markup, html};
use uuid::Uuid;

/// All of it; in words where there are no curves.
pub fn section(gathered: &Gathered, units: Units) -> Markup {
    html! {
        section {
            h2 { "Where the speed is" }
            @match &gathered.compared.curves {
                Some(curves) => { (speeds(curves, units)) (typical(gathered)) },
                None => p { "There are no curves of these swings." },
            }
        }
    }
}

fn speeds(curves: &ComparedCurves, units: Units) -> Markup {
    let ComparedCurves { speed_by_time, speed_by_distance, by_rotation, by_hands, then_path, now_path, .. } = curves;
    let band = |line: &ComparedLine| {
        html! {
            "Bands hold the middle 80 % of each group's swings: of " (line.then.swings) " then and " (line.now.swings) " now, those that \
             go back so far."
        }
    };
    let whole = html! {
        "The band holds the true difference as a whole in 95 of 100 comparisons; where it leaves zero, the groups are shown to differ."
    };
    let path = |view| then_now_path(then_path, now_path, view, units);
    html! {
        .pictures {
            (figure(&then_now_speed(speed_by_time, Against::Time, units), "speed-time", &band(speed_by_time)))
            (figure(&difference(speed_by_time, Against::Time, units), "difference-time", &whole))
            (figure(&then_now_speed(speed_by_distance, Against::Distance, units), "speed-way", &band(speed_by_distance)))
            (figure(&difference(speed_by_distance, Against::Distance, units), "difference-way", &whole))
            (figure(&built_by(by_rotation, by_hands, units), "built-by", &html! {
                "The part of the barrel's speed that the bat's turning makes, and the part that the moving hands make."
            }))
            (figure(&path(View::Side), "path-side", &html! { "Mean ways, put together at contact." }))
            (figure(&path(View::Above), "path-above", &html! { "Mean ways, put together at contact." }))
        }
    }
}

/// The swing of each group that is nearest the middle of all.
fn typical(gathered: &Gathered) -> Markup {
    let [then, now] = gathered.compared.typical();
    let of = |head: &'static str, chosen: &Chosen, id: Option<Uuid>| {
        let found = chosen.swings.iter().find(|found| Some(found.swing.id) == id)?;
        Some(html! {
            li { a.open href=(format!("/swings/{}", found.swing.id)) { (head) ": the swing of " (when::instant(found.swing.contact_utc)) } }
        })
    };
    let both = [of("Then", &gathered.compared.then, then), of("Now", &gathered.compared.now, now)];
    html! {
        @if both.iter().any(Option::is_some) {
            h3 { "A typical swing of each" }
            p.faint { "The one whose speed is nearest the middle of all: one to look at, and to point a video at." }
            ul { @for one in both.iter().flatten() { (one) } }
        }
    }
}
